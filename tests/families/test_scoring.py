"""The scorer on cases small enough to count by hand."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import beta

from edge.quantities import State
from edge.samples import Channel, ChannelKind, SignalDescription
from tests.families.bounds import upper_bound
from tests.families.labelled import Kind, Label, Labelled, Recording, Surface, Truth
from tests.families.matching import counted
from tests.families.oracle import told
from tests.families.outcome import HalfcycleOutcome, Outcome
from tests.families.scoring import Score, score
from tests.families.table import FIGURES, line
from tests.families.window_truth import window_states
from tests.families.windows_csv import read_windows, write_windows

HALF = 100  # samples of a half-cycle at 10 kS/s and 50 Hz


def hand_made(labels: Sequence[int], film_ma: float = 2.0, kind: Kind = Kind.ARCING) -> Labelled:
    count = len(labels)
    edges = np.arange(count + 1, dtype=np.float64) * HALF
    label = np.array(labels, dtype=np.int8)
    burns = np.isin(label, (Label.ARCING, Label.DOUBTFUL))
    signal = SignalDescription(
        10_000.0, 50.0, (Channel("I1", ChannelKind.CURRENT), Channel("U1", ChannelKind.VOLTAGE))
    )
    recording = Recording(
        signal, np.zeros((count * HALF, 2), dtype=np.int16), 10**18, (0,), 1, 0.01j
    )
    truth = Truth(
        edges,
        label,
        np.full(count, Surface.WET, dtype=np.int8),
        np.where(np.arange(count) % 2 == 0, 1, -1).astype(np.int8),
        np.full(count, 2e-6),
        np.where(burns, 1e-6, 0.0),
        edges[:-1] + HALF / 2,
        np.full(count, film_ma),
        np.zeros(count, dtype=bool),
        np.zeros(count, dtype=bool),
        0.01j,
    )
    return Labelled("by-hand", kind, 0, recording, truth)


def with_arcs_at(count: int, *arcs: int) -> Labelled:
    return hand_made([Label.ARCING if i in arcs else Label.HARMLESS for i in range(count)])


def test_the_truth_told_scores_full_marks() -> None:
    labelled = with_arcs_at(60, 3, 4, 25)
    result = score(labelled, told(labelled))
    assert result.halfcycles.precision == result.halfcycles.recall == 1.0
    assert result.windows.precision == result.windows.recall == result.state_share == 1.0
    assert result.calibration == 0.0 and result.charge_error == pytest.approx(0.0)


def test_an_arc_too_many_and_one_too_few_do_not_cancel() -> None:
    labelled = with_arcs_at(60, 3, 5, 25)
    said = told(with_arcs_at(60, 3, 7, 25))
    result = score(labelled, said)
    assert (result.halfcycles.agreed, result.halfcycles.excess, result.halfcycles.missing) == (
        2,
        1,
        1,
    )


def test_errors_of_two_windows_do_not_cancel_in_the_counts_of_windows() -> None:
    labelled = with_arcs_at(60, 3, 5, 25)
    said = replace(told(with_arcs_at(60, 3, 25, 27)), halfcycles=None)
    result = score(labelled, said)
    assert (result.halfcycles.agreed, result.halfcycles.excess, result.halfcycles.missing) == (
        2,
        1,
        1,
    )


def test_an_arc_of_the_wrong_polarity_is_wrong_twice() -> None:
    labelled = with_arcs_at(40, 6)
    said = replace(told(with_arcs_at(40, 7)), halfcycles=None)
    tally = score(labelled, said).halfcycles
    assert (tally.agreed, tally.excess, tally.missing) == (0, 1, 1)


@pytest.mark.parametrize("shift", [-0.5, -0.25, 0.25, 0.5])
def test_a_mains_clock_off_by_up_to_a_quarter_turn_still_names_the_right_arcs(
    shift: float,
) -> None:
    labelled = with_arcs_at(60, 3, 4, 20, 25)
    result = score(labelled, told(labelled, shift))
    assert result.halfcycles.precision == result.halfcycles.recall == 1.0


def test_a_clock_off_by_a_half_turn_is_wrong() -> None:
    labelled = with_arcs_at(60, 3, 8, 25)
    assert score(labelled, told(labelled, 1.0)).halfcycles.agreed == 0


def test_an_arc_at_an_edge_counts_in_either_window_but_once() -> None:
    labelled = with_arcs_at(60, 20)
    truth = replace(labelled.truth, centre=labelled.truth.centre.copy())
    truth.centre[20] = 20 * HALF + 10
    labelled = replace(labelled, truth=truth)
    for arcs in ((20,), (18,)):
        said = replace(told(with_arcs_at(60, *arcs)), halfcycles=None)
        matched = counted(labelled, said.windows)
        assert (matched.agreed.sum(), matched.excess.sum(), matched.missing.sum()) == (1, 0, 0)
    twice = counted(labelled, told(with_arcs_at(60, 18, 20)).windows)
    assert (twice.agreed.sum(), twice.excess.sum(), twice.missing.sum()) == (1, 1, 0)
    never = counted(labelled, told(with_arcs_at(60)).windows)
    assert (never.agreed.sum(), never.excess.sum(), never.missing.sum()) == (0, 0, 1)


def test_a_doubtful_arc_is_neither_missed_nor_wrong() -> None:
    labelled = hand_made([Label.DOUBTFUL if i == 5 else Label.HARMLESS for i in range(40)])
    for said in (told(with_arcs_at(40)), told(with_arcs_at(40, 5))):
        for outcome in (said, replace(said, halfcycles=None)):
            result = score(labelled, outcome)
            assert result.halfcycles.excess == result.halfcycles.missing == 0
            assert result.windows.excess == result.windows.missing == 0
            assert result.excused == 1


def test_arcs_that_no_window_covers_are_missed() -> None:
    labelled = with_arcs_at(60, 3, 45, 50)
    whole = told(labelled).windows
    fields = {
        name: getattr(whole, name)[:2]
        for name in whole.__dataclass_fields__  # the third window was never delivered
    }
    result = score(labelled, Outcome(type(whole)(**fields)))
    assert result.halfcycles.missing == 2 and result.windows.missing == 1


def with_probability(labelled: Labelled, probability: Sequence[float]) -> Outcome:
    said = told(labelled)
    assert isinstance(said.halfcycles, HalfcycleOutcome)
    return replace(said, halfcycles=replace(said.halfcycles, probability=np.array(probability)))


def test_a_probability_of_three_quarters_that_holds_three_times_in_four_is_calibrated() -> None:
    labelled = hand_made([Label.ARCING, Label.ARCING, Label.ARCING, Label.HARMLESS] * 10)
    assert score(labelled, with_probability(labelled, [0.75] * 40)).calibration == 0.0
    assert score(labelled, with_probability(labelled, [0.95] * 40)).calibration == pytest.approx(
        0.2
    )


def test_calibration_errors_of_two_bins_do_not_cancel() -> None:
    labelled = hand_made([Label.ARCING, Label.HARMLESS] * 20)
    said = with_probability(labelled, [0.65, 0.35] * 20)
    assert score(labelled, said).calibration == pytest.approx(0.35)


def test_false_windows_are_counted_against_harmless_halfcycles() -> None:
    labelled = hand_made([Label.HARMLESS] * 100, kind=Kind.HARMLESS)
    result = score(labelled, told(with_arcs_at(100, 2, 3, 70)))
    assert result.false_windows == 2 and result.harmless == 100
    assert result.false_per_million is not None
    assert result.false_per_million[0] == pytest.approx(20_000)


@pytest.mark.parametrize(("k", "n"), [(0, 100), (1, 100), (7, 1_000), (40, 50), (3, 10**8)])
def test_the_upper_bound_is_that_of_clopper_and_pearson(k: int, n: int) -> None:
    assert upper_bound(k, n) == pytest.approx(float(beta.ppf(0.95, k + 1, n - k)), rel=1e-6)


def test_no_event_in_a_million_bounds_the_rate_by_three_in_a_million() -> None:
    assert upper_bound(0, 1_000_000) == pytest.approx(3e-6, rel=0.01)


def test_half_of_one_polarity_makes_a_window_dense() -> None:
    dense = with_arcs_at(20, 0, 2, 4, 6, 8, 10, 12)
    sparse = with_arcs_at(20, 0, 2, 4)
    quiet = with_arcs_at(20)
    assert window_states(dense, 0, 2_000)[0] == {State.ARCING_DENSE}
    assert window_states(sparse, 0, 2_000)[0] == {State.ARCING_SPARSE}
    assert window_states(quiet, 0, 2_000)[0] == {State.WET}


@pytest.mark.parametrize(
    ("film_ma", "accepted"),
    [
        (0.0, {State.DRY}),
        (0.3, {State.DRY, State.WET}),
        (0.5, {State.WET}),
    ],
)
def test_only_at_the_limit_may_a_surface_be_called_either(
    film_ma: float, accepted: set[State]
) -> None:
    assert window_states(hand_made([Label.HARMLESS] * 20, film_ma), 0, 2_000)[0] == accepted


@pytest.mark.parametrize(
    ("surface", "accepted"),
    [
        (Surface.DEAD_LINE, {State.DE_ENERGISED}),
        (Surface.DEAD_SENSOR, {State.UNKNOWN}),
        (Surface.ABNORMAL_WET, {State.WET, State.UNKNOWN}),
        (Surface.UNSCORED, None),
    ],
)
def test_a_dead_line_and_a_dead_sensor_are_told_apart(
    surface: Surface, accepted: set[State] | None
) -> None:
    labelled = hand_made([Label.HARMLESS] * 20)
    surfaces = np.full(20, surface, dtype=np.int8)
    labelled = replace(labelled, truth=replace(labelled.truth, surface=surfaces))
    assert window_states(labelled, 0, 2_000)[0] == accepted


def test_scores_add_up_without_losing_a_bin() -> None:
    labelled = with_arcs_at(60, 3, 25)
    one = score(labelled, told(labelled))
    both = one + one
    assert both.recordings == 2 and both.bins.sum() == 2 * one.bins.sum()
    assert (Score() + one).halfcycles == one.halfcycles


def test_a_charge_told_a_tenth_too_high_is_an_error_of_a_tenth() -> None:
    labelled = with_arcs_at(60, 3, 25)
    said = told(labelled)
    high = replace(said.windows, arcing_charge_c=said.windows.arcing_charge_c * 1.1)
    assert score(labelled, replace(said, windows=high)).charge_error == pytest.approx(0.1)


def test_windows_read_from_the_file_score_as_they_did_in_memory(tmp_path: Path) -> None:
    labelled = with_arcs_at(60, 3, 7, 25, 44)
    said = replace(told(with_arcs_at(60, 3, 9, 31, 45)), halfcycles=None)
    path = tmp_path / "windows.csv"
    write_windows(path, "I1", labelled.recording, said.windows)
    read = read_windows(path, labelled.recording, "I1")
    direct, stored = score(labelled, said), score(labelled, read)
    assert stored.halfcycles == direct.halfcycles
    assert stored.windows == direct.windows
    assert stored.states_right == direct.states_right


def test_a_file_without_the_insulator_is_refused_by_name(tmp_path: Path) -> None:
    labelled = with_arcs_at(40, 3)
    path = tmp_path / "windows.csv"
    write_windows(path, "I1", labelled.recording, told(labelled).windows)
    with pytest.raises(ValueError, match="no row of insulator 'I2'"):
        read_windows(path, labelled.recording, "I2")


def test_a_figure_beyond_its_limit_is_marked_and_the_table_fits_a_hundred_columns() -> None:
    labelled = with_arcs_at(60, 3, 5, 25)
    text = line("by-hand", score(labelled, told(with_arcs_at(60, 3, 7, 45))))
    assert "!" in text and len(text) <= 100
    assert not any(figure.fails(score(labelled, told(labelled))) for figure in FIGURES)
