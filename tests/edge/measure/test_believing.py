"""A window's likely half-cycles are believed together: one strange one is not an arc."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from edge.measure.arcing import DOUBT_FROM, LIKELY, judged
from edge.measure.believing import believed
from edge.measure.shape import FIGURES

Floats = npt.NDArray[np.float64]

ROW = {name: row for row, (name, _) in enumerate(FIGURES)}
HALVES = 20

ARC = {
    "above_fifth": 0.5,
    "rise": 1.0,
    "fall": 0.2,
    "log_film": -1.0,
    "sine_3": -0.3,
    "log_deviation": 0.0,
    "centre_at": 0.55,
    "log_before": -3.0,
    "log_after": -3.0,
    "log_edge": -3.0,
    "against": 0.0,
}
"""Figures of a plain arc: late, dark at the zeros, gone gently, larger than its neighbours."""


def is_believed(
    *likely: float, by_voltage: bool = True, arc: dict[str, float] | None = None
) -> bool:
    """Whether a window with half-cycles so likely is believed, all of the same shape."""
    probability = np.zeros((HALVES, 1))
    probability[: len(likely), 0] = likely
    shapes = np.zeros((len(FIGURES), HALVES, 1))
    for name, figure in (ARC | (arc or {})).items():
        shapes[ROW[name]] = figure
    return bool(believed(probability, shapes, by_voltage=by_voltage)[0])


def test_one_half_cycle_needs_more_than_each_of_several() -> None:
    assert not is_believed(0.95)
    assert is_believed(0.98)
    assert not is_believed(0.9, 0.9)
    assert is_believed(0.93, 0.93)
    assert is_believed(0.9, 0.85, 0.85)


def test_many_weak_half_cycles_are_not_believed_however_many() -> None:
    assert not is_believed(*[0.85] * HALVES)
    assert is_believed(*[0.85] * (HALVES - 1), 0.95)


def test_a_window_without_likely_half_cycles_is_not_believed() -> None:
    assert not is_believed()
    assert not is_believed(*[0.55] * HALVES)


@pytest.mark.parametrize(
    "oddity",
    [
        {"log_after": 0.0},
        {"log_before": -0.2},
        {"log_deviation": -1.5},
        {"against": 1.0, "log_edge": 0.0, "log_film": 1.0},
        {"against": 1.0, "log_film": -1.0},
    ],
    ids=["goes on", "dies away", "in every cycle", "bright ringing", "ringing"],
)
def test_what_no_arc_alone_looks_like_is_not_believed_alone(oddity: dict[str, float]) -> None:
    assert not is_believed(0.999, arc=oddity)
    assert is_believed(0.999, 0.999, arc=oddity)


@pytest.mark.parametrize(
    "impulse",
    [{"above_fifth": 0.2, "rise": 1.5, "fall": 0.9}, {"above_fifth": 0.08}],
    ids=["sudden at both ends", "a glance"],
)
def test_a_few_impulses_are_not_believed(impulse: dict[str, float]) -> None:
    assert not is_believed(0.999, arc=impulse)
    assert not is_believed(0.999, 0.999, 0.999, arc=impulse)
    assert is_believed(0.999, 0.999, 0.999, 0.999, arc=impulse)


def test_backward_flow_about_guessed_zeros_speaks_against_nothing() -> None:
    assert is_believed(0.999, by_voltage=False, arc={"against": 2.0, "log_edge": 0.0})


def test_unlikely_half_cycles_of_the_same_wave_speak_against() -> None:
    likely = [0.95, 0.5, 0.95, 0.5, 0.9]
    unlikely = [0.5, 0.05, 0.5, 0.1, 0.5, 0.2]
    assert is_believed(*likely)
    assert not is_believed(*likely, *unlikely)
    assert is_believed(*likely, *unlikely, arc={"log_strongest": 1.0})


def test_the_other_polarity_does_not_speak_against() -> None:
    assert is_believed(*[0.98, 0.01] * (HALVES // 2))


def test_what_was_not_weighed_says_nothing() -> None:
    assert is_believed(*[0.98, 0.0, 0.98, 0.0, 0.0, 0.0])


def test_copies_of_one_wave_must_convince_on_average() -> None:
    copies = {"log_deviation": -4.0}
    weak = [0.95] + [0.7] * (HALVES - 1)
    assert is_believed(*weak)
    assert not is_believed(*weak, arc=copies)
    assert is_believed(*[0.9] * HALVES, arc=copies)


def test_likely_half_cycles_are_arcing_where_believed_and_doubtful_elsewhere() -> None:
    """A film with one, and with six, delayed sines in it; without a voltage to help."""
    points = 100
    angle = np.pi * np.arange(points) / points
    polarity = np.where(np.arange(HALVES) % 2, -1.0, 1.0)
    noise = np.random.default_rng(3).standard_normal((2, HALVES, points)) * 0.02
    current = noise + 2.0 * np.sin(angle) * polarity[:, None]
    late = np.where(angle > np.radians(75), 8.0 * np.sin(angle), 0.0)
    current[1, 3:15:2] += late * polarity[3:15:2, None]
    found = judged(current, None, polarity, 2.0 * points * 50)
    assert found.arcing.sum(axis=1).tolist() == [0, 6]
    assert not (found.arcing & found.doubtful).any()
    decided = found.arcing | found.doubtful
    assert (found.probability[found.arcing] >= LIKELY).all()
    assert (decided == (found.probability > DOUBT_FROM)).all()
