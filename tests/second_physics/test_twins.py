"""Careless twins fail on the second generator too, at every limit."""

import pytest

from tests.families.labelled import Labelled
from tests.families.outcome import Judge
from tests.families.scoring import Score, score
from tests.families.table import head, pooled
from tests.families.twins import AMPLITUDES_MA, RATIOS, amplitude, ratio
from tests.second_physics.families import BY_NAME, recording_of
from tests.second_physics.table import main

TELLING = (
    "wet-sinusoid",
    "third-harmonic",
    "surge-arrester",
    "corona-on-film",
    "faint",
    "small-on-large",
    "glow",
    "one-polarity",
)


@pytest.fixture(scope="module")
def telling() -> list[Labelled]:
    return [recording_of(BY_NAME[name], seed, 3.0) for name in TELLING for seed in (0, 1)]


def falls_short(recordings: list[Labelled], judge: Judge) -> bool:
    """Far from the limits, not by a hair."""
    found: Score = pooled(score(one, judge(one.recording)) for one in recordings)
    precision, recall = found.halfcycles.precision or 0.0, found.halfcycles.recall or 0.0
    return min(precision, recall) < 0.9


@pytest.mark.parametrize("limit_ma", AMPLITUDES_MA)
def test_no_limit_on_amplitude_passes(telling: list[Labelled], limit_ma: float) -> None:
    assert falls_short(telling, lambda recording: amplitude(recording, limit_ma))


@pytest.mark.parametrize("limit", RATIOS)
def test_no_limit_on_the_third_harmonic_passes(telling: list[Labelled], limit: float) -> None:
    assert falls_short(telling, lambda recording: ratio(recording, limit))


def test_the_table_names_what_fails_and_exits_with_a_difference(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["--seeds", "1", "--seconds", "3", "--only", "small-on-large"]) == 10
    printed = capsys.readouterr().out
    assert "small-on-large: half" in printed and head() in printed
    assert all(len(text) <= 100 for text in printed.splitlines())
