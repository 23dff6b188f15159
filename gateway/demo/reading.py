"""Reads the night's story from the files that the processes left: histories and durable files."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from urllib.parse import quote

from edge.records import Stream
from edge.sense.virtual_site import SITES, SitePlan
from gateway.demo.files import Layout
from gateway.demo.invented import unit_of
from gateway.demo.night import Night
from gateway.demo.story import AlarmStory, InsulatorStory, Kept, Story, alarm_stories
from gateway.demo.story import insulator_story as story_of
from gateway.history.opening import open_history
from gateway.history.store import SiteReader, StreamKey

MARGIN_US = 60_000_000
"""Rows and changes are looked for a minute before and after the night, to miss none."""

LANES = "SELECT epoch, stream, last FROM lanes"
"""Of the edge's durable file: how far each of its sequences was numbered."""


def read_story(layout: Layout, night: Night) -> Story:
    """The story of all sites. Raises HistoryFault where a file cannot be read."""
    history = open_history(layout.history)
    insulators: list[InsulatorStory] = []
    alarms: list[AlarmStory] = []
    kept: list[Kept] = []
    for plan in SITES:
        numbered = numbered_lines(layout.outbox(plan))
        if plan.name not in history.sites():
            kept.append(Kept(unit_of(plan), sum(numbered.values()), 0))
            continue
        with closing(history.reader(plan.name)) as reader:
            own = _insulators(reader, plan, night)
            changes = reader.conditions(night.begin_us - MARGIN_US, night.end_us + MARGIN_US)
            alarms += alarm_stories([one.record for one in changes], own)
            stored = stored_lines(reader, unit_of(plan), numbered)
        insulators += own
        kept.append(Kept(unit_of(plan), sum(numbered.values()), stored))
    in_order = sorted(alarms, key=lambda one: (one.in_us, one.priority, one.insulator))
    return Story(night.begin_us, night.end_us, tuple(insulators), tuple(in_order), tuple(kept))


def _insulators(reader: SiteReader, plan: SitePlan, night: Night) -> list[InsulatorStory]:
    span = (night.begin_us - MARGIN_US, night.end_us + MARGIN_US)
    return [
        story_of(plan.name, unit.name, reader.intervals(unit.name, *span))
        for unit in plan.insulators
    ]


def numbered_lines(outbox: Path) -> dict[tuple[str, str], int]:
    """How many records a daemon has numbered, by (epoch, stream); none where it has no file."""
    if not outbox.exists():
        return {}
    address = f"file:{quote(str(outbox.resolve()))}?mode=ro"
    with closing(sqlite3.connect(address, uri=True)) as connection:
        return {(epoch, stream): last for epoch, stream, last in connection.execute(LANES)}


def stored_lines(reader: SiteReader, unit: str, numbered: dict[tuple[str, str], int]) -> int:
    """How many of these the history holds, each counted by its own number and digest."""
    return sum(
        len(reader.digests(StreamKey(unit, epoch, Stream(stream)), 1, last))
        for (epoch, stream), last in numbered.items()
        if last
    )
