"""The operators' one-touch answers as labels of their own kind.

They are kept apart from the experts' labels: an answer is only ever given where an alarm called, so
it can say that an alarm was right or wrong, and never that one was missed.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from edge.records import Condition
from gateway.alarms.actions import Answer
from gateway.alarms.journal import Entry, Point, What
from gateway.replay.occurrences import Occurrence


@dataclass(frozen=True, slots=True, order=True)
class AnswerLabel:
    """What was answered about one occurrence of an alarm, which stood over [start_us, end_us)."""

    start_us: int
    end_us: int
    subject: str
    alarm: str
    answer: Answer
    who: str


@dataclass(frozen=True, slots=True)
class AnswerCount:
    """Of one answer: given so often, and of those a run's alarm calls again."""

    answer: Answer
    given: int
    calls_again: int


def answer_labels(journal: Iterable[Entry]) -> tuple[AnswerLabel, ...]:
    """The last answer to each occurrence, in order of time. journal: one site's, from its start.

    An occurrence that still stood ends with the answer.
    """
    began_us: dict[Point, int] = {}
    standing: set[Point] = set()
    ended_us: dict[Point, int] = {}
    found: dict[tuple[Point, int], AnswerLabel] = {}
    for entry in journal:
        change, point = entry.change, entry.point
        if change is not None and change.condition is Condition.IN and point not in standing:
            standing.add(point)
            began_us[point] = change.at_us
            ended_us.pop(point, None)
        elif change is not None and change.condition is Condition.OUT:
            standing.discard(point)
            ended_us[point] = change.at_us
        elif entry.what is What.ANSWERED and point in began_us:
            start_us = began_us[point]
            end_us = max(ended_us.get(point, entry.at_us), start_us + 1)
            found[point, start_us] = AnswerLabel(
                start_us, end_us, point.subject, point.alarm, Answer(entry.label), entry.who
            )
    return tuple(sorted(found.values()))


def answer_counts(
    answers: Iterable[AnswerLabel],
    alarms: Collection[Occurrence],
    before_us: int,
    after_us: int,
) -> tuple[AnswerCount, ...]:
    """How often a run's alarms call again where people had answered; every answer is listed.

    The same alarm of the same subject that begins from `before_us` before to `after_us` after.
    """
    given = list(answers)
    again = [
        one
        for one in given
        if any(
            alarm.key == (one.alarm, one.subject)
            and one.start_us - before_us <= alarm.start_us < one.end_us + after_us
            for alarm in alarms
        )
    ]
    return tuple(
        AnswerCount(
            answer,
            sum(one.answer is answer for one in given),
            sum(one.answer is answer for one in again),
        )
        for answer in Answer
    )
