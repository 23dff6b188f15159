"""The site's figures are the same both ways, and a version that errs is told from ours."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.bench import pandas_site
from tests.bench.asking import Differs, check_agreement, growth, ours
from tests.bench.pandas_site import Figures
from tests.bench.site_year import SiteYear, site_year


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> SiteYear:
    return site_year(tmp_path_factory.mktemp("site"), insulators=2, minutes=30)


def test_both_versions_say_the_same(small: SiteYear) -> None:
    check_agreement(ours(small), pandas_site.figures(small))


@pytest.mark.parametrize("name", [one for one in Figures.__slots__ if one != "wet_hours"])
def test_a_figure_that_is_off_is_found(small: SiteYear, name: str) -> None:
    mine = ours(small)
    wrong = {key: 1.001 * column for key, column in getattr(mine, name).items()}
    with pytest.raises(Differs, match=name):
        check_agreement(mine, replace(mine, **{name: wrong}))


def test_growth_compares_a_row_of_much_with_a_row_of_little(tmp_path: Path) -> None:
    (ratio,) = growth(tmp_path, rounds=1)
    assert 0 < ratio.spread.middle < 10
