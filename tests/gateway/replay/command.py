"""`seafret replay` as a person starts it, and what it leaves behind."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gateway.__main__ import main

TOP = Path(__file__).resolve().parents[3]


@dataclass(frozen=True, slots=True)
class Ran:
    """How it ended. said: standard error, line by line."""

    code: int
    printed: str
    said: list[str]
    out: Path

    def table(self, name: str) -> list[dict[str, str]]:
        with (self.out / name).open(newline="", encoding="utf-8") as stream:
            return list(csv.DictReader(stream))

    def header(self, name: str) -> str:
        return (self.out / name).read_text(encoding="utf-8").splitlines()[0]

    @property
    def manifest(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads((self.out / "run.json").read_text(encoding="utf-8"))
        return found

    @property
    def files(self) -> set[str]:
        return {path.name for path in self.out.iterdir()} if self.out.is_dir() else set()


def seafret_replay(*feeds: Path | str, out: Path, options: tuple[str, ...] = ()) -> Ran:
    """Runs the command to its end, in this process, which saves the interpreter's start."""
    printed, said = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(said):
        code = main(words(feeds, out, options))
    return Ran(int(code), printed.getvalue(), said.getvalue().splitlines(), out)


def seafret_replay_apart(*feeds: Path | str, out: Path, options: tuple[str, ...] = ()) -> Ran:
    """The same in a process of its own, as a shell starts it."""
    ran = subprocess.run(
        [sys.executable, "-m", "gateway", *words(feeds, out, options)],
        cwd=TOP,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    return Ran(ran.returncode, ran.stdout, ran.stderr.splitlines(), out)


def words(feeds: tuple[Path | str, ...], out: Path, options: tuple[str, ...]) -> list[str]:
    return ["replay", *map(str, feeds), "--out", str(out), *options]
