"""Writes deploy/constraints.txt anew: the newest releases that pip resolves together today.

    .seafret/tests/bin/python deploy/renew_constraints.py

Nothing is installed. Every extra of pyproject.toml is resolved in one go for the Python that runs
this, then the result is resolved again for each newer Python of PYTHONS_TRIED with ready-made
wheels only, so that a release which lacks one is noticed here and not on a stranger's machine.
Run the tests before committing what it wrote.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

TOP = Path(__file__).resolve().parent.parent
CONSTRAINTS = TOP / "deploy" / "constraints.txt"

PYTHONS_TRIED = ("3.12", "3.13", "3.14")

BUILD_REQUIREMENTS = ("editables",)
"""What hatchling asks for beyond itself when it installs a checkout in place."""

NEVER_PINNED = ("pip", "setuptools", "seafret")
"""An environment brings its own installer; replacing it under way helps nobody."""

SOURCE_ONLY = ("cobs",)
"""No ready-made wheels: built on the spot, with its C part left out where there is no compiler."""

TESTS_ALONE = {"3.14": ("c104",)}
"""No wheel for this Python yet, and needed by the tests alone: run those on an older one."""


def requirements() -> list[str]:
    """Every requirement of the base install, of the build and of all extras, sorted."""
    pyproject = tomllib.loads((TOP / "pyproject.toml").read_text())
    project = pyproject["project"]
    named = [*project["dependencies"], *pyproject["build-system"]["requires"], *BUILD_REQUIREMENTS]
    for extra in project["optional-dependencies"].values():
        named.extend(line for line in extra if not line.startswith("seafret"))
    return sorted(set(named))


def resolve(wanted: list[str], *options: str) -> dict[str, str]:
    """Name and release of all that pip would install for `wanted`. Raises SystemExit on failure."""
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.json"
        command = [sys.executable, "-m", "pip", "install", "--quiet", "--dry-run"]
        command += ["--ignore-installed", "--report", str(report), *options, *wanted]
        if subprocess.run(command, check=False).returncode != 0:
            raise SystemExit("renew_constraints: pip found no set of releases; its words are above")
        resolved = json.loads(report.read_text())["install"]
    pins = {plain(item["metadata"]["name"]): item["metadata"]["version"] for item in resolved}
    return {name: pins[name] for name in sorted(pins) if name not in NEVER_PINNED}


def plain(name: str) -> str:
    """A distribution's name as the registries compare it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def check_newer_pythons(pins: dict[str, str]) -> None:
    """Resolve the pins for newer Pythons. Raises SystemExit where one of them lacks a wheel."""
    for version in PYTHONS_TRIED:
        spared = (*SOURCE_ONLY, *TESTS_ALONE.get(version, ()))
        wanted = [f"{name}=={pins[name]}" for name in pins if name not in spared]
        with tempfile.TemporaryDirectory() as folder:
            options = ("--python-version", version, "--only-binary=:all:", "--target", folder)
            extra = resolve(wanted, *options).keys() - pins.keys()
        if extra:
            raise SystemExit(f"renew_constraints: Python {version} needs {sorted(extra)} besides")
        print(f"renew_constraints: all {len(wanted)} releases have wheels for Python {version}")


def main() -> None:
    """Resolve, check, then replace the list; the comment on top is kept."""
    pins = resolve(requirements())
    check_newer_pythons(pins)
    kept = [line for line in CONSTRAINTS.read_text().splitlines() if line.startswith("#")]
    pinned = [f"{name}=={release}" for name, release in pins.items()]
    CONSTRAINTS.write_text("\n".join([*kept, *pinned]) + "\n")
    print(f"renew_constraints: {len(pins)} releases written to {CONSTRAINTS.relative_to(TOP)}")


if __name__ == "__main__":
    main()
