"""Recordings in time order as one signal: blocks, gaps and time anchors."""

from __future__ import annotations

from collections.abc import Generator, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from edge.recording.binary_rows import Chunk
from edge.recording.faults import RecordingError
from edge.recording.record import Record
from edge.samples import (
    BLOCK_SAMPLES_MAX,
    SampleBlock,
    SignalDescription,
    SourceItem,
    StreamEnd,
    TimeAnchor,
)

RATE_ERROR_PPM_MAX = 200
"""A record may begin this much of its forerunner's length too early: the forerunner's clock ran
slow. It then follows after a gap of one sample. A larger overlap is refused."""

DRIFT_NS_MAX = 1_000_000
"""Continuing records that have drifted this far from the last anchor get a fresh one, without a
gap (design choice: the same as the error up to which a clock counts as disciplined)."""

GAP_S_MAX = 20 * 366 * 86_400
"""A longer gap between two records is refused: one of their clocks was never set."""


@dataclass(frozen=True, slots=True)
class _End:
    """Where the signal stands after a record. utc_ns: by that record's own start and length."""

    name: str
    counter: int
    utc_ns: int
    length_ns: int
    anchor: TimeAnchor
    description: SignalDescription


def feed(
    records: Iterable[Record], *, block_samples: int, first_counter: int = 0
) -> Iterator[SourceItem]:
    """One signal from recordings in time order; the last item is a StreamEnd.

    The records may be opened one by one as the iterator asks for them. A record that starts within
    one sample of the last one's end continues it; otherwise the counter jumps by the time between
    and an anchor follows. Concatenated samples, gaps and anchors do not depend on `block_samples`.
    RecordingError, naming both, where two records differ in channels or rate, or overlap.
    """
    assert 1 <= block_samples <= BLOCK_SAMPLES_MAX
    end: _End | None = None
    count, reasons = 0, []
    for record in records:
        anchor = record.anchor(first_counter) if end is None else _joined(end, record)
        if end is None or anchor is not end.anchor:
            yield anchor
        start = first_counter if end is None else max(end.counter, anchor.counter)
        counter = yield from blocks(record, block_samples=block_samples, first_counter=start)
        end = _end_of(record, start, counter, anchor)
        count += 1
        reasons += [record.cut] if record.cut else []
    reason = "; ".join([f"all {count} recordings read", *reasons])
    yield StreamEnd(end.counter if end else first_counter, reason)


def _end_of(record: Record, start: int, counter: int, anchor: TimeAnchor) -> _End:
    length_ns = round((counter - start) * 1e9 / record.description.rate_hz)
    utc_ns = record.header.start_utc_ns + length_ns
    return _End(record.name, counter, utc_ns, length_ns, anchor, record.description)


def _joined(end: _End, record: Record) -> TimeAnchor:
    """The anchor that holds from `record` on: the old one where it simply continues."""
    _check_alike(end, record)
    rate_hz = record.description.rate_hz
    sample_ns = 1e9 / rate_hz
    late_ns = record.header.start_utc_ns - end.utc_ns
    if abs(late_ns) <= sample_ns:
        expected = end.anchor.utc_ns + round((end.counter - end.anchor.counter) * sample_ns)
        drifted = abs(record.header.start_utc_ns - expected) > DRIFT_NS_MAX
        fresh = record.anchor(end.counter)
        same_clock = replace(fresh, counter=end.anchor.counter, utc_ns=end.anchor.utc_ns)
        return end.anchor if not drifted and same_clock == end.anchor else fresh
    _check_order(end, record, late_ns, sample_ns)
    return record.anchor(end.counter + max(1, round(late_ns / sample_ns)))


def _check_order(end: _End, record: Record, late_ns: int, sample_ns: float) -> None:
    allowed_ns = sample_ns + end.length_ns * RATE_ERROR_PPM_MAX / 1e6
    if late_ns < -allowed_ns or late_ns > GAP_S_MAX * 10**9:
        raise RecordingError(
            f"{end.name} and {record.name}",
            f"the second begins {late_ns / 1e9:+.6f} s after the end of the first",
            f"0 to {GAP_S_MAX} s",
            "put the records in time order, and leave out doubled ones and those with a wrong date",
        )


def _check_alike(end: _End, record: Record) -> None:
    if record.description == end.description:
        return
    first, second = end.description, record.description
    found = f"rates {first.rate_hz:g} and {second.rate_hz:g} Hz"
    if first.nominal_hz != second.nominal_hz:
        found = f"nominal frequencies {first.nominal_hz:g} and {second.nominal_hz:g} Hz"
    elif len(first.channels) != len(second.channels):
        found = f"{len(first.channels)} and {len(second.channels)} channels"
    elif first.rate_hz == second.rate_hz:
        pairs = zip(first.channels, second.channels, strict=True)
        one, other = next(pair for pair in pairs if pair[0] != pair[1])
        found = f"channels {one.name!r} and {other.name!r} that differ in name, phase or scale"
    raise RecordingError(
        f"{end.name} and {record.name}",
        found,
        "the same channels and rate in all records of a feed",
        "feed them separately",
    )


def blocks(
    record: Record, *, block_samples: int, first_counter: int
) -> Generator[SampleBlock, None, int]:
    """The record's blocks; returns the counter after its last row, missing or not.

    A jump of the sample number is a gap, and so are rows in which every used value is missing.
    RecordingError where the sample number does not count up.
    """
    shift: int | None = None
    last = -1
    row = 0
    for chunk in record.rows.chunks(block_samples):
        shift = first_counter - int(chunk.number[0]) if shift is None else shift
        good = _counting_up(chunk.number, last)
        yield from _runs(chunk, good, shift)
        if good < chunk.number.size:
            before = int(chunk.number[good - 1]) if good else last
            raise RecordingError(
                record.rows.place(row + good),
                f"sample number {int(chunk.number[good])} after {before}",
                "a number that counts up, by more than one only where samples were lost",
                "fetch the file again, or number its rows",
            )
        row += good
        last = int(chunk.number[-1])
    assert shift is not None  # a record without a row is refused when it is read
    return last + 1 + shift


def _counting_up(number: npt.NDArray[np.integer[Any]], last: int) -> int:
    """How many rows from the first on have a higher number than the one before."""
    if int(number[0]) <= last:
        return 0
    falling = number[1:] <= number[:-1]
    return int(np.argmax(falling)) + 1 if falling.any() else int(number.size)


def _runs(chunk: Chunk, good: int, shift: int) -> Iterator[SampleBlock]:
    """The first `good` rows as blocks without a gap; counter = sample number + shift."""
    if good == 0:
        return
    number = chunk.number[:good]
    jumps = int(number[-1]) - int(number[0]) != good - 1
    edges = np.flatnonzero(np.diff(number) != 1) + 1 if jumps else np.zeros(0, dtype=np.intp)
    absent: npt.NDArray[np.bool_] = np.zeros(0, dtype=np.bool_)
    if chunk.missing is not None:
        absent = np.logical_and.reduce(chunk.missing[:good], axis=1)
        # A row without any value is a gap, not a row.
        edges = np.union1d(edges, np.flatnonzero(np.diff(absent)) + 1)
    starts = [0, *(int(edge) for edge in edges)]
    for start, stop in zip(starts, [*starts[1:], good], strict=True):
        if absent.size and absent[start]:
            continue
        missing = None if chunk.missing is None else chunk.missing[start:stop]
        if missing is not None and not missing.any():
            missing = None
        yield SampleBlock(int(number[start]) + shift, chunk.samples[start:stop], missing)
