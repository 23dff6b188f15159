"""Runs of the demo as a person starts it, and the night's story as the poles alone would tell it:
from what their durable files hold, before broker, gateway and history could lose anything."""

from __future__ import annotations

import os
import re
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from edge.records import ConditionChange, IntervalRow, Span
from edge.sense.virtual_site import SITES
from edge.wire import read_record
from gateway.alarms.journal import Entry, read_entry
from gateway.demo.files import Layout
from gateway.demo.night import Night, night_of
from gateway.demo.reading import read_story
from gateway.demo.story import (
    AlarmStory,
    InsulatorStory,
    Story,
    alarm_stories,
    insulator_story,
)

SECONDS = 22
"""Length of a test's demo; it tells the shortest night in which alarms have time to come."""

RUN_S_MAX = 200.0
"""A busy machine falls behind the clock, and the demo takes longer; more than this is a failure."""

PLAIN = {**os.environ, "PYTHONWARNINGS": "error", "COLUMNS": "80"}


@dataclass(frozen=True, slots=True)
class Run:
    """A demo that has ended."""

    night: Night
    folder: Path
    code: int
    output: str
    errors: str

    @property
    def story(self) -> Story:
        """Read from the files that it left."""
        return read_story(Layout(self.folder), self.night)


def demo_words(folder: Path, seed: int, *more: str) -> list[str]:
    """The command line of a short demo."""
    words = [sys.executable, "-m", "gateway", "demo", "--seconds", str(SECONDS)]
    return [*words, "--seed", str(seed), "--data", str(folder), *more]


def run_demo(folder: Path, seed: int, *more: str) -> Run:
    """A demo from its beginning to its end."""
    done = subprocess.run(
        demo_words(folder, seed, *more),
        capture_output=True,
        text=True,
        env=PLAIN,
        timeout=RUN_S_MAX,
        check=False,
    )
    return Run(night_of(SECONDS, seed), folder, done.returncode, done.stdout, done.stderr)


def processes_over(folder: Path) -> dict[int, str]:
    """Processes whose command line names the demo's folder, but the demo itself."""
    found = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                words = (entry / "cmdline").read_bytes().decode(errors="replace").split("\0")
            except OSError:
                continue
            if any(word.startswith(f"{folder}/") for word in words):
                found[int(entry.name)] = " ".join(words)
    return found


def ports_of(folder: Path) -> list[int]:
    """Ports of the broker and the gateway by their settings."""
    listen = re.search(r'listen = "127\.0\.0\.1:(\d+)"', Layout(folder).broker.read_text())
    console = re.search(r"\[console\][^\[]*port = (\d+)", Layout(folder).gateway.read_text())
    assert listen is not None and console is not None
    return [int(listen[1]), int(console[1])]


def told_by_the_poles(run: Run) -> tuple[list[InsulatorStory], list[AlarmStory]]:
    """The stories by the records in the poles' durable files, which keep what was receipted."""
    insulators: list[InsulatorStory] = []
    alarms: list[AlarmStory] = []
    for plan in SITES:
        records = [read_record(body) for body in bodies_of(Layout(run.folder).outbox(plan))]
        rows = [
            one
            for one in records
            if isinstance(one, IntervalRow) and one.span is not Span.TEN_SECONDS
        ]
        changes = [one for one in records if isinstance(one, ConditionChange)]
        own = [
            insulator_story(
                plan.name, unit.name, [row for row in rows if row.insulator == unit.name]
            )
            for unit in plan.insulators
        ]
        insulators += own
        alarms += alarm_stories(changes, own)
    return insulators, sorted(alarms, key=lambda one: (one.in_us, one.priority, one.insulator))


def bodies_of(outbox: Path) -> list[bytes]:
    """Every record that a pole has made, stream by stream, in the order of its numbers."""
    with closing(sqlite3.connect(f"file:{outbox}?mode=ro", uri=True)) as connection:
        return [body for (body,) in connection.execute("SELECT body FROM outbox ORDER BY place")]


def journal_of(run: Run) -> list[Entry]:
    """What the alarm lists of all sites wrote, in order of time."""
    entries: list[Entry] = []
    for plan in SITES:
        with closing(sqlite3.connect(Layout(run.folder).history / f"{plan.name}.sqlite3")) as db:
            lines = db.execute("SELECT body FROM alarm_journal ORDER BY number").fetchall()
        entries += [read_entry(body) for (body,) in lines]
    return sorted(entries, key=lambda one: one.at_us)
