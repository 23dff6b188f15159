"""Limits from the gateway: taken and kept, or refused with a reason, and always answered."""

from __future__ import annotations

import json
import queue
import signal
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from edge.daemon.limit_sheets import InForce, heard, recalled
from edge.decide.binding import DecisionPlan
from edge.limits import Sheet, bound, letter
from edge.records import UnitEvent
from edge.send.messages import Asked
from edge.settings import parse_settings
from edge.wire import read_batch
from tests.broker import Broker
from tests.edge.daemon.builders import (
    RECORDED,
    daemon_in,
    kept_bodies,
    played_out,
    settings_text,
    write_recording,
)
from tests.edge.daemon.launching import await_line, clock_file, ended, launched

UNIT = "gannet-stack.pole-1"
SETTINGS = parse_settings(settings_text(RECORDED), "edge.toml")
LATER_US = 2_000_000_000_000_000
NOW_US = 1_795_557_600_000_000
DEAF = {"arcing_halfcycles_per_min": 7_000, "arc_pulses_100ma": 7_000}
"""So high that nothing is ever called arcing."""

WHOSE = {"owner": "asset desk", "reason": "tuned on last winter's nights"}


def plan(sheet: Sheet | None) -> DecisionPlan:
    return bound(SETTINGS, sheet, 4_800.0)


def sheet(version: int = 1, alarms: dict[str, Any] | None = None, **changes: Any) -> Sheet:
    plain = {
        "unit": UNIT,
        "version": version,
        "alarms": {"arcing": WHOSE | {"limits": DEAF}} if alarms is None else alarms,
        "author": "mk",
        "approver": "jo",
        "approved_us": NOW_US,
    }
    return Sheet.model_validate_json(json.dumps(plain | changes))


def payload(of: Sheet, expires_us: int = LATER_US) -> bytes:
    return letter(of, expires_us)


def take(now: InForce, said: bytes) -> tuple[InForce, UnitEvent]:
    return heard(now, said, UNIT, plan, NOW_US, trusted=True)


OWN = InForce(None, plan(None))


def test_a_sheet_is_in_force_at_once_and_its_hash_is_that_of_the_records() -> None:
    after, event = take(OWN, payload(sheet(3)))
    assert (event.event, event.detail["version"]) == ("limits-applied", 3)
    assert event.detail["settings"] == after.plan.settings_sha != OWN.plan.settings_sha
    assert event.detail["sheet"] == sheet(3).sha
    limits = after.plan.insulators["old-post"][0].limits
    assert limits["arcing_halfcycles_per_min"].at == 7_000


def test_the_same_again_is_confirmed_again_and_null_gives_the_word_back_to_the_settings() -> None:
    once, _ = take(OWN, payload(sheet(1)))
    twice, event = take(once, payload(sheet(1)))
    assert event.event == "limits-applied" and twice.sheet == once.sheet
    back = Sheet.model_validate_json(json.dumps(sheet(2).plain() | {"alarms": None}))
    after, event = take(twice, payload(back))
    assert event.event == "limits-applied"
    assert after.plan.settings_sha == OWN.plan.settings_sha


MARGIN = {"near-margin": WHOSE | {"limits": {"no_such_quantity": 5}}}
REFUSED: dict[str, tuple[bytes, str]] = {
    "not-json": (b"{", "not JSON"),
    "repeated-key": (b'{"sheet":1,"sheet":2}', "repeats"),
    "fields": (b'{"sheet":{},"expires_us":1}', "sheet.unit"),
    "unit": (payload(sheet(9, unit="gannet-stack.pole-2")), "this is gannet-stack.pole-1"),
    "expired": (payload(sheet(9), NOW_US - 1), "after its time"),
    "older": (payload(sheet(4)), "older than 5"),
    "conflict": (payload(sheet(5, {})), "other content"),
    "settings": (payload(sheet(9, MARGIN)), "no_such_quantity"),
}


@pytest.mark.parametrize("reason", REFUSED)
def test_what_is_not_acceptable_is_refused_with_its_reason_and_changes_nothing(
    reason: str,
) -> None:
    before, _ = take(OWN, payload(sheet(5)))
    said, why = REFUSED[reason]
    after, event = take(before, said)
    assert after is before
    assert event.event == "limits-refused"
    assert event.detail["reason"] == reason
    assert why in str(event.detail["why"])


def test_an_alarm_that_is_not_known_is_refused_and_an_unsure_clock_refuses_nothing_as_expired() -> (
    None
):
    _, event = take(OWN, payload(sheet(1, {"no-alarm": WHOSE})))
    assert event.event == "limits-refused" and "no-alarm" in str(event.detail["why"])
    expired = payload(sheet(1), NOW_US - 1)
    _, event = heard(OWN, expired, UNIT, plan, NOW_US, trusted=False)
    assert event.event == "limits-applied"


def test_a_kept_sheet_that_the_settings_no_longer_bear_is_dropped_and_it_is_said() -> None:
    kept, events = recalled(sheet(2).plain(), plan, NOW_US)
    assert kept.sheet == sheet(2) and events == ()
    kept, events = recalled(sheet(2, MARGIN).plain(), plan, NOW_US)
    assert kept.sheet is None and kept.plan.settings_sha == OWN.plan.settings_sha
    assert [(one.event, one.detail["version"]) for one in events] == [("limits-refused", 2)]


def test_limits_hold_from_the_next_row_on_and_over_a_restart(tmp_path: Path) -> None:
    write_recording(tmp_path, 70.0)
    daemon = daemon_in(tmp_path, settings_text(RECORDED), signal_s=30.0)
    daemon._inbox.put_request(Asked("limits", payload(sheet(2))))
    played_out(daemon)
    applied = events_of(tmp_path, "limits-applied")
    assert [one["version"] for one in applied] == [2]
    played_out(daemon_in(tmp_path, settings_text(RECORDED)))
    started = events_of(tmp_path, "started")
    assert [one["limits"] for one in started] == [0, 2]
    assert started[1]["settings"] == applied[0]["settings"] != SETTINGS.sha
    alarms = [json.loads(body)["alarm"] for body in kept_bodies(tmp_path, "condition")]
    assert "arcing" not in alarms and "near-margin" in alarms
    health = [json.loads(body)["settings_sha"] for body in kept_bodies(tmp_path, "health")]
    assert set(health) == {applied[0]["settings"]}


def events_of(folder: Path, name: str) -> list[dict[str, Any]]:
    found = [json.loads(body) for body in kept_bodies(folder, "unit-event")]
    return [one["detail"] for one in found if one["event"] == name]


def test_a_sheet_over_the_broker_is_answered_over_the_broker(
    tmp_path: Path, broker: Broker
) -> None:
    write_recording(tmp_path, 70.0)
    (tmp_path / "edge.toml").write_text(settings_text(RECORDED, broker.port))
    answers: queue.SimpleQueue[dict[str, Any]] = queue.SimpleQueue()

    def on_message(client: Client, userdata: object, message: MQTTMessage) -> None:
        for line in read_batch(message.payload).lines:
            answers.put(json.loads(line.body))

    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
    client.on_message = on_message
    online: queue.SimpleQueue[bool] = queue.SimpleQueue()
    client.message_callback_add(f"seafret/1/{UNIT}/state", lambda *_: online.put(True))
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    client.subscribe([("seafret/1/+/up/health", 1), ("seafret/1/+/state", 1)])
    try:
        with launched(tmp_path / "edge.toml", "--clock", clock_file(tmp_path, 0.05)) as process:
            online.get(timeout=30)
            client.publish(f"seafret/1/{UNIT}/down/limits", payload(sheet(7)), qos=1)
            await_line(process, "limits-applied")
            while (answer := answers.get(timeout=30)).get("event") != "limits-applied":
                pass
            assert answer["detail"]["version"] == 7
            ended(process, signal.SIGTERM)
    finally:
        client.disconnect()
        client.loop_stop()
