"""The folder of recordings: which there are, what belongs to each, and a replay of one."""

from __future__ import annotations

import csv
import functools
import json
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from edge.settings import parse_settings
from gateway.replay.run import Request, replay
from tests.house.measures import TOP

SHELF = TOP / "replay_data"
EXPECTATION = ".expect.toml"
SETTINGS = ".settings.toml"
OUTPUTS = ("windows.csv", "intervals.csv", "events.jsonl")


def recordings(folder: Path = SHELF) -> dict[str, Path]:
    """Feeds by name: a .cfg with its .dat, a .cff, or a folder of such."""
    found = {
        path.stem if path.is_file() else path.name: path
        for path in sorted(folder.iterdir())
        if path.is_dir() or path.suffix in (".cfg", ".cff")
    }
    return {name: found[name] for name in sorted(found)}


def expectations(folder: Path = SHELF) -> dict[str, Path]:
    """Files of expectation by the name of their recording."""
    return {
        path.name.removesuffix(EXPECTATION): path for path in sorted(folder.glob(f"*{EXPECTATION}"))
    }


@dataclass(frozen=True, slots=True)
class Replayed:
    """What a replay wrote. windows: the rows of windows.csv. events: bodies of events.jsonl."""

    out: Path
    windows: list[dict[str, str]]
    events: list[dict[str, Any]]

    def conditions(self) -> list[dict[str, Any]]:
        """Condition changes among the events; captures stand beside them."""
        return [one for one in self.events if one["kind"] == "condition"]

    def flags(self) -> set[str]:
        """Flags that stand in any window."""
        return {flag for row in self.windows for flag in row["flags"].split("|") if flag}


@functools.cache
def _outputs_of_this_run() -> tempfile.TemporaryDirectory[str]:
    return tempfile.TemporaryDirectory(prefix="seafret-replay-")


@functools.cache
def replayed(name: str, folder: Path = SHELF) -> Replayed:
    """A recording of the shelf through `seafret replay`'s own run, once a process."""
    settings = folder / f"{name}{SETTINGS}"
    parsed = None
    if settings.is_file():
        parsed = parse_settings(settings.read_text(encoding="utf-8"), settings.name)
    out = Path(tempfile.mkdtemp(prefix=name, dir=_outputs_of_this_run().name))
    replay(Request((recordings(folder)[name],), parsed), out)
    with (out / "windows.csv").open(newline="", encoding="utf-8") as lines:
        windows = list(csv.DictReader(lines))
    events = [json.loads(line) for line in (out / "events.jsonl").read_text("utf-8").splitlines()]
    return Replayed(out, windows, events)
