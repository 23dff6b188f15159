"""The wheel of this checkout, and an interpreter that sees it and chosen libraries only."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from dataclasses import dataclass
from importlib.metadata import Distribution, distribution
from pathlib import Path

from packaging.requirements import Requirement

from tests.house.measures import TOP


@dataclass(frozen=True, slots=True)
class Wheel:
    """A built wheel and the folder it was unpacked into (pure Python: unpacking installs it)."""

    path: Path
    unpacked: Path

    def names(self) -> set[str]:
        with zipfile.ZipFile(self.path) as archive:
            return set(archive.namelist())

    def about(self) -> Distribution:
        """Its metadata: name, licence, requirements, entry points."""
        (folder,) = self.unpacked.glob("*.dist-info")
        return Distribution.at(folder)


def build(folder: Path) -> Wheel:
    """Build the wheel from the checkout and unpack it below `folder`."""
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    built = subprocess.run(command, cwd=TOP, capture_output=True, text=True, check=False)
    assert built.returncode == 0, built.stdout + built.stderr
    (path,) = folder.glob("*.whl")
    with zipfile.ZipFile(path) as archive:
        archive.extractall(folder / "unpacked")
    return Wheel(path, folder / "unpacked")


def needed(lines: list[str], *extras: str) -> set[str]:
    """Names of all distributions that these requirements bring, theirs included."""
    found: set[str] = set()
    waiting = [(Requirement(line), extra) for line in lines for extra in ("", *extras)]
    while waiting:
        requirement, of_extra = waiting.pop()
        if requirement.marker and not requirement.marker.evaluate({"extra": of_extra}):
            continue
        if requirement.name in found:
            continue
        found.add(requirement.name)
        below = distribution(requirement.name).requires or []
        waiting += [
            (Requirement(line), name) for line in below for name in ("", *requirement.extras)
        ]
    return found


def bare_site(wheel: Wheel, folder: Path, *extras: str) -> Path:
    """A folder like site-packages: the wheel, its base requirements (and those of extras)."""
    site = folder / "site"
    site.mkdir()
    for entry in wheel.unpacked.iterdir():
        (site / entry.name).symlink_to(entry)
    for name in needed(wheel.about().requires or [], *extras):
        installed = distribution(name)
        tops = {path.parts[0] for path in installed.files or []} - {"..", "__pycache__"}
        for top in tops:
            if not (site / top).exists():
                (site / top).symlink_to(Path(str(installed.locate_file(top))))
    return site


@dataclass(frozen=True, slots=True)
class Ran:
    """How a run of the isolated interpreter ended."""

    code: int
    out: str
    err: str


def run_bare(site: Path, cwd: Path, source: str, *arguments: str) -> Ran:
    """Run Python source that sees the standard library and `site`, and nothing installed here."""
    prelude = f"import sys; sys.path.insert(0, {str(site)!r})\n"
    ran = subprocess.run(
        [sys.executable, "-I", "-S", "-c", prelude + source, *arguments],
        cwd=cwd,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    return Ran(ran.returncode, ran.stdout, ran.stderr)


IMPORT_ALL = """
import importlib, pkgutil
package = importlib.import_module(sys.argv[1])
def stop(name): raise
found = [m.name for m in pkgutil.walk_packages(package.__path__, package.__name__ + ".", stop)]
for name in found:
    importlib.import_module(name)
print("\\n".join(found))
"""
"""Imports every module of one package and prints their names."""

RUN_SCRIPT = """
from importlib.metadata import distribution
(script,) = [e for e in distribution("seafret").entry_points if e.name == sys.argv[1]]
sys.argv = sys.argv[1:]
sys.exit(script.load()())
"""
"""Runs one of the wheel's own scripts as its installer would have written it."""
