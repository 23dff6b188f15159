"""Short notices fit one text message whatever the names, and never lose what keeps people safe."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.decide.definitions import Alarm
from gateway.alarms.messages import MONITOR_SILENT, NOTICES_FAIL, SITE_ARCING, SITE_SILENT
from gateway.notices.alphabet import BASIC, SHORT_MAX, plain, shortened
from gateway.notices.texts import (
    CLEAR,
    Facts,
    body_text,
    call_text,
    clear_text,
    daily_text,
    digest_text,
    subject_text,
)
from tests.gateway.build import START_US

ALARMS = [
    *Alarm,
    SITE_ARCING,
    SITE_SILENT,
    MONITOR_SILENT,
    NOTICES_FAIL,
    "an-alarm-of-a-newer-unit",
]
ARCS = (SITE_ARCING, Alarm.ARCING, Alarm.NEAR_MARGIN, Alarm.FLASHOVER_SUSPECTED, Alarm.OVER_RANGE)

FACTS = Facts(
    id="ternholm.93",
    title="Ternholm 132 kV",
    alarm=Alarm.ARCING,
    place="B3-R",
    priority=2,
    trust="good",
    at_us=START_US,
    since_us=START_US - 540_000_000,
    peak_ua=184_000,
    call="x4411",
    text="Dry-band arcing on this insulator",
    action="call the duty engineer",
)

LONGEST = replace(
    FACTS,
    id="s" * 32 + ".1234567",
    title="Ü" * 80,
    place="{µ}" * 16,
    trust="uncertain",
    counted="5000 of 5000",
    worst=("W" * 48,) * 3,
    peak_ua=9_999_000,
    call="the duty engineer of the night shift, +44 1632 960 961, else the desk +44 1632 960 962",
)


def fits(text: str) -> bool:
    """One text message: every character counts once."""
    return 0 < len(text) <= SHORT_MAX and BASIC.issuperset(text)


@pytest.mark.parametrize("alarm", ALARMS)
@pytest.mark.parametrize("facts", [FACTS, LONGEST])
def test_every_alarm_fits_a_text_message_at_the_longest_names(alarm: str, facts: Facts) -> None:
    own = replace(facts, alarm=str(alarm))
    for text in (
        call_text(own),
        call_text(own, "UNACKED 120min"),
        clear_text(own, START_US + 86_400_000_000, False),
    ):
        assert fits(text), text
        assert text.startswith(("P2 ", "CLR "))


@pytest.mark.parametrize("alarm", ARCS)
def test_an_arcing_alarm_says_keep_clear_and_no_text_ever_advises_washing(alarm: str) -> None:
    for facts in (FACTS, LONGEST):
        own = replace(facts, alarm=str(alarm))
        text = call_text(own, "UNACKED 10min")
        assert "clear, no washing." in text
        assert "wash" not in text.replace("no washing", "")
        body = body_text(own, "NEW", "")
        assert "wash" not in body.replace("no washing", "")


def test_the_end_of_an_alarm_is_never_told_as_safe() -> None:
    text = clear_text(FACTS, START_US, False)
    assert "Not proof of safe or dead." in text and "NOT acked" in text
    assert "NOT acked" not in clear_text(FACTS, START_US, True)


def test_an_ordinary_notice_reads_as_a_person_would_say_it() -> None:
    assert call_text(FACTS) == (
        "P2 Ternholm 132 kV B3-R: arcing 184mA. Data GOOD. Keep clear, no washing. "
        "Call x4411. 00:00Z #ternholm.93"
    )
    site = replace(
        FACTS, alarm=SITE_ARCING, place="", counted="7 of 12", worst=("B3-R",), priority=1
    )
    assert call_text(site).startswith(
        "P1 Ternholm 132 kV: 7 of 12 arcing at the site 184mA, worst B3-R. "
    )


words = st.text(max_size=80)


@given(words, words, words, st.lists(words, max_size=3), st.sampled_from(ALARMS))
def test_whatever_the_names_hold_the_text_is_of_the_alphabet_and_keeps_its_order(
    title: str, place: str, call: str, worst: list[str], alarm: str
) -> None:
    own = replace(
        FACTS, title=title, place=place[:48], call=call, worst=tuple(worst), alarm=str(alarm)
    )
    text = call_text(own)
    assert fits(text)
    assert text.startswith("P2 ") and "Data GOOD" in text and text.rstrip().endswith(".93")


def test_a_telephone_number_is_whole_or_not_there() -> None:
    fits = call_text(replace(LONGEST, call="desk x4411"))
    assert "Call desk x4411." in fits
    assert "Call" not in call_text(LONGEST)


def test_the_daily_test_says_its_number_and_when_the_next_is_due() -> None:
    text = daily_text(17, "4999 of 5000 watched", START_US, START_US + 86_400_000_000)
    assert fits(text)
    assert text.startswith("TEST 17 seafret notices, 00:00Z.")
    assert "Next 2026-11-25T00:00:00Z" in text


def test_letters_outside_the_alphabet_are_written_otherwise() -> None:
    assert plain("µA – Ångström “é” [1] ŵ 電\n") == 'uA - Ångstr\xf6m "é" (1) w ? '
    assert plain("^{}\\[~]|€") == "?()?(?)??"
    assert shortened("0123456789", 7) == "012..89"


def test_a_mail_answers_the_eight_points_in_their_order() -> None:
    body = body_text(FACTS, "NEW", "https://gateway.example:8710").splitlines()
    starts = ["Ternholm", "Priority 2", "One or many", "Since", "Data: GOOD", "Do:", "Held by"]
    assert [line for line, start in zip(body, starts, strict=False) if line.startswith(start)] == (
        body[:7]
    )
    assert body[7].startswith("Safety:") and "https://gateway.example:8710" in "\n".join(body)
    assert subject_text(FACTS, "NEW") == (
        "[P2 NEW] Ternholm 132 kV B3-R: Dry-band arcing on this insulator #ternholm.93"
    )


def test_a_digest_names_who_arced_and_for_how_long() -> None:
    text = digest_text("Ternholm", START_US, START_US + 7_200_000_000, {"A": 60, "B": 3_700})
    assert text.index("B: 1h01") < text.index("A: 1min")
    assert CLEAR not in text and "keep people clear" in text
