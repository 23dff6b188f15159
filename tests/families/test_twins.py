"""A detector by amplitude or by one ratio fails the suite at every limit; the truth passes."""

import pytest

from tests.families.families import BY_NAME, FAMILIES, Family, recording_of
from tests.families.labelled import Labelled, Recording
from tests.families.oracle import told
from tests.families.outcome import Judge, Outcome
from tests.families.scoring import Score, score
from tests.families.table import failures, head, judged, line, main, pooled
from tests.families.twins import AMPLITUDES_MA, RATIOS, amplitude, ratio

TELLING = (
    "wet-sinusoid",
    "third-harmonic",
    "surge-arrester",
    "corona-spikes",
    "faint",
    "small-on-large",
    "glow",
    "one-polarity",
)


@pytest.fixture(scope="module")
def telling() -> list[Labelled]:
    return [recording_of(BY_NAME[name], seed, 5.0) for name in TELLING for seed in (0, 1)]


def total(recordings: list[Labelled], judge: Judge) -> Score:
    return pooled(score(labelled, judge(labelled.recording)) for labelled in recordings)


def falls_short(found: Score) -> bool:
    """Far from the limits, not by a hair."""
    precision, recall = found.halfcycles.precision or 0.0, found.halfcycles.recall or 0.0
    return min(precision, recall) < 0.9


@pytest.mark.parametrize("limit_ma", AMPLITUDES_MA)
def test_no_limit_on_amplitude_passes(telling: list[Labelled], limit_ma: float) -> None:
    assert falls_short(total(telling, lambda recording: amplitude(recording, limit_ma)))


@pytest.mark.parametrize("limit", RATIOS)
def test_no_limit_on_the_third_harmonic_passes(telling: list[Labelled], limit: float) -> None:
    assert falls_short(total(telling, lambda recording: ratio(recording, limit)))


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.name)
def test_the_truth_passes_every_limit_in_every_family(family: Family) -> None:
    scores = {}
    for seed in (0, 1):
        labelled = recording_of(family, seed, 6.0)
        scores[f"{labelled.family} {seed}"] = score(labelled, told(labelled))
    assert failures(scores) == []


def test_the_table_names_what_fails_and_exits_with_a_difference(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["--seeds", "1", "--seconds", "3", "--only", "small-on-large"]) == 10
    printed = capsys.readouterr().out
    assert "small-on-large: half P" in printed and head() in printed
    assert all(len(text) <= 100 for text in printed.splitlines())


def test_a_judge_sees_each_recording_of_each_seed_once() -> None:
    seen: list[Recording] = []

    def judge(recording: Recording) -> Outcome:
        seen.append(recording)
        return amplitude(recording, 5.0)

    scores = judged(judge, [BY_NAME["faint"]], range(3), 1.0)
    assert len(seen) == 3 and scores["faint"].recordings == 3
    assert len(line("faint", scores["faint"])) <= 100
