"""The picture of a sweep: misses and lead time against the operator load, all detectors."""

from __future__ import annotations

from pathlib import Path

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from gateway.replay.choosing import DETECTORS, Line, fixed_load, lines
from gateway.replay.pictures.look import BLUE, DPI, INK, MIDDLE, MUTED, STYLE, WIDTH_IN
from gateway.replay.sweeping import HELD_OUT, TUNING, Swept

MARKS = dict(zip(DETECTORS, ("o", "^", "s", "x"), strict=True))
INKS = dict(zip(DETECTORS, (INK, MUTED, MIDDLE, MUTED), strict=True))


def write_sweep(swept: Swept, path: Path) -> None:
    """One PNG file: above the tuning part, below what was kept back."""
    told = lines(swept)
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(WIDTH_IN, 7.0), layout="constrained")
        axes = figure.subplots(2, 2, sharex="col")
        for row, part in enumerate((TUNING, HELD_OUT)):
            own = [one for one in told if one.part == part]
            _panel(axes[row][0], own, part, "missed events, %", fixed_load(swept))
            _panel(axes[row][1], own, part, "median lead time, min", fixed_load(swept))
        axes[0][0].legend(loc="upper right", fontsize=7)
        FigureCanvasAgg(figure)
        figure.savefig(path, dpi=DPI, metadata={"Software": None})


def _height(one: Line, what: str) -> float | None:
    if what.startswith("missed"):
        return None if one.missed.share is None else 100 * one.missed.share
    return None if one.lead_median_us is None else one.lead_median_us / 60e6


def _panel(axes: Axes, own: list[Line], part: str, what: str, load: float) -> None:
    for detector in DETECTORS:
        points = [
            (one.alarms_per_month, height, one.chosen)
            for one in own
            if one.tried.detector == detector
            and one.alarms_per_month is not None
            and (height := _height(one, what)) is not None
        ]
        look = {"marker": MARKS[detector], "color": INKS[detector], "linestyle": "none"}
        axes.plot([x for x, _, _ in points], [y for _, y, _ in points], markersize=4,
                  label=detector, **look)  # type: ignore[arg-type]  # fmt: skip
        best = [(x, y) for x, y, is_best in points if is_best]
        axes.plot([x for x, _ in best], [y for _, y in best], markersize=11, fillstyle="none",
                  **look)  # type: ignore[arg-type]  # fmt: skip
    axes.axvline(load, color=BLUE, linestyle="--", linewidth=0.8)
    axes.set_xscale("symlog", linthresh=1.0)
    axes.set_title(f"{part}; large marks: chosen on tuning; dashed: the load", fontsize=8)
    axes.set_ylabel(what)
    axes.set_xlabel("alarms a month of one site")
