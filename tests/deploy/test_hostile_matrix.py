"""Nobody speaks for a unit that is not theirs; every attempt is denied or bounded, and told."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.deploy.deployed import until
from tests.deploy.matrix import ATTACKS
from tests.deploy.standing import FAST_CLOCK, Standing, standing
from tests.house.measures import TOP


@pytest.fixture(scope="module")
def deployed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Standing]:
    with standing(tmp_path_factory.mktemp("deployed"), FAST_CLOCK) as made:
        yield made


@pytest.mark.parametrize("name", ATTACKS)
def test_an_attack_is_denied_or_bounded_and_told_and_disturbs_nobody(
    deployed: Standing, name: str
) -> None:
    attack = ATTACKS[name]
    attacker = f"gannet-head.{name}"
    of = attacker if attack.of_unit else ""
    before = deployed.told(attack.event, of)
    deployed.honest()
    attack.run(deployed, attacker)
    deployed.honest()
    until(lambda: deployed.told(attack.event, of) > before, f"{attack.event} is told of {name}")


def test_what_the_gateway_itself_does_is_allowed(deployed: Standing) -> None:
    deployed.honest()
    assert "Denied PUBLISH from seafret-gateway" not in deployed.log()
    assert [one for one in deployed.gateway.events() if "seafret-gateway" in one.detail] == []


def test_the_table_of_the_page_is_that_of_the_code() -> None:
    page = (TOP / "deploy/SECURITY.md").read_text(encoding="utf-8")
    table = page.partition("## The hostile matrix")[2].partition("Besides,")[0]
    rows = [line for line in table.splitlines() if line.startswith("| ")][1:]
    assert rows == [f"| {one.tries} | {one.outcome} | `{one.event}` |" for one in ATTACKS.values()]
