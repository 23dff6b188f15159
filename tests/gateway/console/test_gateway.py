"""The whole gateway: a real broker, the real service, the real API and the real commands."""

from __future__ import annotations

import json
import queue
import signal
import sqlite3
from contextlib import closing
from pathlib import Path

import httpx

from edge.records import Condition, Stream
from tests.broker import Broker
from tests.gateway.build import (
    MINUTE_US,
    START_US,
    interval,
    message,
)
from tests.gateway.console.running import (
    Seafret,
    Served,
    ServedByProcess,
    UnitAtTheBroker,
    send_a_night,
    story,
)


def test_a_night_goes_through_the_broker_into_the_api_and_the_terminal(
    served: Served, unit: UnitAtTheBroker, seafret: Seafret
) -> None:
    send_a_night(unit, Condition.IN)
    assert served.get("health")["broker_connected"]
    (site,) = served.get("sites")
    assert (site["watched"], site["insulators"], site["alarms_in"]) == (2, 2, 1)
    assert served.get("units", site="north-head")[0]["liveliness"] == "live"
    assert served.get("insulators", site="elsewhere") == []
    rows = served.get("insulators")
    assert [(one["insulator"], one["row"]["peak_ua"]) for one in rows] == [
        ("A1", 12_347),
        ("B2", 12_347),
    ]
    assert [one["change"]["alarm"] for one in served.get("conditions", condition="in")] == [
        "arcing"
    ]
    assert served.get("conditions", condition="out") == []
    check_the_past(served)
    check_the_terminal(served, seafret)


def check_the_past(served: Served) -> None:
    night = {"from": "2026-11-24T00:00:00Z", "to": "2026-11-24T01:01:00+01:00"}
    page = served.get("sites/north-head/intervals", insulator="A1", limit=1, **night)
    assert [row["charge_nc"] for row in page["rows"]] == [[1_000_000, 2_000_000]]
    assert page["next_us"] is None
    day = {"from": "2026-11-24T00:00:00Z", "to": "2026-11-25T00:00:00Z"}
    page = served.get("sites/north-head/intervals", insulator="A1", limit=2, **day)
    assert [row["start_us"] for row in page["rows"]] == [START_US, START_US + MINUTE_US]
    assert page["next_us"] == START_US + 2 * MINUTE_US
    assert len(served.get("sites/north-head/weather", **day)["rows"]) == 3
    sums = served.get("sites/north-head/exposure", insulator="A1", **day)["sums"]
    assert (sums["rows"], sums["charge_positive_nc"]) == (3, 3_000_003)
    for wrong in (
        "sites/nowhere/weather?from=2026-11-24T00:00:00Z&to=2026-11-25T00:00:00Z",
        "sites/north-head/weather?from=2026-11-24T00:00:00&to=2026-11-25T00:00:00Z",
        "sites/north-head/weather?limit=9999999",
    ):
        answer = httpx.get(f"{served.url}/api/1/{wrong}", trust_env=False)
        assert answer.status_code in (404, 422)


def check_the_terminal(served: Served, seafret: Seafret) -> None:
    status = seafret("status", "--url", served.url)
    assert status.code == 10, status.err
    assert max(map(len, status.out.splitlines())) <= 80
    assert status.out.isascii() and "\x1b" not in status.out
    assert "insulators watched 2 of 2" in status.out
    assert "1 alarms in" in status.out
    alarms = seafret("alarms", "--url", served.url)
    assert alarms.code == 10
    assert "arcing_halfcycles 210, limit arcing_halfcycles 30" in alarms.out
    as_json = json.loads(seafret("alarms", "--json", "--url", served.url).out)
    assert [(one["id"], one["shown"]) for one in as_json["alarms"]] == [("north-head.1", "new")]
    assert seafret("status", "--url", served.url, "--site", "nowhere").code == 64


def test_what_was_receipted_survives_a_kill_and_is_told_again_after_a_restart(
    settings_file: Path, unit: UnitAtTheBroker, seafret: Seafret
) -> None:
    served = ServedByProcess(settings_file)
    send_a_night(unit, Condition.OUT)
    before = served.get("insulators"), served.get("conditions")
    assert seafret("status", "--url", served.url).code == 0
    second = seafret("serve", "--settings", str(settings_file))
    assert second.code == 69
    assert "held by seafret serve" in second.err
    assert len(second.err.splitlines()) == 1
    assert served.end(signal.SIGKILL) == -signal.SIGKILL
    unit.publish(message(8, [interval(3, "A1"), interval(3, "B2")]))
    served = ServedByProcess(settings_file)
    unit.receipt(Stream.INTERVAL, 9)
    after = served.get("insulators"), served.get("conditions")
    assert before[0] != after[0]
    assert after[1] == before[1]
    assert [one["row"]["start_us"] for one in after[0]] == [START_US + 3 * MINUTE_US] * 2
    assert served.end() == 0


def test_lost_data_and_silence_are_blind_never_fine(
    served: Served, unit: UnitAtTheBroker, seafret: Seafret
) -> None:
    nothing = seafret("status", "--url", served.url)
    assert nothing.code == 20
    assert "BLIND: never-heard" in nothing.out
    send_a_night(unit, Condition.UNKNOWN)
    alarms = seafret("alarms", "--url", served.url)
    assert alarms.code == 20
    assert "0 alarms standing" in alarms.out


def test_hostile_messages_are_counted_and_harm_nobody(
    served: Served, unit: UnitAtTheBroker, seafret: Seafret
) -> None:
    send_a_night(unit, Condition.OUT)
    for payload in (
        b"",
        b"\xff\x00",
        b"[" * 4000,
        b"x" * 70_000,
        message(1, story(), Stream.ALARM),
    ):
        unit.publish(payload)
    unit.publish(message(8, [interval(3)]), retain=True)
    unit.publish(message(8, [interval(3)]))
    unit.receipt(Stream.INTERVAL, 8)
    assert served.get("health")["refused"] == 6, "the retained measurement as well"
    assert "6 messages refused" in seafret("status", "--url", served.url).out


def test_a_missing_line_is_asked_for_by_repeating_the_receipt(
    served: Served, unit: UnitAtTheBroker
) -> None:
    send_a_night(unit, Condition.OUT)
    unit.publish(message(11, [interval(9)]))
    unit.receipt(Stream.INTERVAL, 7)
    unit.publish(message(8, [interval(n) for n in range(6, 10)]))
    unit.receipt(Stream.INTERVAL, 11)


def test_a_broker_that_comes_back_is_found_again(
    served: Served, unit: UnitAtTheBroker, broker: Broker
) -> None:
    send_a_night(unit, Condition.OUT)
    broker.stop(kill=True)
    broker.start()
    again = UnitAtTheBroker(broker.port)
    try:
        again.say_online()
        while True:  # until the gateway has subscribed anew, the broker has nobody to give it to
            again.publish(message(8, [interval(3)]))
            try:
                said = again.heard.get(timeout=0.3)
            except queue.Empty:
                continue
            if said[1]["upto"] == 8:  # before it the gateway says where all streams stand
                break
        assert served.get("units")[0]["link"] == "online"
    finally:
        again.close()


def test_no_gateway_is_one_clear_line_and_its_exit_code(free_port: int, seafret: Seafret) -> None:
    for command in ("status", "alarms"):
        done = seafret(command, "--url", f"http://127.0.0.1:{free_port}")
        assert done.code == 69
        assert "cannot be reached" in done.err
        assert len(done.err.splitlines()) == 1
    assert seafret("status", "--url", "127.0.0.1").code == 64


def test_a_taken_port_and_wrong_settings_are_one_clear_line(
    tmp_path: Path, served: Served, seafret: Seafret
) -> None:
    other = tmp_path / "other.toml"
    other.write_text(served.settings.read_text().replace('"history"', '"elsewhere"'))
    taken = seafret("serve", "--settings", str(other))
    assert taken.code == 69
    assert "give another port" in taken.err
    other.write_text(served.settings.read_text().replace("[console]", "[konsole]"))
    wrong = seafret("serve", "--settings", str(other))
    assert wrong.code == 64
    assert "konsole" in wrong.err
    assert [len(one.err.splitlines()) for one in (taken, wrong)] == [1, 1]


def test_a_page_from_elsewhere_does_not_reach_the_api_under_its_own_name(served: Served) -> None:
    answer = httpx.get(
        f"{served.url}/api/1/health", headers={"host": "elsewhere.example"}, trust_env=False
    )
    assert answer.status_code == 400


def test_a_store_that_cannot_write_is_told_and_nothing_is_receipted_until_it_can(
    served: Served, unit: UnitAtTheBroker, seafret: Seafret
) -> None:
    send_a_night(unit, Condition.OUT)
    file = served.settings.parent / "history" / "north-head.sqlite3"
    with closing(sqlite3.connect(file)) as saboteur:
        saboteur.execute("ALTER TABLE lines RENAME TO taken_away")
        unit.publish(message(8, [interval(3)]))
        for _ in range(2000):
            if "no such table" in served.get("health")["store_fault"]:
                break
        else:
            raise AssertionError("the fault of the store is not told")
        assert seafret("status", "--url", served.url).code == 20
        assert unit.heard.empty()
        saboteur.execute("ALTER TABLE taken_away RENAME TO lines")
    unit.receipt(Stream.INTERVAL, 8)
    assert served.get("health")["store_fault"] == ""
    page = served.get(
        "sites/north-head/exposure",
        insulator="A1",
        **{"from": "2026-11-24T00:00:00Z", "to": "2026-11-25T00:00:00Z"},
    )
    assert page["sums"]["rows"] == 4
