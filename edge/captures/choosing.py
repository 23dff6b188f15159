"""Which candidates are kept: what an onset and a new highest are, and the bytes of a day.

A waveform that was sent cannot be taken back, so the weightiest survive by room held free for them:
each weight may fill the day's bytes only up to its own share, and a heavier one finds the rest. A
thousand onsets cannot keep a suspected flashover out; what is lost is always the lighter.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from edge.captures.file import file_bytes, records_of
from edge.measure.cutting import utc_us_at
from edge.measure.raw_rows import CapturedWaveform, Trigger
from edge.records import Capture, CapturePart, IntervalRow

DAY_US = 86_400_000_000

CAPTURE_BYTES_A_DAY = 1_000_000
"""Base64 bytes of the waveforms of one insulator in a UTC day; past a weight's share of them no
further waveform of that weight is kept, and past the whole none at all."""

ONSET_QUIET_US = 600_000_000
"""Arcing after less time without arcs goes on; after more it begins anew."""

HIGHEST_STEP_PERCENT = 125
"""A new highest of the day must exceed the last by a quarter, or each half-cycle of a rising storm
would be one."""

BASELINE_FROM_US = DAY_US // 2
"""The day's baseline is the first dry minute from this time of the UTC day on."""

SHARES_PERCENT: Mapping[Trigger, tuple[int, int]] = {
    Trigger.BASELINE: (30, 30),
    Trigger.ONSET: (35, 50),
    Trigger.HIGHEST: (50, 70),
    Trigger.OVER_RANGE: (70, 80),
    Trigger.FLASHOVER: (100, 100),
}
"""Share of the day's bytes that a trigger may fill, for a small and for a large current. Design
choice."""

CURRENT_STEPS_UA = (2_000, 5_000, 10_000, 20_000, 50_000, 100_000, 200_000, 500_000)
"""Currents at which a waveform of the same trigger weighs more, by an equal step each."""


SPANS_KEPT = 4
"""So many of the newest waveforms are remembered, to keep no moment twice."""

NAMED_FIRST = (
    Trigger.FLASHOVER,
    Trigger.OVER_RANGE,
    Trigger.ONSET,
    Trigger.HIGHEST,
    Trigger.BASELINE,
)
"""Which trigger names a waveform that several ask for; an onset happens once, a highest often."""


@dataclass(frozen=True, slots=True)
class InsulatorDay:
    """One insulator's UTC day.

    spent_bytes: of its waveforms. highest_ua: of kept ones. arc_us: UTC of the newest arc, long
    ago before any. has_baseline: of the day. spans: (from, to) in UTC of the newest waveforms.
    """

    day: int = -1
    spent_bytes: int = 0
    highest_ua: int = 0
    arc_us: int = -ONSET_QUIET_US
    has_baseline: bool = False
    spans: tuple[tuple[int, int], ...] = ()


Choosing = Mapping[str, InsulatorDay]
"""By insulator; one without waveforms and arcs so far is absent."""

FRESH = InsulatorDay()


def step(
    state: Choosing, row: IntervalRow, captured: Sequence[CapturedWaveform], settings_sha: str
) -> tuple[Choosing, tuple[Capture | CapturePart, ...]]:
    """Takes in a minute row and the candidates that came with it; records of those kept."""
    if not captured and row.last_arc_us is None:
        return state, ()
    known = state.get(row.insulator, FRESH)
    records: list[Capture | CapturePart] = []
    for waveform in sorted(captured, key=lambda one: NAMED_FIRST.index(one.trigger)):
        known, some = _chosen(known, waveform, settings_sha)
        records += some
    if row.last_arc_us is not None:
        known = replace(known, arc_us=row.start_us + row.last_arc_us)
    return {**state, row.insulator: known}, tuple(records)


def share_bytes(trigger: Trigger, peak_ua: int) -> int:
    """Up to how many bytes of the day a waveform of this weight may fill."""
    small, large = SHARES_PERCENT[trigger]
    steps = sum(peak_ua >= level for level in CURRENT_STEPS_UA)
    percent = small * len(CURRENT_STEPS_UA) + (large - small) * steps
    return CAPTURE_BYTES_A_DAY * percent // (100 * len(CURRENT_STEPS_UA))


def wire_bytes(content_bytes: int) -> int:
    """Bytes of a file in base64."""
    return -(-content_bytes // 3) * 4


def _chosen(
    known: InsulatorDay, waveform: CapturedWaveform, settings_sha: str
) -> tuple[InsulatorDay, tuple[Capture | CapturePart, ...]]:
    at_us = utc_us_at(waveform.anchor, waveform.description.rate_hz, waveform.trigger_counter)
    known = _on_day(known, at_us // DAY_US)
    if not _is_due(known, waveform, at_us):
        return known, ()
    content = file_bytes(waveform, settings_sha)
    spent = known.spent_bytes + wire_bytes(len(content))
    if spent > share_bytes(waveform.trigger, waveform.peak_ua):
        return known, ()
    manifest, *parts = records_of(waveform, content, settings_sha)
    assert isinstance(manifest, Capture)
    span = (manifest.start_us, manifest.start_us + manifest.duration_us)
    is_baseline = waveform.trigger is Trigger.BASELINE
    known = replace(
        known,
        spent_bytes=spent,
        highest_ua=max(known.highest_ua, 0 if is_baseline else waveform.peak_ua),
        has_baseline=known.has_baseline or is_baseline,
        spans=(*known.spans, span)[-SPANS_KEPT:],
    )
    return known, (manifest, *parts)


def _on_day(known: InsulatorDay, day: int) -> InsulatorDay:
    """A later day begins with all its bytes; so does one long before: the clock was wrong."""
    if known.day - 1 <= day <= known.day:
        return known  # a clock that is set back over midnight gains no bytes
    return replace(FRESH, day=day, arc_us=known.arc_us, spans=known.spans)


def _is_due(known: InsulatorDay, waveform: CapturedWaveform, at_us: int) -> bool:
    """Whether the candidate is what its trigger says, seen over segments; one moment once."""
    trigger = waveform.trigger
    if trigger is Trigger.BASELINE:
        return not known.has_baseline and at_us % DAY_US >= BASELINE_FROM_US
    if trigger is Trigger.ONSET and 0 <= at_us - known.arc_us < ONSET_QUIET_US:
        return False
    if trigger is Trigger.HIGHEST and (
        waveform.peak_ua * 100 < known.highest_ua * HIGHEST_STEP_PERCENT
    ):
        return False
    is_shown = any(begin_us <= at_us < end_us for begin_us, end_us in known.spans)
    return trigger is Trigger.FLASHOVER or not is_shown


def as_plain(state: Choosing) -> dict[str, object]:
    """The state as JSON values, for the durable file."""
    return {name: asdict(known) for name, known in state.items()}


def from_plain(plain: Mapping[str, Any]) -> Choosing:
    """The state that `as_plain` wrote."""
    return {
        name: InsulatorDay(**{**known, "spans": tuple((a, b) for a, b in known["spans"])})
        for name, known in plain.items()
    }
