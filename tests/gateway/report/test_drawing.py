"""Scales, frames and marks: what is drawn is where its number says."""

from __future__ import annotations

from xml.etree import ElementTree

import numpy as np
import pytest

from gateway.report.axes import BOTTOM, LEFT, RIGHT, TOP, Frame, linear, logarithmic, time_scale
from gateway.report.marks import Area, Dots, Drawing, Line, Words, svg
from gateway.report.wording import by_name, seconds_text, share_text
from gateway.trends.columns import DAY_US


@pytest.mark.parametrize(("low", "high"), [(0.0, 1.0), (0.0, 137.0), (-3.2, 3.2), (0.0, 1e-4)])
def test_a_linear_scale_reaches_over_both_ends_with_even_ticks(low: float, high: float) -> None:
    scale = linear(low, high)
    assert scale.low <= low + 1e-12 and scale.high >= high - 1e-12
    steps = np.diff([place for place, _ in scale.ticks])
    assert np.allclose(steps, steps[0]) and 2 <= len(scale.ticks) <= 9


def test_a_logarithmic_scale_has_whole_decades_and_ticks_between_where_there_is_one() -> None:
    assert [text for _, text in logarithmic(0.02, 30.0).ticks] == ["0.01", "0.1", "1", "10", "100"]
    assert [text for _, text in logarithmic(2.0, 7.0).ticks] == ["1", "2", "5", "10"]
    assert logarithmic(0.01, 1.0).share(np.array([0.1]))[0] == pytest.approx(0.5)


def test_times_have_a_tick_at_each_month_or_at_days() -> None:
    start = int(np.datetime64("2026-01-01", "us").astype(np.int64))
    year = [text for _, text in time_scale(start, start + 365 * DAY_US).ticks]
    assert year[0] == "2026-01" and len(year) <= 9
    month = [text for _, text in time_scale(start, start + 31 * DAY_US).ticks]
    assert month[:2] == ["01-01", "01-05"]


def test_a_frame_puts_corners_into_its_corners_and_breaks_a_line_at_gaps() -> None:
    frame = Frame(200.0, 100.0, linear(0.0, 1.0), linear(0.0, 1.0))
    corners = frame.places(np.array([0.0, 1.0]), np.array([0.0, 1.0]))
    assert corners == ((LEFT, 100.0 - BOTTOM), (200.0 - RIGHT, TOP))
    frame.line(np.arange(6) / 5, np.array([0.1, 0.2, np.nan, 0.3, 0.4, 0.5]))
    assert [len(mark.points) for mark in frame.marks if isinstance(mark, Line)] == [2, 3]
    frame.dots(np.array([0.5, np.nan]), np.array([0.5, 0.5]))
    assert [len(mark.points) for mark in frame.marks if isinstance(mark, Dots)] == [1]


def test_every_mark_is_well_formed_svg_and_words_are_escaped() -> None:
    marks = (
        Line(((0.0, 0.0), (1.0, 1.0)), dash=(2.0, 1.0)),
        Area(((0.0, 0.0), (1.0, 0.0), (1.0, 1.0))),
        *(Dots(((1.0, 1.0), (2.0, 2.0)), shape=shape) for shape in ("dot", "ring", "cross")),  # type: ignore[arg-type]
        Words((0.0, 0.0), "a < b & c", bold=True),
    )
    root = ElementTree.fromstring(svg(Drawing(10.0, 5.0, marks), 'is "quoted"'))
    assert len(list(root)) == 1 + len(marks)
    assert root[0].text == 'is "quoted"' and root[-1].text == "a < b & c"


def test_names_sort_as_people_count_and_shares_are_never_rounded_up_to_all() -> None:
    assert sorted(["P10", "P2", "A1"], key=by_name) == ["A1", "P2", "P10"]
    assert share_text(0.99999) == "99.9 %" and share_text(1.0) == "100.0 %"
    assert share_text(None) == "-" and seconds_text(5400.0) == "1.5 h"
