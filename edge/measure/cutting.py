"""Cuts a source's items into segments: at gaps, ten-minute UTC ticks, and where the clock changes.

Knows counters and anchors only, never samples, so that a feed can be cut without being measured:
the actions of a block say what the measure is to do with it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from edge.measure.flags import flag_bits
from edge.quantities import Flag
from edge.samples import AnchorSource, TimeAnchor

Integers = npt.NDArray[np.int64]

TICK_US = 600_000_000
"""Ten minutes: at each, UTC-aligned, everything is anchored anew."""

CLOCK_STEP_NS = 1_000_000_000
"""UTC that moves by more against the counter is a step: a new segment, flagged."""

BACK_NS_MAX = 10_000_000
"""UTC that a change of clock moves back by more would put windows out of their order: what was
gathered becomes rows first. Within half a cycle a minute stays one row."""

NO_ANCHOR = TimeAnchor(0, 0, 1 << 62, AnchorSource.LOCAL, synchronised=False)
"""Stands in until a source says what time it is."""


@dataclass(frozen=True, slots=True)
class Cut:
    """What cutting carries.

    anchor: in force. pending: anchors for samples not yet here. next_counter: expected next, -1
    before the first. is_open: a segment is open. tick_stop: counter of the first sample of the next
    tick. flags: bits for the segment that opens next.
    """

    rate_hz: float
    anchor: TimeAnchor | None = None
    pending: tuple[TimeAnchor, ...] = ()
    next_counter: int = -1
    is_open: bool = False
    tick_stop: int = 0
    flags: int = 0


@dataclass(frozen=True, slots=True)
class Close:
    """End the open segment. rows_end: its last minute is complete. flags: for its last windows."""

    rows_end: bool
    flags: int = 0


@dataclass(frozen=True, slots=True)
class Open:
    """Begin a segment with sample `start`."""

    start: int
    anchor: TimeAnchor
    flags: int


@dataclass(frozen=True, slots=True)
class Take:
    """Measure the samples from counter `start` up to but without `stop`."""

    start: int
    stop: int


Action = Close | Open | Take


def utc_us(anchor: TimeAnchor, rate_hz: float, counters: Integers) -> Integers:
    """UTC [us] of sample counters; rounded once, so that differences add up."""
    elapsed_us = np.rint((counters - anchor.counter) * (1e6 / rate_hz)).astype(np.int64)
    return np.asarray(elapsed_us + anchor.utc_ns // 1000, np.int64)


def utc_us_at(anchor: TimeAnchor, rate_hz: float, counter: int) -> int:
    """UTC [us] of one sample counter."""
    return int(utc_us(anchor, rate_hz, np.array([counter]))[0])


def anchored_anew(cut: Cut, anchor: TimeAnchor) -> Cut:
    """With a further anchor, for its counter and after."""
    return replace(cut, pending=(*cut.pending, anchor))


def ended(cut: Cut) -> tuple[Cut, list[Action]]:
    """The source has ended."""
    actions: list[Action] = [Close(rows_end=True)] if cut.is_open else []
    return replace(cut, is_open=False), actions


def cut_block(cut: Cut, start: int, stop: int) -> tuple[Cut, list[Action]]:
    """What to do with a block of samples `start` to `stop`; what was there before counts once."""
    actions: list[Action] = []
    if cut.next_counter >= 0 and start > cut.next_counter:
        gap = flag_bits(Flag.GAP)
        actions += [Close(rows_end=False, flags=gap)] if cut.is_open else []
        cut = replace(cut, is_open=False, flags=cut.flags | gap)
    at = max(start, cut.next_counter)
    while at < stop:
        cut, border = _at_border(cut, at)
        actions += border
        upto = min([stop, cut.tick_stop, *(one.counter for one in cut.pending)])
        actions.append(Take(at, upto))
        at = upto
    return replace(cut, next_counter=max(stop, cut.next_counter)), actions


def _at_border(cut: Cut, counter: int) -> tuple[Cut, list[Action]]:
    """Before sample `counter`: due anchors in, a tick or another clock closes, a segment opens."""
    actions: list[Action] = []
    due = [one for one in cut.pending if one.counter <= counter]
    if due:
        before = cut.anchor or (NO_ANCHOR if cut.is_open else due[-1])
        moved_ns = _moved_ns(before, due[-1], cut.rate_hz)
        stepped = abs(moved_ns) > CLOCK_STEP_NS
        # from here on rows say that another clock dates them, or that none is kept any more
        ends = stepped or due[-1].synchronised != before.synchronised
        if ends and cut.is_open:
            actions.append(Close(rows_end=stepped or moved_ns < -BACK_NS_MAX))
        cut = replace(
            cut,
            anchor=due[-1],
            tick_stop=_same_tick(cut, due[-1]),
            pending=cut.pending[len(due) :],
            is_open=cut.is_open and not ends,
            flags=cut.flags | (flag_bits(Flag.CLOCK_STEP) if stepped else 0),
        )
    if cut.is_open and counter >= cut.tick_stop:
        actions.append(Close(rows_end=True))
        cut = replace(cut, is_open=False)
    if not cut.is_open:
        anchor = cut.anchor or NO_ANCHOR
        flags = cut.flags | (0 if anchor.synchronised else flag_bits(Flag.CLOCK_UNSYNCHRONISED))
        actions.append(Open(counter, anchor, flags))
        stop = tick_stop(anchor, cut.rate_hz, counter)
        cut = replace(cut, is_open=True, tick_stop=stop, flags=0)
    return cut, actions


def _moved_ns(old: TimeAnchor, new: TimeAnchor, rate_hz: float) -> int:
    """By how much a newer anchor moves UTC against the sample counter."""
    believed_ns = old.utc_ns + round((new.counter - old.counter) * 1e9 / rate_hz)
    return new.utc_ns - believed_ns


def _same_tick(cut: Cut, anchor: TimeAnchor) -> int:
    """Counter of the tick ahead by a newer anchor, so that the next segment begins with it."""
    if cut.anchor is None or not cut.is_open:
        return cut.tick_stop
    tick_us = utc_us_at(cut.anchor, cut.rate_hz, cut.tick_stop) // TICK_US * TICK_US
    return first_at(anchor, cut.rate_hz, anchor.counter, tick_us)


def tick_stop(anchor: TimeAnchor, rate_hz: float, counter: int) -> int:
    """Counter of the first sample at or after the tick that follows `counter`."""
    tick_us = (utc_us_at(anchor, rate_hz, counter) // TICK_US + 1) * TICK_US
    return first_at(anchor, rate_hz, counter, tick_us)


def first_at(anchor: TimeAnchor, rate_hz: float, counter: int, tick_us: int) -> int:
    """Counter of the first sample at or after UTC `tick_us`, reckoned from one near by."""
    start_us = utc_us_at(anchor, rate_hz, counter)
    stop = counter + int((tick_us - start_us) * rate_hz // 1e6)
    while utc_us_at(anchor, rate_hz, stop) < tick_us:
        stop += 1
    return stop
