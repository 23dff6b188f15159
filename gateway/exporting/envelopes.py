"""A unit's lines as the envelopes in which it sent them, one a line; `seafret replay` reads them.

Bodies, numbers and times are those that came. Which lines shared a message is not kept: they are
put together anew, and streams are merged by the time of sending, the finest order of arrival that
the history has.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from pathlib import Path

from edge.wire import MESSAGE_BYTES_MAX, Batch, Line, batch_message
from gateway.history.store import Entry, SiteReader, StreamKey

LINES_A_MESSAGE = 20
BYTES_A_MESSAGE = MESSAGE_BYTES_MAX - 4096
"""A message ends before either; the rest is room for its head. A longer line goes alone, as it
came."""
LINE_BYTES = 128
"""At most, beside its body: numbers and names."""
PAGE = 5_000
"""Lines of a stream that are read at a time."""


class UnitsFault(ValueError):
    """The analyst's: not exactly one unit was meant."""


def unit_of(reader: SiteReader, unit: str | None) -> str:
    """The unit meant; the only one where none is named. Raises UnitsFault."""
    known = sorted({key.unit for key in reader.marks()})
    if unit is None and len(known) == 1:
        return known[0]
    if unit is None or unit not in known:
        raise UnitsFault(f"--unit is {unit!r}; the history has {', '.join(known) or 'none'}")
    return unit


def write_envelopes(reader: SiteReader, unit: str, path: Path) -> int:
    """Writes all lines of a unit; how many."""
    keys = sorted(key for key in reader.marks() if key.unit == unit)
    part = path.with_name(f"{path.name}.part")
    count = 0
    with part.open("wb") as stream:
        told = [_messages(reader, key) for key in keys]
        for entries in heapq.merge(*told, key=lambda one: one[-1].t_utc_us):
            stream.write(_envelope(entries) + b"\n")
            count += len(entries)
    part.replace(path)
    return count


def _messages(reader: SiteReader, key: StreamKey) -> Iterator[list[Entry]]:
    after = 0
    while page := reader.lines(key, after, PAGE):
        after = page[-1].seq
        held: list[Entry] = []
        size = 0
        for one in page:
            more = len(one.body) + LINE_BYTES
            full = len(held) >= LINES_A_MESSAGE or size + more > BYTES_A_MESSAGE
            if held and (full or _apart(held[-1], one)):
                yield held
                held, size = [], 0
            held.append(one)
            size += more
        yield held


def _apart(a: Entry, b: Entry) -> bool:
    """Whether two lines cannot have shared a message."""
    return (a.boot, a.clock) != (b.boot, b.clock) or b.seq != a.seq + 1


def _envelope(entries: list[Entry]) -> bytes:
    key, first = entries[0].key, entries[0]
    lines = tuple(Line(one.seq, one.t_boot_ns, one.t_utc_us, one.body) for one in entries)
    return batch_message(Batch(key.unit, key.epoch, key.stream, first.boot, first.clock, lines))
