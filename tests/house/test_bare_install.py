"""The edge needs the base install only, and no install needs the rest of the checkout."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.house.import_table import modules
from tests.house.wheel import IMPORT_ALL, RUN_SCRIPT, Wheel, bare_site, needed, run_bare

BASE = {"numpy", "pydantic", "paho-mqtt", "pyserial", "cobs"}
BROUGHT_ALONG = {"annotated-types", "pydantic-core", "typing-extensions", "typing-inspection"}
"""What pydantic brings; a pole computer gets nothing beyond these two sets."""

GATEWAY = Path(__file__).parents[2] / "gateway"

GATEWAY_ONLY = ("click", "scipy", "fastapi", "sqlite_utils", "iotcore", "httpx", "jinja2")


def test_the_base_install_is_as_lean_as_promised(wheel: Wheel) -> None:
    names = {name.lower().replace("_", "-") for name in needed(wheel.about().requires or [])}
    assert names == BASE | BROUGHT_ALONG


@pytest.mark.parametrize("library", GATEWAY_ONLY)
def test_the_bare_interpreter_really_lacks_the_gateways_libraries(
    bare: Path, tmp_path: Path, library: str
) -> None:
    ran = run_bare(bare, tmp_path, f"import {library}")
    assert ran.code == 1 and "ModuleNotFoundError" in ran.err


def test_every_module_of_the_edge_imports_with_the_base_install(bare: Path, tmp_path: Path) -> None:
    ran = run_bare(bare, tmp_path, IMPORT_ALL, "edge")
    assert ran.code == 0, ran.err
    assert {name for name in modules() if name.startswith("edge.")} == set(ran.out.split())


def test_seafret_edge_shows_its_help_on_a_bare_install(bare: Path, tmp_path: Path) -> None:
    ran = run_bare(bare, tmp_path, RUN_SCRIPT, "seafret-edge", "--help")
    assert ran.code == 0 and "calibrate" in ran.out and not ran.err


@pytest.mark.parametrize("arguments", [("--help",), ("replay", "x.cfg", "--out", "y"), ()])
def test_seafret_names_the_missing_extra_on_a_bare_install(
    bare: Path, tmp_path: Path, arguments: tuple[str, ...]
) -> None:
    ran = run_bare(bare, tmp_path, RUN_SCRIPT, "seafret", *arguments)
    assert ran.code == 69 and not ran.out
    assert len(ran.err.splitlines()) == 1 and "pip install 'seafret[gateway]'" in ran.err


def test_every_module_of_the_gateway_imports_with_its_extras_from_the_wheel(
    wheel: Wheel, tmp_path: Path
) -> None:
    # The checkout, with its deploy/ and replay_data/, is out of reach of this interpreter.
    site = bare_site(wheel, tmp_path, "gateway", "cluster", "postgres")
    ran = run_bare(site, tmp_path, IMPORT_ALL, "gateway")
    assert ran.code == 0, ran.err
    assert {name for name in modules() if name.startswith("gateway.")} == set(ran.out.split())


def test_seafret_shows_its_help_from_the_wheel_with_the_gateway_extra(
    wheel: Wheel, tmp_path: Path
) -> None:
    site = bare_site(wheel, tmp_path, "gateway")
    ran = run_bare(site, tmp_path, RUN_SCRIPT, "seafret", "--help")
    assert ran.code == 0 and "Usage: seafret" in ran.out and not ran.err


def test_every_template_and_file_of_the_pages_is_in_the_wheel(wheel: Wheel) -> None:
    folders = [*GATEWAY.glob("**/templates"), *GATEWAY.glob("**/static")]
    files = {
        file.relative_to(GATEWAY.parent).as_posix()
        for folder in folders
        for file in folder.iterdir()
        if file.is_file()
    }
    assert {
        "gateway/console/static/console.css",
        "gateway/limits/templates/limits_list.html",
    } < files
    assert files <= wheel.names()
