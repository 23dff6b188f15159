"""What `decide` reads of a unit's rows, as columns: millions of them at hand, a few made into rows.

Rows lie in the order in which the step wants them. A row made of columns has only what the rules
read; the rest stands at zero, and deciding on it says the same as deciding on the whole row.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from edge.decide.evaluation import DecidedRecord
from edge.quantities import PULSE_LEVELS_MA, STATES
from edge.records import HealthRow, IntervalRow, Span, WeatherRow
from gateway.history.chunks import ABSENT, Bools, Ints

COVER = tuple(f"{state.value.replace('-', '_')}_us" for state in STATES)
MOMENTS = ("first_arc_us", "last_arc_us", "silent_from_us")
"""ABSENT where there was none."""

READ = (
    "start_us", "duration_us", "start_counter", "state", *COVER, "arcing_halfcycles",
    "clipped_halfcycles", "arcing_peak_ua", "arc_pulses_100ma", "live_us", *MOMENTS, "flags",
)  # fmt: skip
"""Columns that rules read. state: its place in STATES. flags: place in `flag_words`."""

TENS = "tens"
"""1 for a ten-second row, else 0."""

JUDGED = (*READ, TENS)
_LEVEL_100MA = PULSE_LEVELS_MA.index(100)
_PLACE = {name: place for place, name in enumerate(JUDGED)}
_FIRST_COVER = _PLACE[COVER[0]]
_BEHIND_COVER = _FIRST_COVER + len(COVER)

FlagWords = tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True, eq=False)
class InsulatorRows:
    """Rows of one insulator in order of (end, start), a column of whole numbers for each of JUDGED.

    further: columns of the same rows that no rule reads, such as the plain peak.
    """

    columns: Mapping[str, Ints]
    flag_words: FlagWords
    further: Mapping[str, Ints] = field(default_factory=dict)

    def __len__(self) -> int:
        return int(self.columns["start_us"].shape[0])

    @property
    def ends_us(self) -> Ints:
        """Where each row ends."""
        return self.columns["start_us"] + self.columns["duration_us"]

    def chosen(self, which: Bools | Ints | slice) -> InsulatorRows:
        """Some of the rows, in the order given."""
        return InsulatorRows(
            {name: column[which] for name, column in self.columns.items()},
            self.flag_words,
            {name: column[which] for name, column in self.further.items()},
        )

    def ordered(self) -> InsulatorRows:
        """In order of (end, start); rows that agree in both stay as they are."""
        start, end = self.columns["start_us"], self.ends_us
        if start.size < 2 or bool(((np.diff(end) > 0) & (np.diff(start) >= 0)).all()):
            return self
        return self.chosen(np.lexsort((start, end)))

    def matrix(self) -> Ints:
        """Shape (rows, JUDGED): a row's numbers side by side."""
        return np.stack([self.columns[name] for name in JUDGED], axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class UnitRows:
    """Rows of one unit; each kind in order of its ends, insulators in the order of the plan."""

    insulators: Mapping[str, InsulatorRows]
    weather: tuple[WeatherRow, ...] = ()
    health: tuple[HealthRow, ...] = ()

    def __len__(self) -> int:
        return sum(map(len, self.insulators.values())) + len(self.weather) + len(self.health)


def row_of(insulator: str, cells: list[int], flag_words: FlagWords) -> IntervalRow:
    """A row of one line of `InsulatorRows.matrix`."""
    pulses = [0] * len(PULSE_LEVELS_MA)
    pulses[_LEVEL_100MA] = cells[_PLACE["arc_pulses_100ma"]]
    first, last, silent = (
        None if cells[place] == ABSENT else cells[place]
        for place in (_PLACE[name] for name in MOMENTS)
    )
    return IntervalRow(
        span=Span.TEN_SECONDS if cells[_PLACE[TENS]] else Span.MINUTE,
        insulator=insulator,
        start_counter=cells[_PLACE["start_counter"]],
        start_us=cells[_PLACE["start_us"]],
        duration_us=cells[_PLACE["duration_us"]],
        windows=0,
        state=STATES[cells[_PLACE["state"]]],
        state_us=tuple(cells[_FIRST_COVER:_BEHIND_COVER]),  # type: ignore[arg-type]
        halfcycles=0,
        arcing_halfcycles=cells[_PLACE["arcing_halfcycles"]],
        clipped_halfcycles=cells[_PLACE["clipped_halfcycles"]],
        peak_ua=0,
        arcing_peak_ua=cells[_PLACE["arcing_peak_ua"]],
        arc_pulses=tuple(pulses),  # type: ignore[arg-type]
        charge_nc=(0, 0),
        i2t_pa2s=(0, 0),
        live_us=cells[_PLACE["live_us"]],
        first_arc_us=first,
        last_arc_us=last,
        silent_from_us=silent,
        flags=flag_words[cells[_PLACE["flags"]]],
    )


def columns_of(rows: Iterable[IntervalRow], further: Iterable[str] = ()) -> InsulatorRows:
    """Columns of one insulator's rows. further: names of whole-number fields to keep besides."""
    held = list(rows)
    words: dict[tuple[str, ...], int] = {}
    cells = [_cells(row, words) for row in held]
    across = np.array(cells, dtype=np.int64).reshape(-1, len(JUDGED)).T
    columns = {name: np.ascontiguousarray(across[place]) for name, place in _PLACE.items()}
    besides = {
        name: np.array([_or_absent(getattr(row, name)) for row in held], dtype=np.int64)
        for name in further
    }
    return InsulatorRows(columns, tuple(words), besides).ordered()


def _cells(row: IntervalRow, words: dict[tuple[str, ...], int]) -> list[int]:
    return [
        row.start_us,
        row.duration_us,
        row.start_counter,
        STATES.index(row.state),
        *row.state_us,
        row.arcing_halfcycles,
        row.clipped_halfcycles,
        row.arcing_peak_ua,
        row.arc_pulses[_LEVEL_100MA],
        row.live_us,
        *(_or_absent(getattr(row, name)) for name in MOMENTS),
        words.setdefault(row.flags, len(words)),
        int(row.span is Span.TEN_SECONDS),
    ]


def _or_absent(found: int | None) -> int:
    return ABSENT if found is None else found


def unit_rows(
    records: Iterable[DecidedRecord], insulators: Iterable[str], further: Iterable[str] = ()
) -> UnitRows:
    """A unit's rows of records in any order; rows of other insulators are passed over."""
    own: dict[str, list[IntervalRow]] = {name: [] for name in insulators}
    weather: list[WeatherRow] = []
    health: list[HealthRow] = []
    for record in records:
        if isinstance(record, IntervalRow):
            if record.insulator in own:
                own[record.insulator].append(record)
        elif isinstance(record, WeatherRow):
            weather.append(record)
        else:
            health.append(record)
    names = tuple(further)
    return UnitRows(
        {name: columns_of(rows, names) for name, rows in own.items()},
        tuple(sorted(weather, key=_end_us)),
        tuple(sorted(health, key=_end_us)),
    )


def _end_us(row: WeatherRow | HealthRow) -> int:
    return row.start_us + row.duration_us


def each_row(unit: UnitRows) -> Iterator[DecidedRecord]:
    """Every row, one by one, in the order in which the step wants them."""
    keyed: list[tuple[tuple[int, int, int, int], DecidedRecord]] = []
    for number, weather in enumerate(unit.weather):
        keyed.append(((_end_us(weather), 0, 0, number), weather))
    for number, health in enumerate(unit.health):
        keyed.append(((_end_us(health), 1, 0, number), health))
    for place, (name, rows) in enumerate(unit.insulators.items()):
        for number, cells in enumerate(rows.matrix().tolist()):
            row = row_of(name, cells, rows.flag_words)
            keyed.append(((row.start_us + row.duration_us, 2, place, number), row))
    keyed.sort(key=lambda one: one[0])
    return iter([row for _, row in keyed])
