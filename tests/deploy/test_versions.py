"""Versions side by side: what the installation script does with its links, without a system."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from tests.house.measures import TOP

AROUND = """
. "{script}"
HOME_DIR="{home}" SETTINGS_DIR="{home}/etc" UNITS_DIR="{home}/units"
systemctl() {{ echo "systemctl $*" >>"{home}/calls"; }}
place_settings() {{ :; }}
ln() {{ case "$*" in *"/usr/local/bin/"*) ;; *) command ln "$@" ;; esac; }}
comes_up() {{ [ ! -f "$HOME_DIR/current/broken" ]; }}
"""


@pytest.fixture
def home(tmp_path: Path) -> Path:
    (tmp_path / "units").mkdir()
    (tmp_path / "versions").mkdir()
    return tmp_path


def made(home: Path, name: str, *, complete: bool = True, broken: bool = False) -> Path:
    here = home / "versions" / name
    (here / "systemd").mkdir(parents=True)
    (here / "role").write_text("edge\n", encoding="utf-8")
    unit = here / "systemd/seafret-edge.service"
    unit.write_text(f"# of {name}\n", encoding="utf-8")
    for mark in ("complete",) * complete + ("broken",) * broken:
        (here / mark).touch()
    return here


def run(home: Path, script: str) -> subprocess.CompletedProcess[str]:
    around = AROUND.format(script=TOP / "deploy/install.sh", home=home)
    return subprocess.run(
        ["bash", "-c", around + script], capture_output=True, text=True, check=False
    )


def in_use(home: Path) -> str:
    unit = (home / "units/seafret-edge.service").read_text("utf-8")
    name = (home / "current").resolve().name
    assert unit == f"# of {name}\n", "the service file is that of the version"
    return name


def test_a_version_comes_into_use_with_its_service_file_and_the_other_is_remembered(
    home: Path,
) -> None:
    for name in ("1", "2"):
        ran = run(home, f'switch_to "{made(home, name)}"')
        assert ran.returncode == 0 and in_use(home) == name, ran.stderr
    assert (home / "previous").resolve().name == "1"


def test_rolling_back_goes_to_the_one_before_and_again_forward(home: Path) -> None:
    for name in ("1", "2"):
        run(home, f'switch_to "{made(home, name)}"')
    for expected in ("1", "2", "1"):
        ran = run(home, "roll_back")
        assert ran.returncode == 0 and in_use(home) == expected, ran.stderr


def test_switching_to_the_version_in_use_does_not_forget_the_one_before(home: Path) -> None:
    first, second = made(home, "1"), made(home, "2")
    run(home, f'switch_to "{first}"; switch_to "{second}"; switch_to "{second}"')
    assert in_use(home) == "2" and (home / "previous").resolve().name == "1"


def test_a_first_version_has_none_to_go_back_to(home: Path) -> None:
    run(home, f'switch_to "{made(home, "1")}"')
    ran = run(home, "roll_back")
    assert ran.returncode == 69 and "no version to go back to" in ran.stderr
    assert in_use(home) == "1"


def test_a_version_that_does_not_come_up_is_left_again(home: Path) -> None:
    run(home, f'switch_to "{made(home, "1")}"')
    made(home, "2", broken=True)
    stubs = """
install_packages() { :; }; make_users() { :; }
build_version() { echo "$HOME_DIR/versions/2"; }
apt-get() { :; }
install_version edge
"""
    ran = run(home, stubs)
    assert ran.returncode == 69 and "going back" in ran.stderr
    assert in_use(home) == "1"


def test_old_versions_go_but_never_one_in_use_or_the_one_before(home: Path) -> None:
    for name in ("1", "2", "3", "4", "5", "6"):
        made(home, name)
    made(home, "0-broken-off", complete=False)
    run(home, f'switch_to "{home}/versions/2"; switch_to "{home}/versions/1"; prune_versions')
    left = sorted(path.name for path in (home / "versions").iterdir())
    assert left == ["1", "2", "5", "6"]


def test_the_tenth_version_is_newer_than_the_ninth(home: Path) -> None:
    for name in ("0.1.0-a", "0.1.0-b", "0.8.0-c", "0.9.0-d", "0.10.0-e"):
        made(home, name)
    run(home, f'switch_to "{home}/versions/0.1.0-a"; switch_to "{home}/versions/0.1.0-b"')
    run(home, "prune_versions")
    left = {path.name for path in (home / "versions").iterdir()}
    assert left == {"0.1.0-a", "0.1.0-b", "0.9.0-d", "0.10.0-e"}


def test_the_installation_is_refused_without_root(home: Path) -> None:
    ran = run(home, "is_root() { false; }\nmain gateway")
    assert ran.returncode == 69 and "must be run as root" in ran.stderr
