"""What makes a window a trigger: one small function each, state in and state out.

Each is asked once a window, in order of time, and sees no other segment.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from edge.measure.raw_cuts import Cutter, Wanted, Window
from edge.measure.raw_rows import CapturedWaveform, Trigger
from edge.measure.surface import STATE_INDEX
from edge.quantities import State

FLASHOVER_REACH_US = 2_000_000
"""Current that vanishes later after the last arc is no suspected flashover."""

SILENCE_US = 1_000_000
"""A shorter silence is a pause between arcs; at a segment's end any silence counts."""

FLASHOVER_WINDOWS = 3
"""Windows kept after the last arc of a suspected flashover; what comes later is cut off."""

LAST_ARC_SHARE = 0.9
"""Of a half-cycle before its end: safely within the last arcing one, at any frequency in band."""

MINUTE_US = 60_000_000

DRY_MINUTE_US = 59_000_000
"""Dry windows that cover less of a minute are no whole minute and give no baseline."""

Integers = npt.NDArray[np.int64]

DRY = STATE_INDEX[State.DRY]


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """A finished candidate; due_us: it is released with the minute row that reaches this."""

    captured: CapturedWaveform
    due_us: int


@dataclass(frozen=True, slots=True)
class Arc:
    """The last arc, while a silence after it is suspicious.

    wanted: what would be kept. end_us: UTC of its end. after: windows since.
    silent_us: silence on end, which began at silent_from_us.
    """

    wanted: Wanted
    end_us: int
    after: int = 0
    silent_us: int = 0
    silent_from_us: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class DryMinute:
    """The minute at hand. dry_us: dry cover so far, -1 once a window was not dry."""

    number: int
    dry_us: int
    found: Found | None


@dataclass(frozen=True, slots=True, eq=False)
class Watching:
    """What is remembered of one insulator within a segment.

    before: the newest window. seen: triggers that had their one waveform. wanted: that wait for
    the window after theirs. arc: see `Arc`. highest: of the segment so far, and its current.
    """

    before: Window | None = None
    seen: frozenset[Trigger] = frozenset()
    wanted: tuple[Wanted, ...] = ()
    arc: Arc | None = None
    highest_ua: int = 0
    highest: CapturedWaveform | None = None
    minute: DryMinute | None = None


def _wanted(watching: Watching, window: Window, trigger: Trigger, at: int) -> Wanted:
    """From the window before to the one at hand."""
    before = watching.before
    begin = window.start if before is None else before.start
    flags = window.flags | (before.flags if before else 0)
    return Wanted(trigger, begin, window.stop, at, window.start_us, window.peak_ua, flags)


def _with(wanted: Wanted, window: Window) -> Wanted:
    """Drawn out by a further window."""
    return replace(wanted, stop=window.stop, flags=wanted.flags | window.flags)


def completed(cutter: Cutter, watching: Watching, window: Window) -> tuple[Watching, list[Found]]:
    """What waited for this window is cut; a new highest is kept to the segment's end."""
    if not watching.wanted:
        return watching, []
    found: list[Found] = []
    highest = watching.highest
    for one in watching.wanted:
        captured = cutter.captured(_with(one, window))
        if one.trigger is Trigger.HIGHEST:
            highest = captured
        else:
            found.append(Found(captured, one.due_us))
    return replace(watching, wanted=(), highest=highest), found


def asked(cutter: Cutter, watching: Watching, window: Window) -> Watching:
    """Asks for the first arc, the first clipped half-cycle and the highest arc so far."""
    if not window.arcs and not window.clipped:
        return watching
    more: list[Wanted] = []
    if window.arcs and Trigger.ONSET not in watching.seen:
        at = cutter.counter_at(window, window.first_arc_us)
        more.append(_wanted(watching, window, Trigger.ONSET, at))
    if window.clipped and Trigger.OVER_RANGE not in watching.seen:
        more.append(_wanted(watching, window, Trigger.OVER_RANGE, cutter.crest_at(window)))
    seen = watching.seen.union(one.trigger for one in more)
    highest_ua = watching.highest_ua
    if window.arcs and window.arcing_peak_ua > highest_ua:
        highest_ua = window.arcing_peak_ua
        is_crest = window.peak_ua == window.arcing_peak_ua
        at = cutter.counter_at(window, window.first_arc_us)
        at = cutter.crest_at(window) if is_crest else at
        more.append(_wanted(watching, window, Trigger.HIGHEST, at))
    if not more:
        return watching
    return replace(watching, seen=seen, highest_ua=highest_ua, wanted=(*watching.wanted, *more))


def after_arc(cutter: Cutter, watching: Watching, window: Window) -> tuple[Watching, list[Found]]:
    """Current that is gone right after an arc, and stays away for `SILENCE_US`."""
    if Trigger.FLASHOVER in watching.seen:
        return watching, []
    if window.arcs:
        within_us = round(LAST_ARC_SHARE * 5e5 / cutter.plan.nominal_hz)
        at = cutter.counter_at(window, max(window.first_arc_us, window.last_arc_us - within_us))
        wanted = _wanted(watching, window, Trigger.FLASHOVER, at)
        return replace(watching, arc=Arc(wanted, window.start_us + window.last_arc_us)), []
    arc = watching.arc
    if arc is None:
        return watching, []
    if arc.after < FLASHOVER_WINDOWS:
        arc = replace(arc, wanted=_with(arc.wanted, window))
    silent = not window.live
    began_us = arc.silent_from_us if arc.silent_us else window.start_us
    silent_us = arc.silent_us + window.duration_us if silent else 0
    arc = replace(arc, after=arc.after + 1, silent_us=silent_us, silent_from_us=began_us)
    if silent_us >= SILENCE_US:
        seen = watching.seen | {Trigger.FLASHOVER}
        found = Found(cutter.captured(arc.wanted), window.start_us)
        return replace(watching, arc=None, seen=seen), [found]
    latest_us = began_us if silent else window.start_us + window.duration_us
    is_late = latest_us - arc.end_us > FLASHOVER_REACH_US
    return replace(watching, arc=None if is_late else arc), []


def dry_minute(cutter: Cutter, watching: Watching, window: Window) -> tuple[Watching, list[Found]]:
    """The first minute of the segment that is dry throughout gives its first window."""
    if Trigger.BASELINE in watching.seen:
        return watching, []
    minute, number = watching.minute, window.start_us // MINUTE_US
    if minute is None or minute.number != number:
        if minute is not None and minute.found is not None and minute.dry_us >= DRY_MINUTE_US:
            seen = watching.seen | {Trigger.BASELINE}
            return replace(watching, seen=seen, minute=None), [minute.found]
        minute = DryMinute(number, 0, None)
    if minute.dry_us < 0 and minute is watching.minute:
        return watching, []
    if minute.dry_us < 0 or window.state != DRY:
        return replace(watching, minute=replace(minute, dry_us=-1, found=None)), []
    found = minute.found
    if found is None:
        wanted = Wanted(
            *(Trigger.BASELINE, window.start, window.stop, window.start),
            *(window.start_us, window.peak_ua, window.flags),
        )
        found = Found(cutter.captured(wanted), window.start_us)
    minute = DryMinute(number, minute.dry_us + window.duration_us, found)
    return replace(watching, minute=minute), []


def dry_passed_over(
    watching: Watching, start_us: Integers, duration_us: Integers
) -> DryMinute | None:
    """The minute at hand with windows that were not looked at one by one: those in it are dry."""
    minute = watching.minute
    if minute is None or minute.dry_us < 0:
        return minute
    inside = start_us // MINUTE_US == minute.number
    return replace(minute, dry_us=minute.dry_us + int(duration_us[inside].sum()))


def at_the_end(cutter: Cutter, watching: Watching) -> list[Found]:
    """What had waited for a further window, and what only the end of the segment tells."""
    found: list[Found] = []
    last, highest = watching.before, watching.highest
    for one in watching.wanted:
        captured = cutter.captured(one)
        if one.trigger is Trigger.HIGHEST:
            highest = captured
        else:
            found.append(Found(captured, one.due_us))
    if last is None:
        return found
    if highest is not None:
        found.append(Found(highest, last.start_us))
    if watching.arc is not None and watching.arc.silent_us:
        found.append(Found(cutter.captured(watching.arc.wanted), last.start_us))
    minute = watching.minute
    if minute is not None and minute.found is not None and minute.dry_us >= DRY_MINUTE_US:
        found.append(minute.found)
    return found
