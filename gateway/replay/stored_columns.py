"""A unit's stored rows week by week, as columns: read in a fraction of the time of single rows."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

import numpy as np

from edge.quantities import STATES
from edge.records import HealthRow, Span, WeatherRow
from gateway.history.chunks import ABSENT, WEEK_US, Ints
from gateway.history.loaded import Columns, LoadedRows
from gateway.history.store import PAGE_MAX, HistoryFault, Of, SiteReader
from gateway.replay.unit_rows import READ, TENS, InsulatorRows, UnitRows, columns_of

LASTS_MAX_US = 3_600_000_000
"""A row that is decided on lasts no longer; a longer one is refused, for a row that reaches over
the end of a week is looked for only so far back."""

READ_US = 6 * 3_600_000_000
"""Health and weather of a site are read for so long at a time; a read that is full is halved."""


RowT = TypeVar("RowT", WeatherRow, HealthRow)


class RowReader(SiteReader, LoadedRows, Protocol):
    """One site, by rows and by columns."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """Rows of a unit that start in [from_us, to_us). further: columns to read besides."""

    unit: str
    insulators: tuple[str, ...]
    from_us: int
    to_us: int
    further: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Week:
    """Rows that end in (from_us, until_us]; the last week has all that is left."""

    from_us: int
    until_us: int
    rows: UnitRows
    calibrations: frozenset[str]


def stored_weeks(reader: RowReader, wanted: Wanted, after_us: int = 0) -> Iterator[Week]:
    """Weeks in order, each whole; after_us: those up to then are done. Raises HistoryFault."""
    first_us = max(wanted.from_us, after_us)
    for begin_us in range(first_us // WEEK_US * WEEK_US, wanted.to_us, WEEK_US):
        from_us, until_us = max(begin_us, first_us), min(begin_us + WEEK_US, wanted.to_us)
        last = until_us == wanted.to_us
        yield _week(reader, wanted, from_us, until_us, last)


def _week(reader: RowReader, wanted: Wanted, from_us: int, until_us: int, last: bool) -> Week:
    start_us = max(wanted.from_us, from_us - LASTS_MAX_US)
    first = from_us == wanted.from_us
    low_us, high_us = (0 if first else from_us), ((1 << 62) if last else until_us)
    calibrations: set[str] = set()
    insulators = {}
    for name in wanted.insulators:
        rows, ids = _insulator(reader, wanted, name, start_us, until_us)
        ends_us = rows.ends_us
        rows = rows.chosen((ends_us > low_us) & (ends_us <= high_us))
        insulators[name] = rows
        calibrations |= ids
    weather = _whole(reader.weather, wanted.unit, start_us, until_us)
    health = _whole(reader.health, wanted.unit, start_us, until_us)
    unit = UnitRows(
        insulators,
        tuple(sorted((one for one in weather if low_us < _end(one) <= high_us), key=_end)),
        tuple(sorted((one for one in health if low_us < _end(one) <= high_us), key=_end)),
    )
    return Week(from_us, until_us, unit, frozenset(calibrations))


def _end(row: HealthRow | WeatherRow) -> int:
    return row.start_us + row.duration_us


def _whole(
    read: Callable[[int, int], list[Of[RowT]]], unit: str, start_us: int, end_us: int
) -> list[RowT]:
    """All of a unit, whatever one read gives at most."""
    found: list[RowT] = []
    at_us, step_us = start_us, READ_US
    while at_us < end_us:
        page = read(at_us, min(at_us + step_us, end_us))
        if len(page) >= PAGE_MAX:
            if step_us < 1_000_000:
                raise HistoryFault(
                    f"{unit}: {len(page)} rows within a second; look into the history before "
                    "deciding on it again"
                )
            step_us //= 2
            continue
        found += [one.record for one in page if one.key.unit == unit]
        at_us += step_us
    return found


def _insulator(
    reader: RowReader, wanted: Wanted, name: str, start_us: int, end_us: int
) -> tuple[InsulatorRows, set[str]]:
    """Rows of one insulator that start in [start, end), and the calibrations they rest on."""
    names = (*READ, "calibration", *wanted.further)
    found = reader.live_columns(Columns.INTERVAL, name, names, start_us, end_us)
    lasted = found["duration_us"]
    if lasted.size and int(lasted.max()) > LASTS_MAX_US:
        at = found["start_us"][int(lasted.argmax())]
        raise HistoryFault(
            f"{name}: a row from {at} us lasts {int(lasted.max())} us; at most {LASTS_MAX_US} us "
            "is decided on"
        )
    states = {reader.spell(int(one)): int(one) for one in np.unique(found["state"])}
    state = np.zeros_like(found["state"])
    for place, known in enumerate(STATES):
        state[found["state"] == states.get(known.value, ABSENT)] = place
    words, flags = np.unique(found["flags"], return_inverse=True)
    flag_words = tuple(tuple(json.loads(reader.spell(int(one)))) for one in words)
    columns = {one: found[one] for one in READ} | {
        "state": state,
        "flags": flags.astype(np.int64),
        TENS: np.zeros_like(state),
    }
    ids = {reader.spell(int(one)) for one in np.unique(found["calibration"])} - {""}
    rows = InsulatorRows(columns, flag_words, {one: found[one] for one in wanted.further})
    tens = _tens(reader, name, start_us, end_us, wanted.further)
    return (joined_rows(rows, tens) if len(tens) else rows).ordered(), ids


def _tens(
    reader: RowReader, name: str, start_us: int, end_us: int, further: Sequence[str]
) -> InsulatorRows:
    """The rows of ten seconds, which are few and are read one by one."""
    found = []
    at_us = start_us
    while page := reader.intervals(name, at_us, end_us, (Span.TEN_SECONDS,)):
        found += page
        if len(page) < PAGE_MAX:
            break
        at_us = page[-1].start_us + 1
    return columns_of(found, further)


def joined_rows(a: InsulatorRows, b: InsulatorRows) -> InsulatorRows:
    """All rows of both, those of `a` first where they agree in time."""
    columns: dict[str, Ints] = {
        name: np.concatenate((column, b.columns[name])) for name, column in a.columns.items()
    }
    columns["flags"][len(a) :] += len(a.flag_words)
    further = {
        name: np.concatenate((column, b.further[name])) for name, column in a.further.items()
    }
    return InsulatorRows(columns, (*a.flag_words, *b.flag_words), further)
