"""Figures of a score: shares with exact intervals, lead times, rates of false alarms, chance."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from gateway.replay.exact import Rate, Share, rate, share
from gateway.replay.labels import Kind
from gateway.replay.scoring import Score, Verdict, could_tell
from gateway.replay.watched import Span, joined, length_us, shared

MONTH_US = 2_629_800_000_000
"""A twelfth of 365.25 days."""


@dataclass(frozen=True, slots=True)
class LeadTimes:
    """How long before its event the first alarm came; negative: late. All None without any.

    tenth_us: 10th percentile, so nine in ten had more.
    """

    count: int
    median_us: int | None
    tenth_us: int | None
    least_us: int | None
    most_us: int | None


@dataclass(frozen=True, slots=True)
class KindFigures:
    """Of one kind of event."""

    recall: Share
    lead: LeadTimes


@dataclass(frozen=True, slots=True)
class ScoreFigures:
    """The figures that an analyst compares.

    chance_recall, chance_precision: what as many alarms, strewn over the watched time of the same
    insulators, would reach on average; a detector that knows nothing scores near them. None where
    nothing was judged. insulator_months, operator_months: time that was watched.
    """

    recall: Share
    precision: Share
    chance_recall: float | None
    chance_precision: float | None
    by_kind: Mapping[Kind, KindFigures]
    lead: LeadTimes
    false_per_insulator_month: Rate
    false_per_operator_month: Rate
    insulator_months: float
    operator_months: float


def score_figures(score: Score) -> ScoreFigures:
    """All figures; counts in them add up to what the score lists."""
    false = len(score.false_alarms)
    insulator_months = sum(map(length_us, score.watched.values())) / MONTH_US
    operator_months = length_us(_site_watched(score)) / MONTH_US
    strewn = _Strewn(score)
    return ScoreFigures(
        recall=_recall(score, score.rules.kinds),
        precision=share(len(score.true_alarms), len(score.true_alarms) + false),
        chance_recall=strewn.recall(),
        chance_precision=strewn.precision(),
        by_kind={
            kind: KindFigures(_recall(score, (kind,)), _lead(score, (kind,)))
            for kind in score.rules.kinds
        },
        lead=_lead(score, score.rules.kinds),
        false_per_insulator_month=rate(false, insulator_months),
        false_per_operator_month=rate(false, operator_months),
        insulator_months=insulator_months,
        operator_months=operator_months,
    )


def _recall(score: Score, kinds: Sequence[Kind]) -> Share:
    told = sum(one.event.kind in kinds for one in score.of(Verdict.TOLD))
    missed = sum(one.event.kind in kinds for one in score.of(Verdict.MISSED))
    return share(told, told + missed)


def _lead(score: Score, kinds: Sequence[Kind]) -> LeadTimes:
    told = [one for one in score.of(Verdict.TOLD) if one.event.kind in kinds]
    leads = [one.lead_us for one in told if one.lead_us is not None]
    if not leads:
        return LeadTimes(0, None, None, None, None)
    median, tenth = np.percentile(np.array(leads, dtype=np.float64), (50, 10))
    return LeadTimes(len(leads), round(median), round(tenth), min(leads), max(leads))


class _Strewn:
    """The judged alarms, by alarm and subject alone, and the time over which they may be strewn."""

    def __init__(self, score: Score) -> None:
        alarms = (*score.true_alarms, *(one.alarm for one in score.false_alarms))
        self.counts = Counter(one.key for one in alarms)
        self.watched = {"": _site_watched(score), **score.watched}
        self.windows = [
            (one.event, one.event.window(score.rules))
            for one in score.judged
            if one.verdict is not Verdict.NOT_JUDGED
        ]

    def within(self, subject: str, spans: Sequence[Span]) -> float:
        """Share of a subject's watched time that lies in the spans."""
        watched = self.watched[subject]
        whole_us = length_us(watched)
        return length_us(shared(watched, joined(spans, 0))) / whole_us if whole_us else 0.0

    def recall(self) -> float | None:
        if not self.windows:
            return None
        missed = [
            math.prod(
                (1 - self.within(key[1], [window])) ** count
                for key, count in self.counts.items()
                if could_tell(key, event)
            )
            for event, window in self.windows
        ]
        return 1 - sum(missed) / len(missed)

    def precision(self) -> float | None:
        if not self.counts:
            return None
        true = sum(
            count
            * self.within(key[1], [span for one, span in self.windows if could_tell(key, one)])
            for key, count in self.counts.items()
        )
        return true / sum(self.counts.values())


def _site_watched(score: Score) -> tuple[Span, ...]:
    """When any insulator of the site was watched."""
    return joined(span for spans in score.watched.values() for span in spans)
