"""The alarm list through the whole gateway: heard, acted on, and there again after a kill."""

from __future__ import annotations

import json
import signal
from pathlib import Path
from typing import Any

import httpx

from edge.records import Condition, Stream
from gateway.history.sqlite_store import SqliteHistory
from gateway.settings import read_settings
from tests.gateway.build import EPOCH, commit, condition, epoch_start, key, message
from tests.gateway.console.running import (
    Seafret,
    Served,
    ServedByProcess,
    UnitAtTheBroker,
    send_a_night,
)

ME = {"by": "mk"}


def post(served: Served, action: str, code: int = 200, **ask: Any) -> Any:
    answer = httpx.post(f"{served.url}/api/1/alarms/{action}", json=ME | ask, trust_env=False)
    assert answer.status_code == code, answer.text
    return answer.json()


def shown(served: Served) -> dict[str, str]:
    return {one["id"]: one["shown"] for one in served.get("alarms")["alarms"]}


def journal(served: Served) -> list[dict[str, Any]]:
    entries: list[dict[str, Any]] = served.get("sites/north-head/journal")["entries"]
    return entries


def test_an_alarm_is_heard_acknowledged_answered_shelved_and_cleared(
    served: Served, unit: UnitAtTheBroker
) -> None:
    send_a_night(unit, Condition.IN)
    (alarm,) = served.get("alarms", site="north-head")["alarms"]
    assert (alarm["id"], alarm["shown"], alarm["data"]) == ("north-head.1", "new", "good")
    assert alarm["may"] == ["acknowledge", "shelve", "out-of-service", "answer"]
    assert "call the duty engineer" in alarm["rationale"]["action"]
    assert "not protection" in alarm["rationale"]["safety"]
    site = served.get("alarms")["sites"][0]
    assert (site["sound"], site["standing"], site["watched"], site["installed"]) == (2, 1, 2, 2)
    told = post(served, "acknowledge", ids=["north-head.1"], note="seen")
    assert told["alarms"][0]["acknowledged_by"] == "mk"
    assert told["sites"][0]["sound"] is None
    post(served, "answer", id="north-head.1", label="seen-arcing", note="by telephone")
    post(served, "shelve", id="north-head.1", for_s=3600, reason="crew on site")
    assert shown(served) == {"north-head.1": "shelved"}
    post(served, "unshelve", id="north-head.m1/arcing/A1")
    assert shown(served) == {"north-head.1": "new"}
    post(served, "out-of-service", id="north-head.1", order="WO 5512")
    assert served.get("alarms", shown="out-of-service")["alarms"][0]["maintenance"]["order"] == (
        "WO 5512"
    )
    post(served, "in-service", id="north-head.1")
    unit.publish(message(3, [condition(2, Condition.OUT)], Stream.ALARM), Stream.ALARM)
    unit.receipt(Stream.ALARM, 3)
    assert shown(served) == {"north-head.1": "cleared"}
    entries = journal(served)
    assert [one["number"] for one in entries] == list(range(1, len(entries) + 1))
    acknowledged = next(one for one in entries if one["what"] == "acknowledged")
    assert (acknowledged["before"], acknowledged["after"]) == ("new", "acknowledged")
    assert (acknowledged["who"], acknowledged["address"]) == ("mk", "127.0.0.1")
    assert next(one["label"] for one in entries if one["what"] == "answered") == "seen-arcing"


REFUSED: list[tuple[str, dict[str, Any], int]] = [
    ("acknowledge", {"ids": ["north-head.99"]}, 409),
    ("acknowledge", {"ids": ["north-head.x"]}, 409),
    ("acknowledge", {"ids": ["nowhere.1"]}, 409),
    ("acknowledge", {"ids": ["north-head.1", "south-head.1"]}, 409),
    ("acknowledge", {"ids": []}, 422),
    ("acknowledge", {"ids": ["north-head.1"], "by": ""}, 422),
    ("acknowledge", {"ids": ["north-head.1"], "by": "a\x1bb"}, 422),
    ("acknowledge", {"ids": ["north-head.1"], "colour": "red"}, 422),
    ("shelve", {"id": "north-head.1", "for_s": 43_201, "reason": "x"}, 422),
    ("shelve", {"id": "north-head.1", "for_s": 60, "reason": " "}, 409),
    ("shelve", {"id": "north-head.m1/arcing"}, 409),
    ("out-of-service", {"id": "north-head.1"}, 422),
    ("answer", {"id": "north-head.1", "label": "dunno"}, 422),
    (
        "outage",
        {
            "site": "north-head",
            "from": "2026-11-24T02:00:00Z",
            "to": "2026-11-24T01:00:00Z",
            "reason": "works",
        },
        409,
    ),
]
"""Action, what is asked, and the answer's code."""


def test_what_the_rules_do_not_allow_is_refused_with_a_reason_and_leaves_no_entry(
    served: Served, unit: UnitAtTheBroker
) -> None:
    send_a_night(unit, Condition.IN)
    before = journal(served)
    for action, ask, code in REFUSED:
        assert post(served, action, code, **ask)["detail"]
    assert journal(served) == before


def test_a_page_from_elsewhere_may_not_act(served: Served, unit: UnitAtTheBroker) -> None:
    send_a_night(unit, Condition.IN)
    for headers in ({"origin": "http://elsewhere.example"}, {"origin": "null"}):
        answer = httpx.post(
            f"{served.url}/api/1/alarms/acknowledge",
            json=ME | {"ids": ["north-head.1"]},
            headers=headers,
            trust_env=False,
        )
        assert answer.status_code == 403
    own = {"origin": served.url}
    answer = httpx.post(
        f"{served.url}/api/1/alarms/acknowledge",
        json=ME | {"ids": ["north-head.1"]},
        headers=own,
        trust_env=False,
    )
    assert answer.status_code == 200


def test_the_list_survives_a_kill_and_announces_nothing_again(
    settings_file: Path, unit: UnitAtTheBroker
) -> None:
    served = ServedByProcess(settings_file)
    send_a_night(unit, Condition.IN)
    post(served, "acknowledge", ids=["north-head.1"])
    before, entries = served.get("alarms")["alarms"], journal(served)
    assert served.end(signal.SIGKILL) == -signal.SIGKILL
    served = ServedByProcess(settings_file)
    (alarm,), (old,) = served.get("alarms")["alarms"], before
    assert {**alarm, "data": ""} == {**old, "data": ""}
    again = journal(served)
    assert again[: len(entries)] == entries
    assert [one["what"] for one in again[len(entries) :]] == ["restarted"]
    assert again[-1]["from_us"] > 0
    assert served.end() == 0


def test_what_was_committed_but_not_journalled_is_heard_after_a_restart(
    settings_file: Path,
) -> None:
    """As where the gateway dies between the two: here its journal is younger than its lines."""
    settings = read_settings(settings_file)
    writer = SqliteHistory(settings.data).writer("north-head")
    writer.append(commit(1, [epoch_start(), condition(1)], key(Stream.ALARM)))
    writer.close()
    served = ServedByProcess(settings_file)
    heard = [one for one in journal(served) if one["what"] == "heard"]
    assert [(one["epoch"], one["seq"]) for one in heard] == [(EPOCH, 2)]
    assert shown(served) == {"north-head.1": "new"}
    assert served.end() == 0


def test_the_terminal_acts_and_hands_over_within_80_columns(
    served: Served, unit: UnitAtTheBroker, seafret: Seafret
) -> None:
    send_a_night(unit, Condition.IN)
    at = ("--url", served.url)
    text = seafret("alarms", *at)
    assert text.code == 10
    assert "||  high    NEW" in text.out
    assert "watched 2 of 2, CALLING" in text.out
    done = seafret("acknowledge", "north-head.1", "--by", "mk", "--note", "crew called", *at)
    assert (done.code, done.out) == (0, "north-head.1: now acknowledged\n")
    done = seafret(
        "shelve", "north-head.1", "--for", "2h", "--reason", "crew on site", "--by", "mk", *at
    )
    assert (done.code, done.out) == (0, "north-head.1: now shelved\n")
    shelved = seafret("alarms", "--state", "shelved", *at)
    assert "shelved until 2026-11-24 02:03" in shelved.out
    as_json = json.loads(seafret("alarms", "--state", "new", "--json", *at).out)
    assert (as_json["alarms"], as_json["sites"][0]["shown"]["shelved"]) == ([], 1)
    text = seafret("alarms", "--hand-over", "--since", "8h", *at)
    assert "SHELVED: 1" in text.out
    assert "acknowledged north-head.m1 arcing A1 by mk: crew called" in " ".join(text.out.split())
    assert "NOT WATCHED: 0" in text.out
    for said in (text, shelved):
        assert max(map(len, said.out.splitlines())) <= 80
        assert said.out.isascii() and "\x1b" not in said.out


def test_a_refusal_in_the_terminal_is_one_line_and_wrong_use(
    served: Served, unit: UnitAtTheBroker, seafret: Seafret
) -> None:
    send_a_night(unit, Condition.IN)
    at = ("--url", served.url)
    why = ("--reason", "x", "--by", "mk")
    for words, said in (
        (("acknowledge", "north-head.9", "--by", "mk", *at), "is not in the list"),
        (("shelve", "north-head.1", "--for", "13h", *why, *at), "43200"),
        (("shelve", "north-head.1", "--for", "long", *why, *at), "it must be like"),
        (("acknowledge", "north-head.1", *at), "--by"),
        (("alarms", "--site", "nowhere", *at), "no such site"),
    ):
        refused = seafret(*words)
        assert refused.code == 64, refused.err
        assert said in refused.err
        assert len(refused.err.splitlines()) == 1
    away = seafret("acknowledge", "x.1", "--by", "mk", "--url", "http://127.0.0.1:1")
    assert away.code == 69


def test_performance_and_the_diagram_of_states_are_told(
    served: Served, unit: UnitAtTheBroker
) -> None:
    send_a_night(unit, Condition.IN)
    day = {"from": "2026-11-24T00:00:00Z", "to": "2026-11-25T00:00:00Z"}
    told = served.get("alarms/performance", **day)
    (figures,) = told["figures"]
    assert (figures["windows"], figures["announced"], figures["enough"]) == (144, 1, False)
    assert figures["top"][0]["alarm"] == "arcing"
    diagram = httpx.get(f"{served.url}/api/1/alarms/states", trust_env=False)
    assert diagram.text.startswith("stateDiagram-v2")
    wrong = httpx.get(
        f"{served.url}/api/1/alarms/performance",
        params={"from": day["to"], "to": day["from"]},
        trust_env=False,
    )
    assert wrong.status_code == 422
