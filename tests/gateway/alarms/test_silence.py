"""Silence is the gateway's own judgement: one alarm for one cause, none for a planned outage."""

from __future__ import annotations

from dataclasses import replace

from gateway.alarms.actions import PlanOutage
from gateway.alarms.alarm_list import Judged
from gateway.alarms.journal import Entry, Point
from gateway.alarms.messages import MONITOR_SILENT, SITE_SILENT
from gateway.alarms.silence import Listening, UnitFacts, judge_silence, listen, sights
from gateway.alarms.states import Shown
from tests.gateway.alarms.build import Story, announced, at

M1, M2, M3 = "north-head.m1", "north-head.m2", "north-head.m3"


class Ears:
    """Listens minute by minute; units report every minute unless told to be silent."""

    def __init__(self, *units: str) -> None:
        self.story = Story()
        self.facts = {unit: UnitFacts(at(0), at(0)) for unit in units}
        self.listening = Listening()
        self.quiet: set[str] = set()
        self.deaf = False

    def live(self, first: int, last: int) -> list[Entry]:
        entries: list[Entry] = []
        for minute in range(first, last + 1):
            for unit in set(self.facts) - self.quiet:
                self.facts[unit] = replace(
                    self.facts[unit], heard_us=at(minute), newest_us=at(minute)
                )
            self.listening = listen(self.listening, self.facts, at(minute), self.deaf)
            for unit, change in judge_silence(
                self.story.held, self.listening, self.facts, at(minute)
            ):
                entries += self.story.give(Judged(at(minute), unit, change))
            self.story.units = sights(self.listening, self.facts)
            entries += self.story.tick(minute)
        return entries

    def shown(self, unit: str, alarm: str = MONITOR_SILENT) -> Shown:
        return self.story.held.of(Point(unit, alarm, "")).shown


def test_a_monitor_unheard_for_a_quarter_of_an_hour_is_one_alarm_and_comes_back() -> None:
    ears = Ears(M1, M2)
    ears.live(0, 10)
    ears.quiet = {M1}
    assert not announced(ears.live(11, 24))
    (call,) = announced(ears.live(25, 26))
    assert (call.point, call.priority) == (Point(M1, MONITOR_SILENT, ""), 3)
    ears.quiet = set()
    ears.live(27, 28)
    assert ears.shown(M1) is Shown.NEW
    ears.live(29, 30)
    assert ears.shown(M1) is Shown.CLEARED


def test_all_monitors_of_a_site_unheard_are_one_alarm_of_the_site() -> None:
    ears = Ears(M1, M2, M3)
    ears.live(0, 10)
    ears.quiet = {M1}
    ears.live(11, 12)
    ears.quiet = {M1, M2, M3}
    (call,) = announced(ears.live(13, 60))
    assert call.point == Point("", SITE_SILENT, "")
    ears.quiet = set()
    assert not announced(ears.live(61, 70))
    assert ears.shown("", SITE_SILENT) is Shown.CLEARED
    assert {ears.shown(unit) for unit in (M1, M2, M3)} == {Shown.NORMAL}


def test_the_sites_alarm_takes_in_a_monitor_that_was_told_before() -> None:
    ears = Ears(M1, M2)
    ears.quiet = {M1}
    ears.live(0, 30)
    ears.quiet = {M1, M2}
    ears.live(31, 50)
    assert ears.shown(M1) is Shown.SUPPRESSED
    assert ears.shown("", SITE_SILENT) is Shown.NEW
    ears.quiet = {M1}
    ears.live(51, 60)
    assert ears.shown("", SITE_SILENT) is Shown.CLEARED
    assert ears.shown(M1) is Shown.NEW


def test_the_only_monitor_of_a_site_is_named_itself() -> None:
    ears = Ears(M1)
    ears.quiet = {M1}
    (call,) = announced(ears.live(0, 40))
    assert call.point == Point(M1, MONITOR_SILENT, "")


def test_a_gateway_that_cannot_hear_blames_no_monitor_and_counts_anew_afterwards() -> None:
    ears = Ears(M1, M2)
    ears.live(0, 5)
    ears.quiet, ears.deaf = {M1, M2}, True
    assert ears.live(6, 60) == []
    ears.deaf = False
    assert not announced(ears.live(61, 75))
    assert announced(ears.live(76, 76))


def test_a_restart_after_long_gives_every_monitor_its_quarter_of_an_hour() -> None:
    ears = Ears(M1, M2)
    ears.quiet = {M1, M2}
    assert not announced(ears.live(500, 514))
    assert announced(ears.live(515, 515))


def test_a_planned_outage_raises_no_alarm_and_what_is_silent_after_it_does() -> None:
    ears = Ears(M1, M2)
    ears.live(0, 5)
    ears.story.give(
        PlanOutage(
            at_us=at(5), by="mk", unit=M1, from_us=at(10), until_us=at(100), reason="line works"
        )
    )
    ears.quiet = {M1}
    assert not announced(ears.live(11, 99))
    assert ears.shown(M1) is Shown.SUPPRESSED
    (call,) = announced(ears.live(100, 101))
    assert call.point == Point(M1, MONITOR_SILENT, "")


def test_an_outage_of_the_whole_site_covers_its_monitors_and_their_sensors() -> None:
    ears = Ears(M1, M2)
    ears.story.give(
        PlanOutage(
            at_us=at(0), by="mk", unit="", from_us=at(0), until_us=at(100), reason="line works"
        )
    )
    ears.quiet = {M1, M2}
    assert not announced(ears.live(1, 99))
    assert not announced(ears.story.hear(99, alarm="sensor-failed", priority=3))
    assert announced(ears.story.hear(99, alarm="flashover-suspected", priority=1, latched=True))


def test_a_line_out_of_service_by_its_own_status_may_be_silent() -> None:
    ears = Ears(M1, M2)
    ears.live(0, 3)
    ears.facts[M1] = replace(ears.facts[M1], may_be_silent=True)
    ears.quiet = {M1}
    assert not announced(ears.live(4, 60))
    ears.quiet = {M1, M2}
    (call,) = announced(ears.live(61, 90))
    assert call.point == Point(M2, MONITOR_SILENT, "")


def test_a_registered_monitor_that_was_never_heard_is_told_too() -> None:
    ears = Ears(M1, M2)
    ears.facts[M2] = UnitFacts(0, 0)
    ears.quiet = {M2}
    (call,) = announced(ears.live(0, 20))
    assert call.point == Point(M2, MONITOR_SILENT, "")


def test_data_of_the_past_is_heard_but_not_live() -> None:
    ears = Ears(M1)
    ears.quiet = {M1}
    ears.facts[M1] = UnitFacts(at(30), at(-60))
    ears.live(30, 31)
    assert sights(ears.listening, ears.facts)[M1].live_since_us == 0
    assert ears.listening.heard_since_us[M1] == at(30)


def test_a_gateway_clock_stepped_back_hides_no_silence_and_raises_none() -> None:
    ears = Ears(M1, M2)
    ears.live(1000, 1010)
    ears.quiet = {M1}
    assert not announced(ears.live(0, 14))
    (call,) = announced(ears.live(15, 20))
    assert call.point == Point(M1, MONITOR_SILENT, "")
