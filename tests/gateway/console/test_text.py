"""The plain text of the present: 80 columns, nothing hostile, nothing cut that matters."""

from __future__ import annotations

from edge.records import Stream
from gateway.console.api import Health
from gateway.console.client import Present
from gateway.console.summary import Summary
from gateway.console.text import age_text, status_text
from tests.gateway.build import MINUTE_US, START_US, health, interval, key
from tests.gateway.console.test_picture import after, seen


def told(summary: Summary, now_us: int = START_US + 2 * MINUTE_US, fault: str = "") -> Present:
    picture = seen(summary, now_us)
    return Present(
        "http://127.0.0.1:8710",
        Health("0", now_us, True, fault, 0, 0),
        list(picture.sites),
        list(picture.units),
        list(picture.insulators),
        list(picture.conditions),
    )


def test_long_names_and_many_flags_stay_whole_within_80_columns() -> None:
    name = "LINE-12-TOWER-0047-PHASE-A-STRING-2-SEAWARD-SIDE"
    flags = ("clock-unsynchronised", "reference-doubtful", "voltage-abnormal", "saturated")
    text = status_text(told(after((key(), [interval(0, insulator=name, flags=flags)]))))
    assert max(map(len, text.splitlines())) <= 80
    assert name in text
    assert all(flag in text for flag in flags)


def test_control_characters_of_a_peer_are_shown_as_codes() -> None:
    ill = health(0, reasons=("\x1b]0;owned\x07",))
    text = status_text(told(after((key(Stream.HEALTH), [ill]))))
    assert all(character.isprintable() or character == "\n" for character in text)


def test_what_cannot_be_stored_or_told_is_blind() -> None:
    sound = after((key(), [interval(0), interval(0, insulator="B2")]))
    assert not told(sound).blind
    assert told(sound, fault="disk full").blind
    assert "nothing can be stored: disk full" in status_text(told(sound, fault="disk full"))
    assert told(sound, START_US + 9 * MINUTE_US).blind
    assert told(after((key(), [interval(0)]))).blind  # B2 is registered and never spoke


def test_ages_are_told_in_a_sensible_unit() -> None:
    told_ages = [age_text(us * 1_000_000) for us in (0, 119, 120, 7200, 200_000)]
    assert told_ages == ["0 s", "119 s", "2 min", "2 h", "2 d"]
    assert age_text(None) == "never"
