"""What ends soon is told 30, 7 and 1 days before, once at each, and once it has ended."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from gateway.guard.certificates import Ending, look, mark_of, news
from tests.deploy.authority import Authority

DAY_S = 86_400.0


@pytest.mark.parametrize(
    ("days_left", "mark"),
    [(31, None), (30, 30), (7.5, 30), (7, 7), (1.2, 7), (1, 1), (0.01, 1), (0, 0), (-9, 0)],
)
def test_the_mark_is_the_smallest_that_the_end_is_within(
    days_left: float, mark: int | None
) -> None:
    assert mark_of(days_left * DAY_S) == mark


def told(
    paths: list[Path], now: datetime, before: dict[Path, Ending]
) -> tuple[list[str], dict[Path, Ending]]:
    endings = look(paths, round(now.timestamp() * 1e6))
    return [one.said for one in news(before, endings)], {one.path: one for one in endings}


def test_a_certificate_and_a_list_of_the_revoked_are_told_once_at_each_mark(
    tmp_path: Path,
) -> None:
    authority = Authority(tmp_path / "authority")
    ends = datetime.now(UTC).replace(microsecond=0) + timedelta(days=90)
    pair = authority.unit("gannet-head.mast-3", "--until", ends.strftime("%Y%m%d%H%M%SZ"))
    paths = [pair / "cert.pem", authority.revoked]
    before: dict[Path, Ending] = {}
    heard = []
    for days in (40, 30, 29.9, 7, 6, 1, 0.5, 0, -1):
        said, before = told(paths, ends - timedelta(days=days), before)
        heard += [(days, one.split(":")[0].rsplit("/", 1)[-1]) for one in said]
    day = f"{ends:%Y-%m-%d %H}"
    soon, over = f"cert.pem ends on {day}", f"cert.pem has ended on {day}"
    assert heard == [(30, soon), (7, soon), (1, soon), (0, over)]
    due = datetime.now(UTC) + timedelta(days=364.5)
    said, _ = told(paths, due, before)
    assert len(said) == 1 and "crl.pem ends on" in said[0]


def test_a_renewed_certificate_is_silent_and_told_again_when_its_own_end_comes(
    tmp_path: Path,
) -> None:
    authority = Authority(tmp_path / "authority")
    path = authority.unit("gannet-head.mast-3", "--days", "5") / "cert.pem"
    said, before = told([path], datetime.now(UTC), {})
    assert len(said) == 1
    authority.run("renew", "gannet-head.mast-3")
    said, before = told([path], datetime.now(UTC), before)
    assert said == [] and before == {}
    said, _ = told([path], datetime.now(UTC) + timedelta(days=85), before)
    assert len(said) == 1


@pytest.mark.parametrize("text", [None, "", "-----BEGIN CERTIFICATE-----\nAAAA\n"])
def test_a_file_that_is_no_certificate_is_told_and_stops_nothing(
    tmp_path: Path, text: str | None
) -> None:
    path = tmp_path / "cert.pem"
    if text is not None:
        path.write_text(text, encoding="ascii")
    said, _ = told([path], datetime.now(UTC), {})
    assert len(said) == 1 and "cannot be read" in said[0]
