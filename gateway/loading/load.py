"""One file into the history: checked, put beside what is there, and told of."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from gateway.history.chunks import ABSENT, Ints
from gateway.history.loaded import Columns, NoteTable, SiteLoader
from gateway.loading.column_rows import Rows, checked_rows
from gateway.loading.kinds import FileRefused
from gateway.loading.lines import Head, Lines, Refusal, batches, head_of, opened, reader_of
from gateway.loading.note_rows import noted_rows

ROWS_HELD = 400_000
"""Rows that wait in memory before they are put into the history: about 100 MB with all columns."""

REFUSALS_TOLD_MAX = 100_000
"""Refused rows of a file that are kept with their reason; beyond it they are only counted."""

FRACTION_MOST_CPCT = 150
WARM_MOST_CDEGC = 6_000
"""Humidity that never exceeds 1.5 % is a fraction; air above 60 degC is in another unit."""

DIFFERS = "another row with this insulator and start is there already and says otherwise"

Progress = Callable[[int], None]


@dataclass(slots=True)
class Outcome:
    """What became of a file's rows. there: rows that the history had already. told: refused rows
    with line and reason, `refused` counts all of them."""

    path: Path
    title: str
    unknown: list[str] = field(default_factory=list)
    rows: int = 0
    added: int = 0
    there: int = 0
    refused: int = 0
    told: list[Refusal] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def refuse(self, refusals: list[Refusal]) -> None:
        """Counts them, and keeps what there is room for."""
        self.refused += len(refusals)
        self.told += refusals[: max(0, REFUSALS_TOLD_MAX - len(self.told))]


def load_file(loader: SiteLoader, path: Path, source: str, progress: Progress) -> Outcome:
    """Loads a file as a whole or, where it raises, not at all. Raises FileRefused, OSError."""
    with opened(path) as stream:
        rows = reader_of(stream)
        try:
            head = head_of(rows)
            outcome = Outcome(path, head.kind.title, head.unknown)
            with loader.together():
                into = _column_sink(loader, source, outcome, head)
                for text, uneven in batches(rows, head):
                    outcome.rows += len(text.numbers) + len(uneven)
                    outcome.refuse(uneven)
                    into.take(text)
                    progress(outcome.rows)
                into.end()
        except FileRefused as fault:
            raise FileRefused(fault.reason, f"{path}: {fault}") from fault
    outcome.told.sort(key=lambda one: one.line)
    return outcome


def _column_sink(
    loader: SiteLoader, source: str, outcome: Outcome, head: Head
) -> _ColumnSink | _NoteSink:
    into = head.kind.into
    if isinstance(into, NoteTable):
        return _NoteSink(loader, source, outcome, into)
    return _ColumnSink(loader, source, outcome, into)


@dataclass(slots=True)
class _NoteSink:
    """Rows that people write, one by one."""

    loader: SiteLoader
    source: str
    outcome: Outcome
    table: NoteTable

    def take(self, text: Lines) -> None:
        for line, row in noted_rows(self.table, text):
            if isinstance(row, Refusal):
                self.outcome.refuse([row])
                continue
            added = self.loader.add_note(self.table, self.source, row)
            if added is None:
                self.outcome.refuse([Refusal(line, "start", DIFFERS)])
            elif added:
                self.outcome.added += 1
            else:
                self.outcome.there += 1

    def end(self) -> None:
        """Nothing waits."""


@dataclass(slots=True)
class _ColumnSink:
    """Interval and weather rows, held until there are enough to put away together."""

    loader: SiteLoader
    source: str
    outcome: Outcome
    kind: Columns
    held: list[Rows] = field(default_factory=list)
    names: dict[int, str] = field(default_factory=dict)
    dampest_cpct: int = ABSENT
    warmest_cdegc: int = ABSENT

    def take(self, text: Lines) -> None:
        rows, refusals = checked_rows(self.kind, text, self._number)
        self.outcome.refuse(refusals)
        self.held.append(rows)
        if self.kind is not Columns.INTERVAL:
            self._look(rows)
        if sum(one.lines.shape[0] for one in self.held) >= ROWS_HELD:
            self._put_away()

    def end(self) -> None:
        """Puts away what is left. Raises FileRefused where the whole file is in a wrong unit."""
        self._put_away()
        if ABSENT < self.dampest_cpct <= FRACTION_MOST_CPCT:
            raise FileRefused(
                "unit",
                f"rh_pct never exceeds {self.dampest_cpct / 100:g}; it must be in per cent, "
                "0 to 100: a fraction is to be multiplied by 100",
            )
        if self.warmest_cdegc > WARM_MOST_CDEGC:
            self.outcome.warnings.append(
                f"air_c reaches {self.warmest_cdegc / 100:g}; is it in degrees Celsius?"
            )

    def _number(self, word: str) -> int:
        found = self.loader.number(word)
        self.names[found] = word
        return found

    def _look(self, rows: Rows) -> None:
        self.dampest_cpct = max(self.dampest_cpct, _highest(rows.columns["rh_cpct"]))
        if "air_cdegc" in rows.columns:
            self.warmest_cdegc = max(self.warmest_cdegc, _highest(rows.columns["air_cdegc"]))

    def _put_away(self) -> None:
        if not self.held:
            return
        rows = _joined(self.held)
        self.held.clear()
        late: list[Refusal] = []
        for insulator in np.unique(rows.insulators).tolist():
            chosen = np.flatnonzero(rows.insulators == insulator)
            taken = self.loader.add_columns(
                self.kind,
                self.names[insulator],
                self.source,
                {name: column[chosen] for name, column in rows.columns.items()},
            )
            added, differs = int(taken.added.sum()), int(taken.differs.sum())
            self.outcome.added += added
            self.outcome.there += chosen.shape[0] - added - differs
            lines = rows.lines[chosen[taken.differs]].tolist()
            late += [Refusal(line, "start", DIFFERS) for line in lines]
        self.outcome.refuse(sorted(late, key=lambda one: one.line))


def _highest(column: Ints) -> int:
    return int(column.max(initial=ABSENT))


def _joined(parts: list[Rows]) -> Rows:
    first = parts[0]
    return replace(
        first,
        lines=np.concatenate([one.lines for one in parts]),
        insulators=np.concatenate([one.insulators for one in parts]),
        columns={
            name: np.concatenate([one.columns[name] for one in parts]) for name in first.columns
        },
    )
