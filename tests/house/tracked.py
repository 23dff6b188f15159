"""The files that make up the project: what git tracks, or what a downloaded copy holds."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

from tests.house.measures import TOP

DOT_NAMES = (".ci", ".gitignore")


def tracked_files() -> list[Path]:
    """Paths from the top, sorted; of files that exist."""
    names = git_names() if (TOP / ".git").exists() and shutil.which("git") else walked_names()
    return sorted(Path(name) for name in names if (TOP / name).is_file())


def git_names() -> list[str]:
    # A checkout that belongs to another user is read all the same.
    command = ["git", "-c", "safe.directory=*", "ls-files", "-z"]
    listed = subprocess.run(command, cwd=TOP, capture_output=True, check=True, text=True)
    return [name for name in listed.stdout.split("\0") if name]


def walked_names() -> list[str]:
    return [
        str(path.relative_to(TOP))
        for top in sorted(TOP.iterdir())
        if not top.name.startswith(".") or top.name in DOT_NAMES
        for path in ([top] if top.is_file() else top.rglob("*"))
        if "__pycache__" not in path.parts
    ]
