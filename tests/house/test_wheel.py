"""What the wheel holds and says about itself."""

from __future__ import annotations

from pathlib import Path

from packaging.requirements import Requirement

from tests.house.measures import TOP
from tests.house.tracked import tracked_files
from tests.house.wheel import Wheel


def test_the_wheel_holds_every_tracked_file_of_edge_and_gateway(wheel: Wheel) -> None:
    # Templates, static files and the firmware's C sources as well as modules.
    ours = {path.as_posix() for path in tracked_files() if path.parts[0] in ("edge", "gateway")}
    assert ours and not ours - wheel.names()


def test_the_wheel_holds_nothing_but_edge_gateway_and_its_own_metadata(wheel: Wheel) -> None:
    tops = {Path(name).parts[0] for name in wheel.names()}
    assert {top for top in tops if not top.endswith(".dist-info")} == {"edge", "gateway"}


def test_the_wheel_tells_its_name_licence_and_oldest_python(wheel: Wheel) -> None:
    about = wheel.about().metadata
    assert about["Name"] == "seafret"
    assert about["License-Expression"] == "Apache-2.0"
    assert about["Requires-Python"] == ">=3.11"


def test_the_wheel_brings_both_commands_and_no_other(wheel: Wheel) -> None:
    scripts = wheel.about().entry_points.select(group="console_scripts")
    assert {script.name: script.value for script in scripts} == {
        "seafret-edge": "edge.__main__:main",
        "seafret": "gateway.__main__:main",
    }


def test_the_wheel_offers_the_extras_that_are_promised(wheel: Wheel) -> None:
    extras = set(wheel.about().metadata.get_all("Provides-Extra") or [])
    assert {"gateway", "postgres", "cluster", "test"} <= extras


def pins() -> dict[str, str]:
    lines = (TOP / "deploy/constraints.txt").read_text(encoding="utf-8").splitlines()
    return dict(line.split("==") for line in lines if line and not line.startswith("#"))


def test_every_requirement_is_pinned_within_the_range_it_asks_for(wheel: Wheel) -> None:
    pinned = pins()
    for line in wheel.about().requires or []:
        requirement = Requirement(line)
        if requirement.name != "seafret":
            assert requirement.specifier.contains(pinned[requirement.name], prereleases=True), line


def test_constraints_name_one_release_each_and_no_place_to_fetch_it_from() -> None:
    lines = (TOP / "deploy/constraints.txt").read_text(encoding="utf-8").splitlines()
    code = [line for line in lines if not line.startswith("#")]
    assert code and all(line.count("==") == 1 and "/" not in line for line in code)
    assert len(pins()) == len(code)
