"""The alarm list as text: whole within 80 columns, and nothing of a peer's can harm a terminal."""

from __future__ import annotations

import pytest

from gateway.alarms.actions import Answer, Shelve, TakeOut
from gateway.alarms.journal import Point
from gateway.alarms.memory import SITE_POINT
from gateway.console.alarm_picture import AlarmsTold, SiteAround, alarms_told
from gateway.console.alarm_text import PRIORITY_MARK, alarms_text, hand_over_text
from gateway.console.summary import Summary
from tests.gateway.alarms.build import HOUR_US, SITE, UNKNOWN, Story, at, point
from tests.gateway.build import UNIT
from tests.gateway.console.test_text import told as present_told

PRESENT = present_told(Summary())
LONG = "LINE-12-TOWER-0047-PHASE-A-STRING-2-SEAWARD-SIDE"


def listed(story: Story, minute: float = 9, live: frozenset[str] = frozenset({UNIT})) -> AlarmsTold:
    around = SiteAround(story.installed, story.installed - 1, live, story.peaks_ua)
    return alarms_told({SITE: story.held}, {SITE: around}, at(minute))


def text_of(story: Story, minute: float = 9) -> str:
    return alarms_text(listed(story, minute), PRESENT)


def test_priority_is_strokes_and_a_word() -> None:
    assert [mark.count("|") for _, mark in sorted(PRIORITY_MARK.items())] == [3, 2, 1]
    story = Story()
    story.hear(0, alarm="near-margin", priority=1)
    assert "||| urgent  NEW" in text_of(story)


def test_the_site_says_n_of_n_its_worst_three_and_how_many_are_watched() -> None:
    story = Story()
    story.peaks_ua = {"A2": 90_000}
    for subject in ("A1", "A2", "A3", "A4"):
        story.hear(0, subject=subject)
    text = " ".join(text_of(story).split())
    assert "4 of 12 insulators arcing, worst A2, A1, A3; 11 of 12 watched" in text
    assert "insulators_arcing 4, limit insulators_arcing 3" in text
    assert "suppressed by design: 4" in text
    assert "1 alarms standing: 1 new" in text


def test_what_calls_stands_above_what_is_acknowledged_and_urgent_above_low() -> None:
    story = Story()
    story.hear(0, alarm="over-range", subject="A3")
    story.acknowledge(0, point("over-range", "A3"))
    story.hear(1, alarm="sensor-failed", subject="A1", priority=3)
    story.hear(2, alarm="near-margin", subject="A2", priority=1)
    assert [one.alarm for one in listed(story).alarms] == [
        "near-margin",
        "sensor-failed",
        "over-range",
    ]


def test_lost_stale_and_uncertain_data_are_said_with_the_alarm() -> None:
    story = Story()
    story.hear(0)
    assert listed(story).alarms[0].data == "good"
    assert listed(story, live=frozenset()).alarms[0].data == "stale"
    story.hear(5, UNKNOWN, since_us=at(4))
    assert listed(story).alarms[0].data == "lost"
    assert "DATA LOST since 2026-11-24 00:04:00" in text_of(story)
    unsure = Story()
    unsure.hear(0, flags=("clock-unsynchronised",))
    assert listed(unsure).alarms[0].data == "uncertain"


def test_long_names_stay_whole_and_control_characters_are_shown_as_codes() -> None:
    story = Story()
    story.hear(0, subject=LONG, alarm="flashover-or-trip-suspected", reason="why " * 40)
    story.hear(0, subject="\x1b[31mred", reason="a\nb\x07")
    text = text_of(story)
    assert max(map(len, text.splitlines())) <= 80
    assert LONG in text
    assert all(character.isprintable() or character == "\n" for character in text)


def test_a_hand_over_has_every_part_and_the_same_counts() -> None:
    story = Story()
    story.hear(0)
    story.hear(0, alarm="over-range", subject="A2")
    story.hear(0, alarm="storage", subject="", priority=3)
    story.hear(0, alarm="sensor-failed", subject="A3", priority=3)
    story.answer(1, Answer.SEEN_ARCING, point())
    story.give(
        Shelve(
            at_us=at(2), by="mk", point=point(), until_us=at(2) + HOUR_US, reason="crew on site"
        ),
        TakeOut(at_us=at(2), by="jo", point=point("sensor-failed", "A3"), order="WO 5512"),
    )
    entries = [
        {
            "what": one.what.value,
            "point": list(one.point),
            "reason": one.reason,
            "label": one.label,
            "at_us": one.at_us,
            "who": one.who,
        }
        for one in story.journal
    ]
    text = hand_over_text(listed(story), PRESENT, entries, "2026-11-24T00:00:00Z")
    flat = " ".join(text.split())
    for said in (
        "STANDING OR WAITING: 1",
        "SHELVED: 1",
        "by mk: crew on site",
        "OUT OF SERVICE: 1",
        "work order WO 5512",
        "TASKS: 1",
        "NOT WATCHED: 3",
        "answered seen-arcing north-head.m1 arcing A1 by mk",
        "not protection",
    ):
        assert said in flat, said
    assert max(map(len, text.splitlines())) <= 80


@pytest.mark.parametrize("subject", ["A1", ""])
def test_no_text_advises_washing_while_it_arcs(subject: str) -> None:
    story = Story()
    for one in ("A1", "A2", "A3"):
        story.hear(0, subject=one)
    story.hear(1, alarm="near-margin", subject="A1", priority=1)
    text = " ".join(text_of(story).lower().split())
    assert "keep people clear" in text
    assert "wash" not in text.replace("no washing", "")
    chosen = SITE_POINT if not subject else Point(UNIT, "near-margin", subject)
    assert "/".join(chosen) in [one.point for one in listed(story).alarms]
