"""Whether two sets of results say the same: without that a comparison of speed says nothing."""

from __future__ import annotations

import csv
from pathlib import Path

CLOSE: dict[str, tuple[float, float]] = {
    "seconds": (0.0, 1e-6),
    "frequency_hz": (0.0, 2e-3),
    "halfcycles": (0.0, 0.0),
    "peak_ma": (1e-3, 0.05),
    "rms_ma": (1e-4, 1e-5),
    "mean_ma": (1e-4, 2e-5),
    "h1_ma": (1e-4, 1e-5),
    "h2_ratio": (1e-3, 1e-4),
    "h3_ratio": (1e-3, 1e-4),
    "h5_ratio": (1e-3, 1e-4),
    "thd": (1e-3, 2e-4),
    "in_phase_ma": (1e-4, 1e-4),
    "quadrature_ma": (1e-4, 1e-4),
    "charge_c": (1e-4, 1e-9),
    "pulses_5ma": (0.0, 0.0),
    "pulses_20ma": (0.0, 0.0),
    "pulses_50ma": (0.0, 0.0),
    "pulses_100ma": (0.0, 0.0),
    "pulses_200ma": (0.0, 0.0),
}
"""Column of windows.csv: relative and absolute tolerance, in the column's own unit. A peak may
differ by the noise of the one sample between two windows. Not compared: the phase of the third,
which means nothing where there is none, and what hangs on how an arc is told."""

SUMMED = {
    "charge_positive_c": 1e-9,
    "charge_negative_c": 1e-9,
    "i2t_positive_a2s": 1e-12,
    "i2t_negative_a2s": 1e-12,
    "energy_positive_j": 1e-6,
    "energy_negative_j": 1e-6,
}
"""Columns of intervals.csv that both have, and ours' resolution for each window."""

SUMMED_RATIO = 2e-4
SUMMED_ROUNDINGS = 0.1
"""Sums agree within this share of both polarities, and so many roundings a window."""

ALIKE_SHARE_MIN = 0.9
"""Least share of windows that both call arcing, or both do not."""


class Disagreement(AssertionError):
    """The two programs measured something different; their times cannot be compared."""


def compare(ours: Path, loops: Path, *, halfcycles_alike_min: float = 0.0) -> dict[str, float]:
    """Compares two folders of results; gives the shares of windows and of half-cycles alike in
    arcing, and the largest difference in units of its tolerance. Raises Disagreement."""
    left, right = _rows(ours / "windows.csv"), _rows(loops / "windows.csv")
    if left.keys() != right.keys():
        raise Disagreement(f"{len(left)} windows of ours, {len(right)} of the loop")
    worst = 0.0
    for key, row in left.items():
        for column, (relative, absolute) in CLOSE.items():
            mine, its = float(row[column]), float(right[key][column])
            allowed = absolute + relative * abs(its) + 1e-12
            if abs(mine - its) > allowed:
                raise Disagreement(f"{key} {column}: {mine} of ours, {its} of the loop")
            worst = max(worst, abs(mine - its) / allowed)
    alike = sum((_arcing(row) > 0) == (_arcing(right[key]) > 0) for key, row in left.items()) / len(
        left
    )
    if alike < ALIKE_SHARE_MIN:
        raise Disagreement(f"only {alike:.1%} of the windows are alike in arcing")
    both = [(_arcing(row), _arcing(right[key])) for key, row in left.items()]
    apart, total = sum(abs(a - b) for a, b in both), sum(max(a, b) for a, b in both)
    halfcycles = 1.0 - apart / total if total else 1.0
    if halfcycles < halfcycles_alike_min:
        raise Disagreement(f"only {halfcycles:.1%} of the arcing half-cycles are alike")
    _compare_sums(ours / "intervals.csv", loops / "intervals.csv", len(left))
    return {
        "windows": len(left),
        "alike_in_arcing": alike,
        "halfcycles_alike": halfcycles,
        "worst_of_tolerance": worst,
    }


def _rows(path: Path) -> dict[tuple[str, str], dict[str, str]]:
    with path.open(newline="") as stream:
        return {(row["insulator"], row["start"]): row for row in csv.DictReader(stream)}


def _arcing(row: dict[str, str]) -> int:
    return int(row["arcing_halfcycles"])


def _compare_sums(ours: Path, loops: Path, windows: int) -> None:
    mine, its = _totals(ours), _totals(loops)
    for key, total in its.items():
        name, column = key
        size = abs(total) + abs(its[name, column.replace("negative", "positive")])
        rounded = SUMMED_ROUNDINGS * windows * SUMMED[column]
        if abs(mine[key] - total) > SUMMED_RATIO * size + rounded:
            raise Disagreement(f"sum of {key}: {mine[key]} of ours, {total} of the loop")


def _totals(path: Path) -> dict[tuple[str, str], float]:
    found: dict[tuple[str, str], float] = {}
    with path.open(newline="") as stream:
        for row in csv.DictReader(stream):
            for column in SUMMED:
                key = (row["insulator"], column)
                found[key] = found.get(key, 0.0) + float(row[column])
    return found
