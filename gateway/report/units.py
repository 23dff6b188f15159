"""What units said of themselves in the month, and the worst waveform of each insulator."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from edge.measure.raw_rows import Trigger
from edge.records import Capture, HealthRow, IntervalRow, Letter
from gateway.history.store import PAGE_MAX, Of
from gateway.trends.columns import Period

CAPTURES_LOOKED_AT = 40
"""So many captures of an insulator in a month are opened to find the worst, the newest first."""


class UnitReader(Protocol):
    """What is read here."""

    def health(self, start_us: int, end_us: int, limit: int = PAGE_MAX) -> list[Of[HealthRow]]: ...

    def captures(self, start_us: int, end_us: int, limit: int = PAGE_MAX) -> list[Of[Capture]]: ...

    def capture_bytes(self, content_sha: str) -> bytes | None: ...

    def latest_intervals(self) -> list[Of[IntervalRow]]: ...


@dataclass(frozen=True, slots=True)
class UnitFact:
    """Of one unit. heartbeats: health records in the month; synchronised: share of them with a
    clock that is; worst_clock_us: widest believed error, None where unknown; poor: share of them
    that were not all well; software, settings_sha: the last ones."""

    unit: str
    heartbeats: int
    synchronised: float
    worst_clock_us: int | None
    poor: float
    software: str
    settings: tuple[str, ...]


UnitFacts = tuple[UnitFact, ...]


@dataclass(frozen=True, slots=True)
class WaveformFound:
    """A kept waveform, whole."""

    manifest: Capture
    content: bytes


def unit_facts(reader: UnitReader, month: Period) -> UnitFacts:
    """One for each unit that sent a heartbeat in the month, by name."""
    found: dict[str, list[HealthRow]] = {}
    for one in _health(reader, month):
        found.setdefault(one.key.unit, []).append(one.record)
    return tuple(_fact(unit, rows) for unit, rows in sorted(found.items()))


def _health(reader: UnitReader, month: Period) -> Iterator[Of[HealthRow]]:
    """Page by page; a page's last instant is asked for again and told once."""
    start, told = month.from_us, set[tuple[object, int]]()
    while page := reader.health(start, month.to_us):
        fresh = [one for one in page if (one.key, one.seq) not in told]
        yield from fresh
        if not fresh or len(page) < PAGE_MAX:
            return
        start = page[-1].record.start_us
        told = {(one.key, one.seq) for one in page if one.record.start_us == start}


def _fact(unit: str, rows: list[HealthRow]) -> UnitFact:
    errors = [row.clock_error_us for row in rows if row.clock_error_us is not None]
    settings = Counter(row.settings_sha for row in rows if row.settings_sha)
    return UnitFact(
        unit=unit,
        heartbeats=len(rows),
        synchronised=float(np.mean([row.clock_synchronised for row in rows])),
        worst_clock_us=max(errors, default=None),
        poor=float(np.mean([row.letter is not Letter.GOOD for row in rows])),
        software=rows[-1].software,
        settings=tuple(settings),
    )


def calibrations(reader: UnitReader) -> dict[str, str]:
    """The calibration under which each insulator's last sent row was made; loaded rows have none
    here."""
    rows = (one.record for one in reader.latest_intervals())
    return {row.insulator: row.calibration for row in rows if row.calibration}


def worst_waveforms(reader: UnitReader, month: Period) -> dict[str, WaveformFound]:
    """Of each insulator the whole waveform that a weighty trigger kept last."""
    by_name: dict[str, list[Capture]] = {}
    for one in reader.captures(month.from_us, month.to_us):
        by_name.setdefault(one.record.insulator, []).append(one.record)
    found = {}
    for name, captures in by_name.items():
        ordered = sorted(captures, key=lambda one: (_weight(one), one.trigger_us), reverse=True)
        for manifest in ordered[:CAPTURES_LOOKED_AT]:
            content = reader.capture_bytes(manifest.content_sha)
            if content is not None:
                found[name] = WaveformFound(manifest, content)
                break
    return found


_WEIGHT = {trigger.value: place for place, trigger in enumerate(Trigger)}


def _weight(capture: Capture) -> int:
    """The heavier what asked for it; a trigger of a later version counts least."""
    return _WEIGHT.get(capture.trigger, -1)
