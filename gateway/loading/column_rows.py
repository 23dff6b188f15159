"""Interval and weather rows: text by columns in, checked whole numbers out."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from edge.register import ALLOWED_IN_ID
from edge.wire import canonical
from gateway.history.chunks import ABSENT, Bools, Ints
from gateway.history.loaded import SITE, Columns
from gateway.loading.cells import Faults, decimals, instants, one_of, words
from gateway.loading.glossary import INTERVAL_MEASURES, SECONDS, STATE_NAMES, WEATHER_MEASURES
from gateway.loading.lines import Lines, Refusal

SECONDS_MAX = 86_400
"""A longer row says nothing of wetness; it is refused."""

FLAGS_MAX = 32
"""Flags of one row; a row with more is refused."""

_ID = re.compile(ALLOWED_IN_ID)
_FLAG = re.compile(r"[a-z0-9-]{1,64}")

Read = tuple[Ints, Faults]


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Good rows. lines, insulators: shape (rows,); insulators as numbers. columns: by the history's
    names, `start_us` and `duration_us` among them."""

    lines: Ints
    insulators: Ints
    columns: dict[str, Ints]


def checked_rows(
    kind: Columns, text: Lines, number: Callable[[str], int]
) -> tuple[Rows, list[Refusal]]:
    """The good rows, and why each other one is refused. number: of a word in the word list."""
    rows = len(text.numbers)
    columns: dict[str, Ints] = {}
    faults: list[tuple[str, Faults]] = []

    def keep(name: str, column: str, read: Read, required: bool = False) -> None:
        columns[name], wrong = read
        if required:
            empty = np.flatnonzero(columns[name] == ABSENT).tolist()
            wrong = {**dict.fromkeys(empty, f"{column} is empty"), **wrong}
        faults.append((column, wrong))

    if kind is Columns.INTERVAL:
        keep("insulator", "insulator", words(text.columns["insulator"], _insulator(number)))
    elif kind is Columns.FORECAST:
        keep("insulator", "issued", words(text.columns["issued"], _issue(number)))
    keep("start_us", "start", instants("start", text.columns["start"]))
    keep("duration_us", "seconds", decimals(SECONDS.quantity, text.columns["seconds"]), True)
    faults.append(("seconds", _length_faults(columns["duration_us"])))
    for measure in INTERVAL_MEASURES if kind is Columns.INTERVAL else WEATHER_MEASURES:
        if measure.column in text.columns:
            read = decimals(measure.quantity, text.columns[measure.column])
            keep(measure.name, measure.column, read)
    if kind is Columns.INTERVAL:
        for name, spelled in (("state", _state), ("flags", _flags), ("calibration", _word)):
            if name in text.columns:
                keep(name, name, words(text.columns[name], spelled(number)))
    faults.append(_together(columns))
    mask, refusals = _refused(text.numbers, faults)
    return _taken(kind, text.numbers, columns, mask, number), refusals if rows else []


def _taken(
    kind: Columns,
    lines: Sequence[int],
    columns: dict[str, Ints],
    mask: Bools,
    number: Callable[[str], int],
) -> Rows:
    good = {name: column[mask] for name, column in columns.items()}
    count = int(mask.sum())
    site = np.full(count, number(SITE)) if kind is Columns.WEATHER else good.pop("insulator")
    return Rows(np.asarray(lines, np.int64)[mask], site, good)


def _refused(lines: Sequence[int], faults: list[tuple[str, Faults]]) -> tuple[Bools, list[Refusal]]:
    """One refusal a row: its first bad column."""
    first: dict[int, Refusal] = {}
    for column, wrong in faults:
        for place, reason in wrong.items():
            first.setdefault(place, Refusal(lines[place], column, reason))
    mask = np.ones(len(lines), np.bool_)
    mask[list(first)] = False
    return mask, [first[place] for place in sorted(first)]


def _length_faults(duration_us: Ints) -> Faults:
    known = duration_us != ABSENT
    wrong = known & ((duration_us <= 0) | (duration_us > SECONDS_MAX * 1_000_000))
    return {
        place: f"seconds is {duration_us[place] / 1e6:g}; it must be above 0, at most {SECONDS_MAX}"
        for place in np.flatnonzero(wrong).tolist()
    }


def _together(columns: dict[str, Ints]) -> tuple[str, Faults]:
    """What cannot be together in one row."""
    measures = [one for name, one in columns.items() if name not in _KEYS]
    nothing = np.all([column == ABSENT for column in measures], axis=0)
    faults = dict.fromkeys(np.flatnonzero(nothing).tolist(), "no measure in the row")
    if "arcing_halfcycles" in columns and "halfcycles" in columns:
        some = (columns["halfcycles"] != ABSENT) & (columns["arcing_halfcycles"] != ABSENT)
        more = some & (columns["arcing_halfcycles"] > columns["halfcycles"])
        for place in np.flatnonzero(more).tolist():
            faults[place] = "more arcing half-cycles than half-cycles"
    return "arcing_halfcycles" if "arcing_halfcycles" in columns else "", faults


_KEYS = ("insulator", "start_us", "duration_us", "flags", "calibration")


def _insulator(number: Callable[[str], int]) -> Callable[[str], int]:
    return lambda text: number(insulator_id(text))


def _issue(number: Callable[[str], int]) -> Callable[[str], int]:
    """A forecast is known by when it was issued, to the second."""

    def read(text: str) -> int:
        found, faults = instants("issued", [text])
        if faults:
            raise ValueError(faults[0])
        stamp = np.datetime_as_string(found[:1].astype("datetime64[us]"), unit="s")[0]
        return number(f"{stamp}Z")

    return read


def insulator_id(text: str) -> str:
    """The id. Raises ValueError."""
    found = text.strip()
    if not _ID.fullmatch(found) or not found.isprintable():
        raise ValueError(
            f"insulator is {found[:60]!r}; it must be 1 to 48 printable characters without comma, "
            "quote or slash"
        )
    return found


def _state(_: Callable[[str], int]) -> Callable[[str], int]:
    def read(text: str) -> int:
        if not text.strip():
            return ABSENT
        return STATE_NAMES.index(one_of("state", STATE_NAMES, text))

    return read


def _flags(number: Callable[[str], int]) -> Callable[[str], int]:
    def read(text: str) -> int:
        flags = [one.strip() for one in text.split("|") if one.strip()]
        if len(flags) > FLAGS_MAX or not all(_FLAG.fullmatch(one) for one in flags):
            raise ValueError(f"flags is {text[:60]!r}; it must be words like gap|saturated")
        return number(canonical(flags).decode()) if flags else ABSENT

    return read


def _word(number: Callable[[str], int]) -> Callable[[str], int]:
    def read(text: str) -> int:
        found = text.strip()
        if len(found) > 64 or not found.isprintable():
            raise ValueError(f"calibration is {found[:60]!r}; it must be at most 64 characters")
        return number(found) if found else ABSENT

    return read
