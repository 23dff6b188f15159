"""Alarms told by the minute, and results of a replay written by hand, with harmless defaults."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from edge.records import Capture, Condition, ConditionChange
from edge.wire import body_line
from gateway.replay.labels import COLUMNS
from gateway.replay.occurrences import Occurrence
from gateway.replay.tables import INTERVAL_HEADER, interval_line
from gateway.trends.document import utc_text
from tests.gateway.build import MINUTE_US, START_US, condition, interval

SECOND_US = 1_000_000


def at(minute: float) -> int:
    return START_US + round(minute * MINUTE_US)


def clock(minute: float) -> str:
    return utc_text(at(minute))


def occurrence(
    minute: float,
    until: float | None = None,
    alarm: str = "arcing",
    subject: str = "A1",
    priority: int = 2,
) -> Occurrence:
    return Occurrence(at(minute), alarm, subject, priority, None if until is None else at(until))


def turn(
    minute: float, word: Condition, alarm: str = "arcing", subject: str = "A1", **changes: Any
) -> ConditionChange:
    told = condition(0, word, alarm, subject)
    return replace(told, **{"at_us": at(minute), "since_us": at(minute), **changes})


def changes(alarms: Iterable[Occurrence]) -> list[ConditionChange]:
    """The in and out of each, in order of time."""
    told = []
    for one in alarms:
        begun = turn(0, Condition.IN, one.alarm, one.subject, priority=one.priority)
        told.append(replace(begun, at_us=one.start_us))
        if one.end_us is not None:
            ended = turn(0, Condition.OUT, one.alarm, one.subject, priority=one.priority)
            told.append(replace(ended, at_us=one.end_us))
    return sorted(told, key=lambda one: one.at_us)


def capture(minute: float) -> Capture:
    return Capture(
        insulator="A1",
        trigger="arcing",
        trigger_us=at(minute),
        start_us=at(minute),
        duration_us=SECOND_US,
        content_sha="0" * 64,
        size_bytes=1,
        parts=1,
    )


def result(
    folder: Path,
    alarms: Iterable[Occurrence] = (),
    *,
    minutes: int = 60,
    insulators: Sequence[str] = ("A1", "A2"),
    settings: Mapping[str, Any] | None = None,
    **manifest: Any,
) -> Path:
    """A folder as `seafret replay` leaves it, with a row a minute of each insulator."""
    folder.mkdir(parents=True)
    rows = [interval_line(interval(m, name)) for m in range(minutes) for name in insulators]
    (folder / "intervals.csv").write_text(",".join(INTERVAL_HEADER) + "\n" + "".join(rows))
    lines = [body_line(one) for one in (*changes(alarms), capture(1))]
    (folder / "events.jsonl").write_bytes(b"\n".join(lines) + b"\n")
    (folder / "windows.csv").write_text("")
    told = {
        "software": "seafret 0.1",
        "settings_sha": "0123456789abcdef",
        "settings_given": True,
        "settings": settings if settings is not None else {"limits": {"wet_peak_ma": 0.3}},
        "inputs": [{"name": "night.cfg", "sha256": "aa"}],
        "insulators": list(insulators),
        **manifest,
    }
    (folder / "run.json").write_text(json.dumps(told))
    return folder


def label_line(
    start: float,
    end: float,
    kind: str = "arcing",
    subject: str = "A1",
    confidence: str = "1",
    who: str = "lk",
    version: str = "1",
) -> str:
    return ",".join((clock(start), clock(end), subject, kind, confidence, who, version))


def labels_text(*lines: str) -> str:
    return "\n".join((",".join(COLUMNS), *lines)) + "\n"
