"""A stored or simulated signal delivered as time passes, and cut off after so many seconds.

Pure but for the wait that it is given: when each item is due follows from its counter alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from edge.samples import SampleBlock, SourceItem, StreamEnd, TimeAnchor
from edge.sense.link_items import joined

GATHER_S = 1.0
"""A step over a second of signal costs a fifth of forty steps over 25 ms each, and says the same;
an alarm is later by so much at most."""

Wait = Callable[[int], bool]
"""Waits until this clock time [us]; False where it was told to stop meanwhile."""


def paced(
    items: Iterable[SourceItem], rate_hz: float, wait: Wait, begin_us: int | None = None
) -> Iterator[SourceItem]:
    """Items when their last sample has been taken; ends early where `wait` says so.

    begin_us: the clock time at which the signal's first moment is played; None: its own date.
    """
    anchor: TimeAnchor | None = None
    shift_us = 0
    for item in items:
        if isinstance(item, TimeAnchor):
            if anchor is None and begin_us is not None:
                shift_us = begin_us - item.utc_ns // 1000
            anchor = item
        elif isinstance(item, SampleBlock) and anchor is not None:
            since_us = round((item.counter_end - anchor.counter) / rate_hz * 1e6)
            if not wait(anchor.utc_ns // 1000 + since_us + shift_us):
                return
        yield item


def limited(
    items: Iterable[SourceItem], rate_hz: float, signal_s: float | None
) -> Iterator[SourceItem]:
    """The first so many seconds of a signal, gaps counted, and its end."""
    stop: int | None = None
    for item in items:
        if signal_s is None or not isinstance(item, SampleBlock):
            yield item
            continue
        stop = item.counter + round(signal_s * rate_hz) if stop is None else stop
        kept = stop - item.counter
        if kept > 0:
            yield item if item.counter_end <= stop else head_of(item, kept)
        if item.counter_end >= stop:
            yield StreamEnd(stop, f"{signal_s:g} s of signal were asked for")
            return


def gathered(items: Iterable[SourceItem], rate_hz: float) -> Iterator[SourceItem]:
    """Short blocks put together; anything else, or a gap, hands on what has been gathered."""
    held: list[SourceItem] = []
    rows = 0
    for item in items:
        if isinstance(item, SampleBlock):
            held.append(item)
            rows += len(item.samples)
            if rows < GATHER_S * rate_hz:
                continue
        yield from joined(held)
        held, rows = [], 0
        if not isinstance(item, SampleBlock):
            yield item
    yield from joined(held)


def head_of(block: SampleBlock, rows: int) -> SampleBlock:
    """The first rows of a block."""
    missing = None if block.missing is None else block.missing[:rows]
    return SampleBlock(block.counter, block.samples[:rows], missing)


def tail_of(block: SampleBlock, rows: int) -> SampleBlock:
    """A block without its first rows."""
    missing = None if block.missing is None else block.missing[rows:]
    return SampleBlock(block.counter + rows, block.samples[rows:], missing)
