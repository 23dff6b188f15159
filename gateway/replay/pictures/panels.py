"""The panels of a page, from the top: state, current, ratios, arcing half-cycles; waveforms."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta

import numpy as np
import numpy.typing as npt
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.patches import Patch
from matplotlib.ticker import FuncFormatter

from edge.quantities import STATES, State
from gateway.replay.pictures.look import BLUE, FAINT, FILLS, INK, MIDDLE, MUTED, PAPER, SHADE
from gateway.replay.pictures.marking import Marked
from gateway.replay.pictures.series import Series
from gateway.replay.pictures.timeline import Timeline

Floats = npt.NDArray[np.float64]

CURRENT_FLOOR_MA = 0.01
"""Lowest current drawn: a logarithmic axis has no zero."""

RATIO_MAX = 1.2
"""Ratios above this are cut off: the fundamental has all but vanished there."""

_WITHOUT_CURRENT = [STATES.index(state) for state in (State.DE_ENERGISED, State.UNKNOWN)]

SHOWN_MS = 100.0
"""Of a waveform, before and after its trigger."""

APART_MS = 0.4
"""Left bare at both ends of a shaded half-cycle, so that neighbours can be counted."""


def draw_states(axes: Axes, series: Series, line: Timeline) -> None:
    """One band; each state has its grey or hatch."""
    edges = np.flatnonzero((np.diff(series.state) != 0) | line.breaks[:-1]) + 1
    for first, last in zip([0, *edges], [*edges, len(series)], strict=True):
        fill = FILLS[STATES[int(series.state[first])]]
        axes.axvspan(
            line.begin[first],
            line.end[last - 1],
            facecolor=fill.face,
            hatch=fill.hatch,
            edgecolor=MUTED,
            linewidth=0.0,
        )
    axes.set_yticks([])
    axes.set_ylabel("state", rotation=0, ha="right", va="center")
    axes.spines["left"].set_visible(False)
    seen = [state for state in State if (series.state == STATES.index(state)).any()]
    patches = [
        Patch(facecolor=FILLS[s].face, hatch=FILLS[s].hatch, edgecolor=MUTED, linewidth=0.5)
        for s in seen
    ]
    _legend(axes, patches, [state.value for state in seen])


def draw_current(
    axes: Axes, series: Series, line: Timeline, limits_ma: Mapping[str, float]
) -> None:
    """Highest current and r.m.s. on a logarithmic axis, with limits that are near enough."""
    _steps(axes, line, np.maximum(series.peak_ma, CURRENT_FLOOR_MA), INK, 0.9, "highest")
    _steps(axes, line, np.maximum(series.rms_ma, CURRENT_FLOOR_MA), MUTED, 0.9, "r.m.s.", ":")
    axes.set_yscale("log")
    highest = float(np.nanmax(np.append(series.peak_ma, 1.0)))
    lowest = float(np.nanmin(np.append(series.rms_ma[series.rms_ma > 0], 1.0)))
    limits = {name: at for name, at in limits_ma.items() if at <= 30 * highest}
    for name, at in limits.items():
        axes.axhline(at, color=BLUE, linewidth=0.9, dashes=(5, 3))
        axes.annotate(
            f"{name} {at:g} mA",
            (0.996, at),
            xycoords=("axes fraction", "data"),
            ha="right",
            va="center",
            color=BLUE,
            fontsize=7.5,
            bbox={"boxstyle": "square,pad=0.15", "facecolor": "#FFFFFF", "edgecolor": "none"},
        )
    top = 2.2 * max([highest, *limits.values()])
    axes.set_ylim(max(CURRENT_FLOOR_MA, lowest / 1.5), top)
    axes.yaxis.set_major_formatter(FuncFormatter(lambda level, _: f"{level:g}"))
    axes.set_ylabel("current\n[mA]", rotation=0, ha="right", va="center")
    axes.grid(axis="y", color=FAINT, linewidth=0.4)
    _legend(axes, *axes.get_legend_handles_labels())


def draw_ratios(axes: Axes, series: Series, line: Timeline) -> None:
    """Harmonics against the fundamental, where a current flows that has one."""
    flows = ~np.isin(series.state, _WITHOUT_CURRENT)
    h3, h5, thd = (np.where(flows, one, np.nan) for one in (series.h3, series.h5, series.thd))
    _steps(axes, line, h3, INK, 0.9, "third")
    _steps(axes, line, h5, MUTED, 0.9, "fifth", (0, (4, 2)))
    _steps(axes, line, thd, FAINT, 1.1, "all, 2 to 40")
    top = np.nanmax(np.concatenate([h3, h5, thd, [0.1]]))
    axes.set_ylim(0.0, min(1.05 * float(top), RATIO_MAX))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda share, _: f"{share * 100:.0f} %"))
    axes.set_ylabel("harmonics\n[% of h1]", rotation=0, ha="right", va="center")
    _legend(axes, *axes.get_legend_handles_labels())


def draw_arcs(axes: Axes, series: Series, line: Timeline) -> None:
    """Share of the half-cycles of each polarity that arc: positive upwards, negative downwards."""
    each = np.maximum(series.halfcycles / 2.0, 1.0)
    width = line.end - line.begin
    for counted, sign, ink, label in (
        (series.positive, 1.0, INK, "positive"),
        (series.negative, -1.0, MIDDLE, "negative"),
    ):
        share = sign * np.minimum(counted / each, 1.0)
        axes.bar(line.begin, share, width, align="edge", color=ink, linewidth=0.0, label=label)
    doubtful = series.doubtful / np.maximum(series.halfcycles, 1)
    if doubtful.any():
        _steps(axes, line, doubtful, BLUE, 0.8, "doubtful, of all", ":")
    axes.axhline(0.0, color=FAINT, linewidth=0.7)
    reach = max(0.1, float(np.max(np.maximum(series.positive, series.negative) / each)))
    axes.set_ylim(-1.1 * min(reach, 1.0), 1.1 * min(reach, 1.0))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda share, _: f"{abs(share) * 100:.0f} %"))
    axes.set_ylabel(
        "arcing\nhalf-cycles\n[% of each\npolarity]", rotation=0, ha="right", va="center"
    )
    _legend(axes, *axes.get_legend_handles_labels())


def draw_waveform(axes: Axes, waveform: Marked, *, first: bool) -> None:
    """Current about the trigger, arcing half-cycles shaded, the voltage's shape behind."""
    shown = np.abs(waveform.time_ms) <= SHOWN_MS
    time_ms, current = waveform.time_ms[shown], waveform.current_ma[shown]
    if not shown.any() or not np.isfinite(current).any():
        return
    for begin, end in waveform.arcs_ms:
        axes.axvspan(begin + APART_MS, end - APART_MS, facecolor=SHADE, linewidth=0.0)
    reach = 1.12 * float(np.nanmax(np.abs(current)))
    if waveform.voltage_kv is not None:
        volts = waveform.voltage_kv[shown]
        scale = 0.6 * reach / max(float(np.nanmax(np.abs(volts))), 1e-9)
        axes.plot(time_ms, volts * scale, color=MUTED, linewidth=0.7, linestyle=":")
    axes.plot(time_ms, current, color=INK, linewidth=0.8)
    axes.axvline(0.0, color=BLUE, linewidth=0.8, dashes=(5, 3))
    axes.set_xlim(max(-SHOWN_MS, float(time_ms[0])), min(SHOWN_MS, float(time_ms[-1])))
    axes.set_ylim(-reach, reach)
    axes.set_xlabel("ms from the trigger")
    if first:
        axes.set_ylabel("current\n[mA]", rotation=0, ha="right", va="center")
    at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=waveform.trigger_us)
    words = waveform.trigger.replace("-", " ")
    axes.set_title(f"{words}\n{at:%Y-%m-%d %H:%M:%S} UTC", loc="left", fontsize=8.5)


def draw_slots(axes: Axes, line: Timeline) -> None:
    """Gaps that are drawn narrow: bare paper between two faint edges."""
    for begin, end in line.slots:
        axes.axvspan(begin, end, facecolor=PAPER, edgecolor=FAINT, linewidth=0.6, zorder=5)


def _steps(
    axes: Axes,
    line: Timeline,
    level: Floats,
    color: str,
    width: float,
    label: str,
    style: str | tuple[int, tuple[int, ...]] = "-",
) -> None:
    """A level held from each begin to its end; broken where data are missing."""
    times = np.stack([line.begin, line.end, line.end], axis=1).ravel()
    levels = np.stack([level, level, np.where(line.breaks, np.nan, level)], axis=1).ravel()
    axes.plot(times, levels, color=color, linewidth=width, label=label, linestyle=style)


def _legend(axes: Axes, handles: Sequence[Artist], labels: Sequence[str]) -> None:
    """Above the panel at the right, in one row."""
    axes.legend(
        handles,
        labels,
        ncols=len(labels),
        loc="lower right",
        bbox_to_anchor=(1.0, 1.0),
        borderpad=0.1,
    )
