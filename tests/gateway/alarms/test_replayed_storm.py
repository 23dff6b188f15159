"""A storm replayed from rows, through `decide` and the alarm list: twelve insulators, one call."""

from __future__ import annotations

from dataclasses import replace

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import WatchedInsulator, bind
from edge.decide.evaluation import decision_order, step
from edge.decide.state import initial
from edge.quantities import State
from edge.records import Condition, ConditionChange, IntervalRow
from gateway.alarms.alarm_list import Heard
from gateway.alarms.journal import What
from gateway.alarms.memory import SITE_POINT
from gateway.alarms.sight import Sight
from gateway.alarms.states import Shown
from tests.gateway.alarms.build import Story, announced, at, most_announced, sounds
from tests.gateway.build import EPOCH, MINUTE_US, UNIT, interval

TWELVE = [f"{phase}{place}" for phase in "RST" for place in range(1, 5)]
STORM_MIN, NIGHT_MIN = 60, 150


def minute_row(minute: int, insulator: str) -> IntervalRow:
    """One after another arcs from its own minute on, all within ten; after an hour it rains."""
    begins = 5 + TWELVE.index(insulator) * 10 // len(TWELVE)
    arcs = begins <= minute < STORM_MIN
    return interval(
        minute,
        insulator,
        state=State.ARCING_SPARSE if arcs else State.WET,
        arcing_halfcycles=300 if arcs else 0,
        arcing_peak_ua=30_000 + 1_000 * TWELVE.index(insulator) if arcs else 0,
        peak_ua=45_000 if arcs else 1_000,
        arc_pulses=(300, 40, 0, 0, 0) if arcs else (0,) * 5,
        pulses=(300, 40, 0, 0, 0) if arcs else (0,) * 5,
        first_arc_us=0 if arcs else None,
        last_arc_us=MINUTE_US - 10_000 if arcs else None,
        flags=(),
        calibration="",
    )


def decided_storm() -> list[ConditionChange]:
    """What the edge says of the storm, in order."""
    plan = bind(DEFAULT_ALARMS, [WatchedInsulator(one) for one in TWELVE])
    rows = [minute_row(minute, one) for minute in range(NIGHT_MIN) for one in TWELVE]
    state, changes = initial(plan), []
    for row in sorted(rows, key=decision_order):
        state, said = step(state, row, plan)
        changes += said
    return changes


def replayed() -> Story:
    """Each change is heard when it was decided; the list looks at the time every twenty seconds."""
    story, changes = Story(), decided_storm()
    for third in range(3 * NIGHT_MIN):
        minute = third / 3
        while changes and changes[0].at_us <= at(minute):
            change = changes.pop(0)
            story.seq += 1
            story.give(Heard(at(minute), UNIT, EPOCH, story.seq, change))
        story.tick(minute)
    assert not changes
    return story


def test_a_replayed_storm_of_twelve_is_one_sound_and_three_calls_in_ten_minutes_at_most() -> None:
    story = replayed()
    assert sounds(one for one in story.journal if one.at_us < at(60)) == 1
    assert most_announced(story.journal) <= 3
    kept = {one: story.of(subject=one) for one in TWELVE}
    assert {one.occurrence > 0 for one in kept.values()} == {True}
    heard = [
        one
        for one in story.journal
        if one.what is What.HEARD and one.change and one.change.alarm == "arcing"
    ]
    begun = [one.point.subject for one in heard if one.change.condition is Condition.IN]
    assert sorted(begun) == TWELVE, "every single state is in the journal, each once"
    suppressed = {one.point.subject for one in story.journal if one.what is What.SUPPRESSED}
    assert suppressed == {*TWELVE}
    assert max(one.counts["arcing"] for one in story.journal if one.what is What.COUNTED) == 12


def test_the_replayed_storm_ends_with_the_rain_and_a_digest_names_all_twelve() -> None:
    story = replayed()
    (digest,) = [one for one in story.journal if one.what is What.DIGEST]
    assert sorted(digest.named) == TWELVE
    assert {kept.shown for kept in story.held.kept.values()} <= {Shown.NORMAL, Shown.CLEARED}
    assert not story.held.of(SITE_POINT).core.is_in


def test_sites_of_one_position_share_its_budget_and_a_worsening_one_breaks_it() -> None:
    stories = [Story() for _ in range(5)]
    arcs = decided_storm()[0]

    def tick(minute: float, of: Story) -> None:
        others = tuple(
            call.at_us
            for one in stories
            if one is not of
            for call in one.held.recent
            if not call.worsening
        )
        of.give(Sight(at(minute), 12, 12, {}, of.units, others))

    for minute in range(40):
        for story in stories:
            if minute == 1:
                story.seq += 1
                change = replace(arcs, at_us=at(minute))
                story.give(Heard(at(minute), UNIT, EPOCH, story.seq, change))
            tick(minute, story)
    journal = sorted((one for story in stories for one in story.journal), key=lambda one: one.at_us)
    assert most_announced(journal) <= 3
    assert len(announced(journal)) == 5, "all are told in the end"
    worse = replace(arcs, alarm="near-margin", priority=1, at_us=at(39))
    stories[4].seq += 1
    stories[4].give(Heard(at(39), UNIT, EPOCH, stories[4].seq, worse))
    before = len(announced(stories[4].journal))
    tick(39, stories[4])
    assert len(announced(stories[4].journal)) == before + 1
