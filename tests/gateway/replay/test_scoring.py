"""Events against labels: known answers, chance, and nothing that flatters."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from gateway.replay.exact import rate, share
from gateway.replay.figures import MONTH_US, ScoreFigures, score_figures
from gateway.replay.labels import Kind, Label
from gateway.replay.occurrences import Occurrence
from gateway.replay.scoring import Rules, Score, Verdict, scored
from gateway.replay.watched import Span, cut, joined, length_us, shared
from tests.gateway.build import MINUTE_US
from tests.gateway.replay.told import at, occurrence

DAY = 24 * 60


def rules(
    days: float = 10, before: float = 30, after: float = 10, join: float = 30, **changes: object
) -> Rules:
    chosen: dict[str, object] = {
        "before_us": round(before * MINUTE_US),
        "after_us": round(after * MINUTE_US),
        "join_us": round(join * MINUTE_US),
        "confidence_ppm": 500_000,
        "kinds": (Kind.ARCING, Kind.FLASHOVER),
        "period": (at(0), at(days * DAY)),
    }
    return Rules(**{**chosen, **changes})  # type: ignore[arg-type]


def label(
    start: float, end: float, kind: Kind = Kind.ARCING, subject: str = "A1", sure: float = 1
) -> Label:
    return Label(at(start), at(end), subject, kind, round(sure * 1e6), "lk", "1")


def judged(
    alarms: Sequence[Occurrence],
    labels: Sequence[Label],
    given: Rules | None = None,
    insulators: Sequence[str] = ("A1", "A2"),
) -> Score:
    given = given or rules()
    watched: dict[str, tuple[Span, ...]] = dict.fromkeys(insulators, (given.period,))
    return scored(alarms, labels, watched, given)


def test_a_hand_made_case_gives_the_known_answer() -> None:
    labels = [
        label(1000, 1060),  # told 20 minutes early, and once more within
        label(2000, 2060),  # told 5 minutes late
        label(3000, 3060),  # missed: the alarm came 31 minutes early
        label(4000, 4001, Kind.FLASHOVER, ""),  # told 10 minutes early, by another insulator
        label(5000, 5060, Kind.BIRD),
    ]
    alarms = [
        occurrence(980, 1100),
        occurrence(1050, 1100, "near-margin"),
        occurrence(2005, 2100),
        occurrence(2969, 2990),  # false
        occurrence(3990, 4100, subject="A2"),
        occurrence(5010, 5100),  # false, during a bird
        occurrence(6000, 6100, "clock-unsynchronised", ""),  # tells nothing of this kind
    ]
    score = judged(alarms, labels)
    found = score_figures(score)
    assert (found.recall.count, found.recall.of) == (3, 4)
    assert (found.precision.count, found.precision.of) == (4, 6)
    assert [one.event.start_us for one in score.of(Verdict.MISSED)] == [at(3000)]
    assert [one.around for one in score.false_alarms] == [(), (Kind.BIRD,)]
    assert [one.lead_us for one in score.of(Verdict.TOLD)] == [
        20 * MINUTE_US,
        -5 * MINUTE_US,
        10 * MINUTE_US,
    ]
    assert found.lead.median_us == 10 * MINUTE_US
    assert found.lead.tenth_us == -2 * MINUTE_US  # a fifth of the way from -5 to 10
    assert found.by_kind[Kind.FLASHOVER].recall.count == 1
    month = MONTH_US / MINUTE_US / DAY
    assert found.insulator_months == pytest.approx(20 / month)
    assert found.operator_months == pytest.approx(10 / month)
    assert found.false_per_insulator_month.rate == pytest.approx(2 * month / 20)
    assert found.false_per_operator_month.rate == pytest.approx(2 * month / 10)


def random_detector(seed: int, alarms: int, days: float) -> ScoreFigures:
    random = np.random.default_rng(seed)
    labels = [label(minute, minute + 45) for minute in range(300, round(days * DAY), 500)]
    starts = np.sort(random.uniform(0, days * DAY, alarms))
    strewn = [occurrence(float(start), float(start) + 60) for start in starts]
    return score_figures(judged(strewn, labels, rules(days), ["A1"]))


@pytest.mark.parametrize("seed", range(5))
def test_a_random_detector_scores_near_chance(seed: int) -> None:
    found = random_detector(seed, alarms=400, days=365)
    assert found.recall.of > 1000 and found.precision.of == 400
    assert found.chance_recall is not None and found.chance_precision is not None
    assert found.chance_precision == pytest.approx(85 / 500, rel=0.02)
    # four standard deviations, and an event's neighbours are told by alarms of their own
    assert found.recall.share == pytest.approx(found.chance_recall, abs=0.03)
    assert found.precision.share == pytest.approx(found.chance_precision, abs=0.075)


def test_more_random_alarms_tell_more_events_and_are_no_more_often_right() -> None:
    few, many = random_detector(1, 200, 365), random_detector(1, 4000, 365)
    assert few.recall.share is not None and many.recall.share is not None
    assert many.recall.share > 3 * few.recall.share
    assert many.precision.share == pytest.approx(many.chance_precision, abs=0.025)


def test_an_alarm_that_never_ends_tells_one_event_at_most() -> None:
    labels = [label(1000 * n, 1000 * n + 60) for n in range(1, 10)]
    score = judged([occurrence(990)], labels)
    assert len(score.of(Verdict.TOLD)) == 1
    assert {one.standing for one in score.of(Verdict.MISSED)} == {occurrence(990)}


def test_labels_nearer_than_the_join_are_one_event() -> None:
    labels = [label(100, 110), label(125, 130), label(159, 170), label(200, 210)]
    score = judged([occurrence(95, 300)], labels)
    assert [(one.verdict, len(one.event.window(rules()))) for one in score.judged] == [
        (Verdict.TOLD, 2),
        (Verdict.MISSED, 2),
    ]
    assert score.judged[0].event.end_us == at(170)


def test_an_alarm_of_another_insulator_tells_nothing() -> None:
    score = judged([occurrence(100, 110, subject="A2")], [label(100, 110)])
    assert score.of(Verdict.MISSED) and score.false_alarms


@pytest.mark.parametrize("kind", [Kind.UNKNOWN, Kind.TEST])
def test_in_unknown_and_test_time_no_alarm_is_false(kind: Kind) -> None:
    score = judged([occurrence(100, 110)], [label(90, 120, kind, "")])
    assert (len(score.left_out), len(score.false_alarms)) == (1, 0)
    assert score_figures(score).precision.share is None


def test_what_nobody_is_sure_of_counts_neither_way() -> None:
    labels = [label(100, 110, sure=0.4)]
    for alarms in ([occurrence(100, 110)], []):
        score = judged(alarms, labels)
        assert [one.why for one in score.of(Verdict.NOT_JUDGED)] == ["not sure enough"]
        assert not score.false_alarms and score_figures(score).recall.of == 0


def test_an_event_outside_the_period_or_while_nobody_watched_is_not_missed() -> None:
    day = rules(days=1)
    watched = {"A1": ((at(600), at(DAY)),)}
    labels = [label(100, 110), label(700, 710), label(2 * DAY, 2 * DAY + 5)]
    score = scored([], labels, watched, day)
    assert [(one.verdict, one.why) for one in score.judged] == [
        (Verdict.NOT_JUDGED, "not watched"),
        (Verdict.MISSED, ""),
        (Verdict.NOT_JUDGED, "begins outside the period"),
    ]


def test_insulators_that_are_not_scored_give_neither_events_nor_alarms() -> None:
    labels = [label(100, 110, subject="A2")]
    score = judged([occurrence(500, 510, subject="A2")], labels, insulators=["A1"])
    assert [one.why for one in score.judged] == ["its insulator is not scored"]
    assert not score.false_alarms


def test_every_alarm_of_the_kinds_is_true_false_or_left_out() -> None:
    random = np.random.default_rng(4)
    alarms = [
        occurrence(float(m), float(m) + 5, subject=f"A{random.integers(1, 3)}")
        for m in random.uniform(0, 10 * DAY, 300)
    ]
    labels = [label(m, m + 60) for m in range(0, 10 * DAY, 700)] + [
        label(5000, 6000, Kind.UNKNOWN, "A2")
    ]
    score = judged(alarms, labels)
    parts = (
        *score.true_alarms,
        *(one.alarm for one in score.false_alarms),
        *score.left_out,
    )
    assert all((score.true_alarms, score.false_alarms, score.left_out))
    assert sorted(parts, key=repr) == sorted(alarms, key=repr)


def test_without_events_and_alarms_nothing_is_claimed() -> None:
    found = score_figures(judged([], []))
    assert found.recall.share is found.precision.share is found.chance_recall is None
    assert found.lead.median_us is None and found.chance_precision is None
    assert found.false_per_insulator_month.rate == 0
    assert found.false_per_insulator_month.high > 0  # type: ignore[operator]


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [
        (0, 10, 0, 1 - 0.025**0.1),
        (10, 10, 0.025**0.1, 1),
        (3, 10, 0.06674, 0.65245),  # tables of Clopper and Pearson, as recalled
        (1, 1, 0.025, 1),
    ],
)
def test_intervals_of_shares_are_the_exact_ones(
    count: int, of: int, low: float, high: float
) -> None:
    found = share(count, of)
    assert (found.low, found.high) == (pytest.approx(low, abs=5e-6), pytest.approx(high, abs=5e-6))


def test_intervals_of_shares_agree_with_an_independent_way() -> None:
    from scipy.stats import binomtest

    for count, of in ((0, 3), (2, 7), (19, 20), (40, 200)):
        other = binomtest(count, of).proportion_ci(method="exact")
        found = share(count, of)
        assert (found.low, found.high) == (pytest.approx(other.low), pytest.approx(other.high))


def test_intervals_of_rates_are_the_exact_ones() -> None:
    from scipy.stats import poisson

    none = rate(0, 2.0)
    assert (none.low, none.high) == (0, pytest.approx(-np.log(0.025) / 2))
    found = rate(5, 1.0)
    assert poisson.sf(4, found.low) == pytest.approx(0.025)
    assert poisson.cdf(5, found.high) == pytest.approx(0.025)
    assert rate(5, 0).rate is None


def test_stretches_of_time_are_joined_cut_shared_and_measured() -> None:
    assert joined([(5, 7), (0, 2), (1, 3)], 0) == ((0, 3), (5, 7))
    assert joined([(0, 2), (3, 5)], 1) == ((0, 5),)
    assert cut([(0, 4), (6, 9)], (2, 7)) == ((2, 4), (6, 7))
    assert shared([(0, 4), (6, 9)], [(3, 7), (8, 20)]) == ((3, 4), (6, 7), (8, 9))
    assert length_us([(0, 4), (6, 9)]) == 7
