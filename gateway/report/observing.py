"""Rows of a site read once for everything: the trend, the ledger, the gaps and the hash."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from gateway.history.loaded import LoadedRows
from gateway.reading.site import EVERY_SUM, interval_columns
from gateway.trends.columns import IntervalColumns, Period
from gateway.trends.exposure import Ledger, ledger_of

GAP_ROWS = 1.5
"""A gap is longer than so many usual rows."""


@dataclass(frozen=True, slots=True)
class Cover:
    """Of one insulator in the month: share of its time with rows, gaps, the longest of them [s]."""

    share: float
    gaps: int
    longest_s: float
    rows: int


@dataclass(slots=True)
class Observed(Mapping[str, IntervalColumns]):
    """The insulators' rows, each read when it is asked for and not held; what is noted on the way
    stays: ledger, cover of the month, SHA-256 of the columns."""

    rows: LoadedRows
    names: tuple[str, ...]
    span: Period
    month: Period
    dead: tuple[Period, ...]
    ledgers: dict[str, Ledger] = field(default_factory=dict)
    covers: dict[str, Cover] = field(default_factory=dict)
    hashes: dict[str, str] = field(default_factory=dict)

    def __getitem__(self, insulator: str) -> IntervalColumns:
        if insulator not in self.names:
            raise KeyError(insulator)
        found = interval_columns(self.rows, insulator, self.span, EVERY_SUM, self.dead)
        self.ledgers[insulator] = ledger_of(found, None)
        self.covers[insulator] = _cover(found, self.month)
        self.hashes[insulator] = _digest(found)
        return found

    def __iter__(self) -> Iterator[str]:
        return iter(self.names)

    def __len__(self) -> int:
        return len(self.names)


def _cover(found: IntervalColumns, month: Period) -> Cover:
    inside = (found.start_us >= month.from_us) & (found.start_us < month.to_us)
    start, length = found.start_us[inside], found.duration_us[inside]
    if not start.size:
        return Cover(0.0, 0, (month.to_us - month.from_us) * 1e-6, 0)
    ends = np.concatenate(([month.from_us], np.maximum.accumulate(start + length)))
    missing = np.concatenate((start, [month.to_us])) - ends
    gaps = missing[missing > (GAP_ROWS - 1.0) * float(np.median(length))]
    whole = month.to_us - month.from_us
    share = 1.0 - float(np.sum(missing[missing > 0])) / whole
    return Cover(share, gaps.shape[0], float(np.max(gaps, initial=0)) * 1e-6, start.shape[0])


def _digest(found: IntervalColumns) -> str:
    """Of every column that is there, in a fixed order; changes with any number."""
    digest = hashlib.sha256()
    for name in found.__slots__:
        column = getattr(found, name)
        if column is not None:
            digest.update(name.encode())
            digest.update(np.ascontiguousarray(column).data)
    return digest.hexdigest()
