"""A command as a person starts it, and CSV files as a person has them."""

from __future__ import annotations

import contextlib
import io
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gateway.__main__ import main

SITE = "shingle-spit"


@dataclass(frozen=True, slots=True)
class Ran:
    """How it ended. said: standard error, line by line."""

    code: int
    printed: str
    said: list[str]

    @property
    def document(self) -> Any:
        return json.loads(self.printed)


def seafret(*words: str | Path) -> Ran:
    """Runs `seafret` to its end, in this process, which saves the interpreter's start."""
    printed, said = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(said):
        code = main([str(word) for word in words])
    return Ran(int(code), printed.getvalue(), said.getvalue().splitlines())


def load(folder: Path, *files: Path, options: Sequence[str] = ()) -> Ran:
    return seafret("load", *files, "--site", SITE, "--data", folder / "history", *options)


def csv_file(folder: Path, name: str, *lines: str) -> Path:
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path
