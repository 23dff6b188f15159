"""`windows.csv` and `intervals.csv`: whole numbers as exact decimals, a row a window or minute."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from edge.measure.flags import flag_words
from edge.measure.windows import ABSENT, WindowTable
from edge.quantities import (
    BOTH_POLARITIES,
    BY_NAME,
    HALFCYCLE_COUNTS,
    PULSE_COUNTS,
    STATES,
    column_text,
)
from edge.records import IntervalRow

Integers = npt.NDArray[np.int64]

_SHAPE = (
    "peak_ua",
    "rms_na",
    "mean_na",
    "h1_na",
    "h2_ppm",
    "h3_ppm",
    "h3_cdeg",
    "h5_ppm",
    "h5_h3_ppm",
    "thd_ppm",
    "in_phase_na",
    "quadrature_na",
    "charge_nc",
    "arcing_charge_nc",
)

WINDOW_HEADER = (
    "insulator",
    "start",
    "seconds",
    "state",
    "frequency_hz",
    *HALFCYCLE_COUNTS,
    *(BY_NAME[name].column for name in _SHAPE),
    *PULSE_COUNTS,
    "flags",
)


def _pair_columns() -> tuple[str, ...]:
    columns = []
    for name in BOTH_POLARITIES:
        stem, unit = BY_NAME[name].column.rsplit("_", 1)
        columns += [f"{stem}_positive_{unit}", f"{stem}_negative_{unit}"]
    return tuple(columns)


INTERVAL_HEADER = (
    *WINDOW_HEADER[:-1],
    "windows",
    "clipped_halfcycles",
    "arcing_peak_ma",
    "voltage_kv",
    *(f"seconds_{state.value.replace('-', '_')}" for state in STATES),
    *_pair_columns(),
    "calibration",
    "flags",
)


def header_line(columns: Sequence[str]) -> str:
    """The first line of a table."""
    return ",".join(columns) + "\n"


def utc_texts(instants_us: Integers) -> list[str]:
    """RFC 3339 UTC with microseconds."""
    stamps = np.datetime_as_string(instants_us.astype("datetime64[us]"), unit="us")
    return [f"{stamp}Z" for stamp in stamps.tolist()]


Cells = tuple[str, Sequence[object]]
"""How the cells of a column are written, a %-format, and what is written."""


def _decimal(name: str, column: Integers) -> Cells:
    """The exact decimals of a column; empty where it could not be said.

    A double holds 15 digits, more than any column has, so its decimals are the whole number's.
    """
    decimals = BY_NAME[name].decimals
    absent = column == ABSENT
    if absent.all():
        return "%s", [""] * len(column)
    form = f"%.{decimals}f" if decimals else "%d"
    told = np.where(absent, 0, column)
    units = (told / 10**decimals if decimals else told).tolist()
    if not absent.any():
        return form, units
    return "%s", [
        "" if gone else form % one for one, gone in zip(units, absent.tolist(), strict=True)
    ]


def window_lines(tables: Iterable[tuple[str, WindowTable]]) -> str:
    """Lines of windows of several insulators, in order of their start, then as given."""
    starts: list[int] = []
    lines: list[str] = []
    for insulator, table in tables:
        starts += table.start.tolist()
        lines += _window_lines(insulator, table)
    order = sorted(range(len(lines)), key=starts.__getitem__)
    return "".join(lines[index] for index in order)


def _window_lines(insulator: str, table: WindowTable) -> list[str]:
    words = {bits: "|".join(flag_words(bits)) for bits in set(table.flags.tolist())}
    arcing = table.arcing
    summed = {
        "arcing_halfcycles": arcing.sum(axis=1),
        "arcing_positive": arcing[:, 0],
        "arcing_negative": arcing[:, 1],
        "charge_nc": table.charge_nc.sum(axis=1),
        "arcing_charge_nc": table.arcing_charge_nc.sum(axis=1),
    }
    columns: list[Cells] = [
        ("%s", [insulator] * len(table)),
        ("%s", utc_texts(table.start_us)),
        _decimal("duration_us", table.duration_us),
        ("%s", [STATES[index].value for index in table.state.tolist()]),
        _decimal("frequency_millihz", table.frequency_millihz),
    ]
    columns += [
        _decimal(name, summed[name] if name in summed else getattr(table, name))
        for name in (*HALFCYCLE_COUNTS, *_SHAPE)
    ]
    for levels in (table.pulses, table.arc_pulses):
        columns += [("%d", level) for level in levels.T.tolist()]
    columns.append(("%s", [words[bits] for bits in table.flags.tolist()]))
    line = ",".join(form for form, _ in columns) + "\n"
    return [line % cells for cells in zip(*(cells for _, cells in columns), strict=True)]


def interval_line(row: IntervalRow) -> str:
    """The line of one minute row."""
    pairs: list[int | None] = []
    for name in BOTH_POLARITIES:
        pair = getattr(row, name)
        pairs += [None, None] if pair is None else list(pair)
    summed = {
        "charge_nc": sum(row.charge_nc),
        "arcing_charge_nc": sum(row.arcing_charge_nc),
        "h5_h3_ppm": fifth_to_third_ppm(row),
    }
    plain = [
        *(_number(row, name, summed) for name in (*HALFCYCLE_COUNTS, *_SHAPE)),
        *map(str, (*row.pulses, *row.arc_pulses)),
        str(row.windows),
        str(row.clipped_halfcycles),
        column_text(BY_NAME["arcing_peak_ua"], row.arcing_peak_ua),
        column_text(BY_NAME["voltage_mv"], row.voltage_mv),
        *(column_text(BY_NAME["duration_us"], cover) for cover in row.state_us),
        *(
            column_text(BY_NAME[BOTH_POLARITIES[index // 2]], units)
            for index, units in enumerate(pairs)
        ),
    ]
    return (
        ",".join(
            [
                row.insulator,
                utc_texts(np.array([row.start_us]))[0],
                column_text(BY_NAME["duration_us"], row.duration_us),
                row.state.value,
                column_text(BY_NAME["frequency_millihz"], row.frequency_millihz),
                *plain,
                row.calibration,
                "|".join(row.flags),
            ]
        )
        + "\n"
    )


def _number(row: IntervalRow, name: str, summed: dict[str, int | None]) -> str:
    units = summed[name] if name in summed else getattr(row, name)
    return column_text(BY_NAME[name], units)


def fifth_to_third_ppm(row: IntervalRow) -> int | None:
    """Fifth to third harmonic of a row, from its two ratios; None without a third."""
    if row.h3_ppm is None or row.h5_ppm is None or row.h3_ppm < 100:
        return None
    return round(row.h5_ppm * 1_000_000 / row.h3_ppm)
