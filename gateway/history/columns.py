"""How each kind of record lies in the columns of a table, and back, without loss.

A number has a column of its own; a pair or a row of levels one for each member; a name that
repeats is a number in the site's word list; free-form details are canonical JSON. So a body need
not be kept beside its columns: `plain_body` of the record read back is the same bytes (`exact` says
whether).
"""

from __future__ import annotations

import base64
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, fields
from enum import Enum
from functools import lru_cache
from operator import attrgetter
from typing import Any, cast

from edge.quantities import PULSE_LEVELS_MA, State
from edge.records import (
    Capture,
    CapturePart,
    ClockCorrection,
    Condition,
    ConditionChange,
    EpochStart,
    HealthRow,
    IntervalRow,
    Letter,
    LineStatus,
    Loss,
    Record,
    Span,
    UnitEvent,
    WeatherRow,
)
from edge.wire import canonical, written_fields

WORD_LISTS_MAX = 4096
"""Lists of flags remembered as written; they repeat from row to row."""

Intern = Callable[[str], int]
"""The number of a word in the site's word list."""
Spell = Callable[[int], str]
"""The word of a number."""
Column = int | str | bytes | None


class Lies(Enum):
    """How a field lies in its columns."""

    PLAIN = "plain"  # an integer, or None
    TRUTH = "truth"  # 0 or 1
    WORD = "word"  # a repeating name
    WORDS = "words"  # a list of repeating names, as one word
    BASE64 = "base64"  # bytes; text where they would not give the very text back
    DETAIL = "detail"  # a mapping, as canonical JSON
    SPREAD = "spread"  # a tuple of integers, or None in every column


@dataclass(frozen=True, slots=True)
class Place:
    """Where one field lies. enum: class of the field's names."""

    field: str
    columns: tuple[str, ...]
    lies: Lies
    enum: type[Enum] | None = None


def _pair(name: str) -> tuple[str, str]:
    stem, unit = name.rsplit("_", 1)
    return f"{stem}_positive_{unit}", f"{stem}_negative_{unit}"


_WORD_FIELDS: dict[str, type[Enum] | None] = {
    "span": Span,
    "state": State,
    "condition": Condition,
    "letter": Letter,
    "line_status": LineStatus,
    **dict.fromkeys(
        [
            "insulator",
            "calibration",
            "clock_source",
            "software",
            "firmware",
            "settings_sha",
            "alarm",
            "subject",
            "reason",
            "trigger",
            "boot",
            "source",
            "previous_epoch",
            "event",
            "content_sha",
        ]
    ),
}
_BASE64_FIELDS = {"content_b64"}
_TRUTH_FIELDS = {"clock_synchronised", "source_alive", "latched"}
_WORDS_FIELDS = {"flags", "reasons"}
_DETAIL_FIELDS = {"link_counters", "noise_na", "deciding", "limits", "detail"}
_SPREAD_FIELDS = {
    "state_us": tuple(f"{state.value.replace('-', '_')}_us" for state in State),
    "pulses": tuple(f"pulses_{level}ma" for level in PULSE_LEVELS_MA),
    "arc_pulses": tuple(f"arc_pulses_{level}ma" for level in PULSE_LEVELS_MA),
    **{
        name: _pair(name)
        for name in [
            "charge_nc",
            "arcing_charge_nc",
            "i2t_pa2s",
            "arcing_i2t_pa2s",
            "energy_uj",
            "arcing_energy_uj",
        ]
    },
}


def _place(name: str) -> Place:
    if name in _WORD_FIELDS:
        return Place(name, (name,), Lies.WORD, _WORD_FIELDS[name])
    if name in _SPREAD_FIELDS:
        return Place(name, _SPREAD_FIELDS[name], Lies.SPREAD)
    for names, lies in (
        (_BASE64_FIELDS, Lies.BASE64),
        (_TRUTH_FIELDS, Lies.TRUTH),
        (_WORDS_FIELDS, Lies.WORDS),
        (_DETAIL_FIELDS, Lies.DETAIL),
    ):
        if name in names:
            return Place(name, (name,), lies)
    return Place(name, (name,), Lies.PLAIN)


@dataclass(frozen=True, slots=True)
class Table:
    """One kind of record. kind: as in the body. time: the column that reads are ranged by."""

    name: str
    record: type[Record]
    kind: str
    time: str
    places: tuple[Place, ...]
    take: Callable[[object], tuple[Any, ...]] = field(repr=False)

    @property
    def columns(self) -> tuple[str, ...]:
        """The record's columns, in order, without the key of the line."""
        return tuple(column for place in self.places for column in place.columns)


def _table(name: str, record: type[Any], time: str) -> Table:
    names = [item.name for item in fields(record) if item.name != "kind"]
    kind = cast(str, next(item.default for item in fields(record) if item.name == "kind"))
    return Table(name, record, kind, time, tuple(map(_place, names)), attrgetter(*names))


TABLES: tuple[Table, ...] = (
    _table("interval", IntervalRow, "start_us"),
    _table("weather", WeatherRow, "start_us"),
    _table("health", HealthRow, "start_us"),
    _table("condition", ConditionChange, "at_us"),
    _table("capture", Capture, "trigger_us"),
    _table("capture_part", CapturePart, "part"),
    _table("clock_correction", ClockCorrection, "from_counter"),
    _table("loss", Loss, "from_us"),
    _table("epoch_start", EpochStart, "previous_last"),
    _table("unit_event", UnitEvent, "at_us"),
)
TABLE_OF: dict[type, Table] = {table.record: table for table in TABLES}
TABLE_OF_KIND: dict[str, Table] = {table.kind: table for table in TABLES}


def to_row(table: Table, record: Record, intern: Intern) -> list[Column]:
    """The columns of a record, in the order of `table.columns`."""
    row: list[Column] = []
    for place, found in zip(table.places, table.take(record), strict=True):
        lies = place.lies
        if lies is Lies.PLAIN:
            row.append(found)
        elif lies is Lies.SPREAD:
            row.extend((None,) * len(place.columns) if found is None else found)
        elif lies is Lies.WORD:
            row.append(intern(found))
        elif lies is Lies.WORDS:
            row.append(intern(_one_word(found)))
        elif lies is Lies.TRUTH:
            row.append(int(found))
        elif lies is Lies.BASE64:
            row.append(bytes_of(found))
        else:
            row.append(canonical(found).decode())
    return row


@lru_cache(WORD_LISTS_MAX)
def _one_word(names: tuple[str, ...]) -> str:
    return canonical(names).decode()


def from_row(table: Table, row: Sequence[Column], spell: Spell) -> Record:
    """The record of columns given in the order of `table.columns`."""
    cells = iter(row)
    found = {place.field: _read(place, cells, spell) for place in table.places}
    make = cast(Callable[..., Record], table.record)
    return make(**found)


def _read(place: Place, cells: Iterator[Column], spell: Spell) -> object:
    if place.lies is Lies.SPREAD:
        spread = tuple(next(cells) for _ in place.columns)
        return None if spread[0] is None else spread
    cell = next(cells)
    if place.lies is Lies.PLAIN:
        return cell
    if place.lies is Lies.BASE64:
        return base64.b64encode(cell).decode() if isinstance(cell, bytes) else cell
    if place.lies is Lies.TRUTH:
        return bool(cell)
    if place.lies is Lies.DETAIL:
        return json.loads(cast(str, cell))
    word = spell(cast(int, cell))
    if place.lies is Lies.WORDS:
        return tuple(json.loads(word))
    return word if place.enum is None else place.enum(word)


def bytes_of(text: str) -> bytes | str:
    """The bytes of base64; the text itself where they would not give it back."""
    try:
        content = base64.b64decode(text, validate=True)
    except ValueError:
        return text
    return content if base64.b64encode(content).decode() == text else text


def plain_body(record: Record) -> bytes:
    """The canonical body of a checked record: as `edge.wire.body_line`, without its deep copy.

    A record that was read from a body holds no floats, so the search for them is spared.
    """
    table = TABLE_OF[type(record)]
    plain = dict(
        zip((place.field for place in table.places), table.take(record), strict=True),
        kind=table.kind,
    )
    return canonical(written_fields(table.record, plain))


def exact(record: Record, body: bytes) -> bool:
    """Whether the record gives its body back; a unit of a later version may send more fields."""
    return plain_body(record) == body
