"""The page of one insulator, as a PNG file."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.gridspec import SubplotSpec

from gateway.replay.capture_files import stem_of
from gateway.replay.pictures.gathering import Story
from gateway.replay.pictures.look import DPI, MUTED, STYLE, WIDTH_IN
from gateway.replay.pictures.marking import marked
from gateway.replay.pictures.panels import (
    draw_arcs,
    draw_current,
    draw_ratios,
    draw_slots,
    draw_states,
    draw_waveform,
)
from gateway.replay.pictures.series import Series, thinned
from gateway.replay.pictures.timeline import Timeline, timeline

FOLDER = "pictures"

TALL_IN, LOW_IN = 9.4, 6.4
"""Of a page with waveforms, and without."""

HEIGHTS = (0.28, 1.5, 1.0, 1.0)
"""Of the panels against each other; the waveforms have a row of their own."""

CAUTION = "Monitoring only: not protection, no proof that anything is dead or safe to approach."
SLOT_KEY = "grey slots: time without data, not to scale"
WAVEFORM_KEY = (
    "waveforms: full line current, dotted the voltage's shape, shaded arcing half-cycles, dashed "
    "the trigger"
)


def write_page(story: Story, limits_ma: Mapping[str, float], folder: Path) -> Path:
    """Draws a story and writes it into a folder, which is made where it is missing."""
    folder.mkdir(exist_ok=True)
    path = folder / f"{stem_of(story.insulator)}.png"
    with matplotlib.rc_context(STYLE):
        figure = drawn(story, limits_ma)
        FigureCanvasAgg(figure)
        figure.savefig(path, dpi=DPI, metadata={"Software": None})
    return path


def drawn(story: Story, limits_ma: Mapping[str, float]) -> Figure:
    """The figure of a story."""
    tall = bool(story.waveforms)
    figure = Figure(figsize=(WIDTH_IN, TALL_IN if tall else LOW_IN))
    height_in = float(figure.get_size_inches()[1])
    parts = figure.add_gridspec(
        2 if tall else 1,
        1,
        height_ratios=[2.35, 1.0] if tall else [1.0],
        left=0.12,
        right=0.975,
        top=1.0 - 0.8 / height_in,
        bottom=(0.95 if tall else 0.75) / height_in,
        hspace=0.27,
    )
    series = thinned(story.series)
    line = timeline(series)
    _draw_panels(figure, parts[0], series, line, limits_ma)
    if tall:
        _draw_waveforms(figure, story, parts[1])
    keys = ([WAVEFORM_KEY] if tall else []) + ([SLOT_KEY] if line.slots else [])
    _draw_head(figure, story, height_in, "; ".join(keys))
    return figure


def _draw_panels(
    figure: Figure,
    place: SubplotSpec,
    series: Series,
    line: Timeline,
    limits_ma: Mapping[str, float],
) -> None:
    """Four panels over one axis of time."""
    rows = place.subgridspec(len(HEIGHTS), 1, height_ratios=HEIGHTS, hspace=0.3)
    panels: list[Axes] = []
    for number in range(len(HEIGHTS)):
        shared = panels[0] if panels else None
        panels.append(figure.add_subplot(rows[number], sharex=shared))
    draw_states(panels[0], series, line)
    draw_current(panels[1], series, line, limits_ma)
    draw_ratios(panels[2], series, line)
    draw_arcs(panels[3], series, line)
    for axes in panels:
        axes.tick_params(labelbottom=axes is panels[-1])
        draw_slots(axes, line)
    panels[-1].set_xticks([place for place, _ in line.ticks], [text for _, text in line.ticks])
    panels[0].set_xlim(0.0, line.width)
    figure.align_ylabels(panels)


def _draw_waveforms(figure: Figure, story: Story, place: SubplotSpec) -> None:
    places = place.subgridspec(1, len(story.waveforms), wspace=0.16)
    for number, (manifest, content) in enumerate(story.waveforms):
        axes = figure.add_subplot(places[number])
        draw_waveform(axes, marked(manifest, content), first=number == 0)


def _draw_head(figure: Figure, story: Story, height_in: float, key: str) -> None:
    """Who and when above; the key and the caution below."""
    first, last = (
        datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=int(at_us))
        for at_us in (story.series.begin_us[0], story.series.end_us[-1])
    )
    days = f"{first:%Y-%m-%d %H:%M:%S} to {last:%Y-%m-%d %H:%M:%S} UTC"
    each = "minutes" if story.is_minutes else "windows of about 200 ms"
    above = 1.0 - 0.3 / height_in
    figure.text(0.12, above, story.insulator, fontsize=13, weight="bold")
    figure.text(0.975, above, f"{days}, from {each}", color=MUTED, ha="right")
    figure.text(0.12, 0.33 / height_in, key, fontsize=7.5, color=MUTED)
    figure.text(0.12, 0.14 / height_in, CAUTION, fontsize=7.5, color=MUTED)
