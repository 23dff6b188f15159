"""Cells of a column made whole numbers, many at a time, each exactly as one alone would be.

Every reader gives (numbers, faults): numbers has a place for each text, faults names the bad ones
by place. An empty cell is ABSENT.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from math import nan

import numpy as np

from edge.quantities import Quantity, from_column
from gateway.history.chunks import ABSENT, Bools, Floats, Ints

Faults = dict[int, str]

_TIME = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d(\.\d{1,6})?(Z|[+-]00:00)")
_BEGIN = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)

SURE_BELOW = 1e12
SURE_FROM_TIE = 0.01
"""Below the first a binary number is within 0.001 of the scaled decimal; further from a tie than
the second its nearest whole number is the decimal's. All others are read as decimals, one by one.
"""


def decimals(quantity: Quantity, texts: Sequence[str]) -> tuple[Ints, Faults]:
    """Whole numbers of the quantity's resolution, rounded half to even."""
    rough = _rough(texts)
    scaled = rough * 10.0**quantity.decimals
    nearest = np.rint(scaled)
    with np.errstate(invalid="ignore"):
        sure = (np.abs(scaled) < SURE_BELOW) & (np.abs(scaled - nearest) < 0.5 - SURE_FROM_TIE)
        sure &= (nearest >= quantity.low) & (nearest <= quantity.high)
    units = np.where(sure, nearest, 0.0).astype(np.int64)
    faults: Faults = {}
    for place in np.flatnonzero(~sure).tolist():
        text = texts[place].strip()
        try:
            units[place] = from_column(quantity, text) if text else ABSENT
        except ValueError as fault:
            units[place] = ABSENT
            faults[place] = str(fault)
    return units, faults


def _rough(texts: Sequence[str]) -> Floats:
    try:
        return np.array([float(text) if text else nan for text in texts])
    except ValueError:
        return np.array([_float_or_nan(text) for text in texts])


def _float_or_nan(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return nan


def instants(column: str, texts: Sequence[str]) -> tuple[Ints, Faults]:
    """UTC microseconds since 1970."""
    return _each_once(texts, lambda text: _instant_us(column, text))


def _instant_us(column: str, text: str) -> int:
    allowed = "it must be UTC like 2026-01-31T23:50:00Z"
    if not _TIME.fullmatch(text.strip()):
        raise ValueError(f"{column} is {text!r}; {allowed}")
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as fault:
        raise ValueError(f"{column} is {text!r}, no moment of the calendar; {allowed}") from fault
    found = (moment - _BEGIN) // _MICROSECOND
    if found < 0:
        raise ValueError(f"{column} is {text!r}; it must not be before 1970")
    return found


def words(texts: Sequence[str], read: Callable[[str], int]) -> tuple[Ints, Faults]:
    """Numbers of names; `read` raises ValueError where a name is not allowed."""
    return _each_once(texts, read)


def _each_once(texts: Sequence[str], read: Callable[[str], int]) -> tuple[Ints, Faults]:
    """Each distinct text is read once."""
    known: dict[str, int] = {}
    wrong: dict[str, str] = {}
    for text in set(texts):
        try:
            known[text] = read(text)
        except ValueError as fault:
            known[text] = ABSENT
            wrong[text] = str(fault)
    numbers = np.array([known[text] for text in texts], np.int64)
    if not wrong:
        return numbers, {}
    return numbers, {place: wrong[text] for place, text in enumerate(texts) if text in wrong}


def one_of(column: str, allowed: Sequence[str], text: str) -> str:
    """The word itself. Raises ValueError where it is not among those allowed."""
    found = text.strip()
    if found not in allowed:
        raise ValueError(f"{column} is {text!r}; it must be one of {', '.join(allowed)}")
    return found


def printable(column: str, most: int, text: str) -> str:
    """Text of at most so many characters, on one line. Raises ValueError."""
    found = text.strip()
    if len(found) > most or not found.isprintable():
        raise ValueError(
            f"{column} is {found[:40]!r}; it must be at most {most} printable characters, in UTF-8"
        )
    return found


def good(faults: Faults, rows: int) -> Bools:
    """Rows without a fault."""
    mask = np.ones(rows, np.bool_)
    mask[list(faults)] = False
    return mask
