"""One storm is one alarm; a worsening one is always told; small sites have a rule of their own."""

from __future__ import annotations

import pytest

from gateway.alarms.alarm_list import calling_priority, is_sounding
from gateway.alarms.journal import Entry, What
from gateway.alarms.memory import SITE_POINT
from gateway.alarms.roll_up import count_on
from gateway.alarms.states import Shown
from tests.gateway.alarms.build import (
    IN,
    OUT,
    UNKNOWN,
    Story,
    announced,
    at,
    most_announced,
    point,
    sounds,
)

TWELVE = [f"{phase}{place}" for phase in "RST" for place in range(1, 5)]


def storm(story: Story, start: float = 0, lasts: float = 10) -> list[Entry]:
    """Twelve insulators cross one after another; a tick every 20 s until two hours have passed."""
    crossing = {start + place * lasts / len(TWELVE): one for place, one in enumerate(TWELVE)}
    entries: list[Entry] = []
    for third in range(3 * 60 + 1):
        minute = start + third / 3
        for moment in [moment for moment in crossing if moment <= minute]:
            entries += story.hear(moment, subject=crossing.pop(moment))
        entries += story.tick(minute)
    return entries


def end(story: Story, start: float, every: float = 2) -> list[Entry]:
    entries: list[Entry] = []
    for place, one in enumerate(TWELVE):
        entries += story.hear(start + every * place, OUT, subject=one)
    return entries


@pytest.mark.parametrize("lasts", [0.1, 2, 5, 10, 20, 40])
def test_a_storm_of_twelve_insulators_is_one_sound_until_somebody_answers(lasts: float) -> None:
    story = Story()
    entries = storm(story, lasts=lasts)
    first_hour = [one for one in entries if one.at_us < at(60)]
    assert sounds(first_hour) == 1
    assert most_announced(entries) <= 3
    assert {story.of(subject=one).shown for one in TWELVE} == {Shown.SUPPRESSED}
    heard = [one for one in entries if one.what is What.HEARD and one.point.subject]
    assert sorted(one.point.subject for one in heard) == TWELVE
    assert story.held.of(SITE_POINT).priority == 1
    assert story.held.roll.count == 12


def test_the_site_calls_at_three_at_its_rise_and_at_a_doubling_and_else_only_counts() -> None:
    story = Story()
    calls = [one for one in announced(storm(story)) if one.point == SITE_POINT]
    assert [one.counts["arcing"] for one in calls][:2] == [3, 6]
    assert [one.priority for one in calls][:2] == [2, 1]
    counted = [one.counts["arcing"] for one in story.journal if one.what is What.COUNTED]
    assert counted == list(range(3, 13))


def test_an_acknowledged_site_sounds_again_when_the_count_doubles() -> None:
    story = Story(installed=100)
    for one in TWELVE[:3]:
        story.hear(0, subject=one)
    story.acknowledge(1, SITE_POINT)
    assert not announced(story.hear(20, subject=TWELVE[3]))
    assert not announced(story.hear(21, subject=TWELVE[4]))
    (call,) = announced(story.hear(22, subject=TWELVE[5]))
    assert (call.point, call.sound, call.counts["arcing"]) == (SITE_POINT, True, 6)


def test_a_doubling_that_waits_for_the_budget_is_noted_once_and_an_acknowledgement_holds() -> None:
    """Whoever acknowledges twelve of twelve has seen twelve, whatever was announced before."""
    story = Story()
    for place, one in enumerate(TWELVE):
        story.hear(place * 0.8, subject=one)
    assert story.held.of(SITE_POINT).pending and story.held.roll.told < 12
    for third in range(1, 4):
        story.tick(9 + third / 100)
    renewed = [one for one in story.journal if one.what is What.RENEWED and "from 6" in one.reason]
    assert len(renewed) == 1
    story.acknowledge(9.1, SITE_POINT)
    for minute in range(10, 60):
        assert not announced(story.tick(minute))
        assert story.held.of(SITE_POINT).shown is Shown.ACKNOWLEDGED


def test_what_nobody_acknowledges_for_an_hour_is_noted_once_while_the_budget_holds_it() -> None:
    story = Story(installed=100)
    for one in TWELVE[:3]:
        story.hear(0, subject=one)
    for place in range(3):
        story.hear(55 + place, alarm="over-range", subject=f"X{place}")
    for third in range(180, 200):
        story.tick(third / 3)
    hour = [one for one in story.journal if one.what is What.RENEWED and "hour" in one.reason]
    assert len(hour) == 1


def test_nobody_acknowledges_for_an_hour_and_it_sounds_again() -> None:
    story = Story(installed=100)
    for one in TWELVE[:3]:
        story.hear(0, subject=one)
    assert not announced(story.tick(59.9))
    (call,) = announced(story.tick(60))
    assert (call.point, call.sound) == (SITE_POINT, True)
    story.acknowledge(61, SITE_POINT)
    assert not announced(story.tick(300))


@pytest.mark.parametrize(
    ("alarm", "priority"), [("near-margin", 1), ("flashover-suspected", 1), ("over-range", 2)]
)
def test_a_worsening_insulator_breaks_through_suppression_and_every_budget(
    alarm: str, priority: int
) -> None:
    story = Story()
    storm(story)
    story.acknowledge(120.5, SITE_POINT)
    for place, one in enumerate(TWELVE):
        (call,) = announced(
            story.hear(121 + place / 10, alarm=alarm, subject=one, priority=priority)
        )
        assert (call.point, call.worsening, call.sound) == (point(alarm, one), True, True)
        assert story.of(alarm, one).shown is Shown.NEW


def test_over_range_without_arcing_is_held_to_the_budget_and_told_later() -> None:
    story = Story()
    for one in TWELVE[:4]:
        story.hear(0, alarm="over-range", subject=one)
    assert len(announced(story.journal)) == 2
    assert {story.of("over-range", one).shown for one in TWELVE[:4]} == {Shown.NEW}
    assert not announced(story.tick(9.9))
    assert len(announced(story.tick(10))) == 2


def test_the_last_place_of_the_budget_is_kept_for_priority_1() -> None:
    story = Story()
    for one in TWELVE[:3]:
        story.hear(0, alarm="over-range", subject=one)
    (call,) = announced(story.hear(1, alarm="over-range", subject="X", priority=1))
    assert call.priority == 1


def test_the_worst_three_are_named_worsening_first_then_by_current() -> None:
    story = Story()
    story.peaks_ua = {"R1": 10_000, "R2": 90_000, "R3": 50_000, "R4": 60_000}
    for one in ("R1", "R2", "R3"):
        story.hear(0, subject=one)
    assert story.held.roll.named == ("R2", "R3", "R1")
    story.hear(1, alarm="near-margin", subject="R1", priority=1)
    story.hear(2, subject="R4")
    assert story.held.roll.named == ("R1", "R2", "R4")


def test_when_the_storm_is_over_the_site_clears_with_a_digest_and_all_is_quiet() -> None:
    story = Story()
    storm(story)
    story.acknowledge(125, SITE_POINT)
    entries = end(story, 130)
    assert story.held.of(SITE_POINT).shown is Shown.ACKNOWLEDGED
    entries += story.tick(150) + story.tick(162)
    (digest,) = [one for one in entries if one.what is What.DIGEST]
    assert sorted(digest.named) == TWELVE
    assert digest.named[0] == TWELVE[-1]
    assert digest.counts["R1"] == 130 * 60
    assert (digest.from_us, digest.until_us) == (at(0), at(162))
    assert not announced(entries)
    assert {kept.shown for kept in story.held.kept.values()} == {Shown.NORMAL}


def test_one_that_still_arcs_when_the_storm_is_over_is_told_with_its_true_start() -> None:
    story = Story()
    storm(story)
    story.acknowledge(125, SITE_POINT)
    for one in TWELVE[1:]:
        story.hear(130, OUT, subject=one)
    entries = story.tick(131) + story.tick(142)
    assert [one.point for one in announced(entries)] == [point(subject="R1")]
    assert story.of(subject="R1").since_us == at(0)


def test_a_pause_shorter_than_the_calm_ends_no_storm() -> None:
    story = Story()
    storm(story)
    end(story, 130, every=0)
    story.tick(139)
    story.hear(139.5, subject="R1")
    story.hear(139.5, subject="R2")
    assert not [one for one in story.tick(160) if one.what is What.DIGEST]
    assert story.held.of(SITE_POINT).core.is_in


def test_lost_data_keeps_its_insulators_counted_and_says_so() -> None:
    story = Story()
    storm(story)
    for one in TWELVE:
        story.hear(130, UNKNOWN, subject=one, since_us=at(125))
    story.tick(400)
    assert story.held.of(SITE_POINT).core.is_in
    assert (story.held.roll.counts["arcing"], story.held.roll.counts["data-lost"]) == (12, 12)


def test_a_priority_that_has_risen_does_not_fall_and_rise_again() -> None:
    story = Story()
    for one in TWELVE[:6]:
        story.hear(0, subject=one)
    story.acknowledge(1, SITE_POINT)
    story.hear(20, OUT, subject="R1")
    assert story.held.of(SITE_POINT).priority == 1
    assert not announced(story.hear(40, subject="R1"))


@pytest.mark.parametrize(("installed", "on"), [(1, 2), (2, 2), (3, 3), (5, 3), (12, 3), (100, 3)])
def test_small_sites_count_by_a_rule_of_their_own(installed: int, on: int) -> None:
    assert count_on(installed) == on


def test_a_single_insulator_always_speaks_for_itself() -> None:
    story = Story(installed=1)
    (call,) = announced(story.hear(0))
    assert call.point == point()
    assert story.held.of(SITE_POINT).occurrence == 0


def test_of_two_insulators_the_second_makes_it_the_sites_alarm_of_priority_1() -> None:
    story = Story(installed=2)
    assert [one.point for one in announced(story.hear(0, subject="A1"))] == [point()]
    (call,) = announced(story.hear(1, subject="A2"))
    assert (call.point, call.priority, call.named) == (SITE_POINT, 1, ("A1", "A2"))


def test_a_second_insulator_soon_after_the_first_waits_whether_the_site_will_speak() -> None:
    story = Story()
    story.hear(0, subject="R1")
    assert not announced(story.hear(1, subject="R2"))
    assert story.of(subject="R2").shown is Shown.NEW
    assert not announced(story.tick(5.9))
    assert [one.point for one in announced(story.tick(6))] == [point(subject="R2")]


def test_an_insulator_out_of_service_or_told_late_is_not_counted() -> None:
    story = Story()
    story.units = {}
    story.hear(0, subject="R1")
    story.hear(0, subject="R2")
    story.hear(-60, subject="R3", came=0)
    assert story.held.of(SITE_POINT).occurrence == 0
    assert story.of(subject="R3").core.is_in


def test_the_tone_follows_the_highest_priority_that_waits() -> None:
    story = Story()
    assert not is_sounding(story.held)
    storm(story)
    assert calling_priority(story.held) == 1
    story.acknowledge(125, SITE_POINT)
    assert not is_sounding(story.held)
    assert story.hear(126, IN, subject="R1") is not None


def test_no_budget_outlives_a_clock_that_was_stepped_back() -> None:
    story = Story()
    for one in TWELVE[:3]:
        story.hear(600, alarm="over-range", subject=one)
    assert len(announced(story.journal)) == 2
    assert len(announced(story.tick(0))) == 1
