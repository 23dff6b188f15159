"""One arcing insulator as everybody outside the console hears of it; and a gateway's end."""

from __future__ import annotations

import csv
import io
import queue
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families

from edge.records import Condition, Stream
from gateway.settings import SettingsFault, read_settings
from tests.edge.daemon.builders import RECORDED, settings_text, write_recording
from tests.edge.daemon.launching import clock_file, launched
from tests.gateway.build import epoch_start, message
from tests.gateway.console.running import Seafret, ServedByProcess, UnitAtTheBroker
from tests.gateway.outstation.master import Master
from tests.gateway.outworks.running import (
    ANSWER_S,
    BEAT_S,
    Listener,
    Outward,
    arcing_now,
    asked_until,
)

HEARTBEAT = "seafret/1/gateway/heartbeat"
DAY_US = 86_400_000_000
MISSED_S = 3.0
EDGE = "gannet-stack.pole-1"


@contextmanager
def serving(outward: Outward) -> Iterator[ServedByProcess]:
    served = ServedByProcess(outward.settings)
    try:
        yield served
    finally:
        if served.process.poll() is None:
            served.end()


def metrics(served: ServedByProcess) -> dict[tuple[str, ...], float]:
    answer = httpx.get(f"{served.url}/metrics", trust_env=False)
    assert answer.status_code == 200
    return {
        (one.name, *one.labels.values()): one.value
        for family in text_string_to_metric_families(answer.text)
        for one in family.samples
    }


def arcing_address(served: ServedByProcess) -> int:
    """By the list that the control centre's engineers get."""
    text = httpx.get(f"{served.url}/api/1/outstation/points.csv", trust_env=False).text
    head, _, rows = text.partition("\n")
    assert "not for trip" in head
    (found,) = [
        int(row["address"])
        for row in csv.DictReader(io.StringIO(rows))
        if (row["subject"], row["point"]) == ("north-head/A1", "arcing")
    ]
    return found


def test_an_arcing_insulator_reaches_text_mail_control_centre_and_figures_and_the_past_nobody(
    outward: Outward, unit: UnitAtTheBroker
) -> None:
    with serving(outward) as served:
        assert outward.post().startswith("TEST 1 seafret notices")
        assert "TEST 1" in outward.mails.next().get_content()
        master, arcing = Master(outward.outstation).await_open(), arcing_address(served)
        late = arcing_now(subject="B2")
        gone = replace(late, at_us=late.at_us - DAY_US, since_us=late.since_us - DAY_US)
        records = [epoch_start(), gone, replace(gone, condition=Condition.OUT), arcing_now()]
        unit.publish(message(1, records, Stream.ALARM), Stream.ALARM)
        unit.receipt(Stream.ALARM, 4)
        text = outward.post()
        assert text.startswith("P2 North Head A1: arcing") and "Call x4411." in text
        assert outward.mails.next()["Subject"].startswith("[P2 NEW] North Head A1")
        while (told := master.hear(1)[0]).address != arcing or not told.amount:
            assert told.kind in (30, 36, 37) and told.cause == 3
        found = metrics(served)
        assert found["seafret_alarms", "north-head", "new"] == 1
        assert found["seafret_insulators", "north-head"] == 2
        assert found["seafret_broker_connected",] == 1
        assert found["seafret_outstation_masters",] == 1
        unit.publish(message(5, [arcing_now(Condition.OUT)], Stream.ALARM), Stream.ALARM)
        while (told := master.hear(1)[0]).address != arcing or told.amount:
            pass
        assert outward.post().startswith("CLR North Head A1: arcing is over")
        assert served.get("notices")["recipients"][0]["delivered_us"] > 0
        entries = served.get("sites/north-head/journal")["entries"]
        assert sum(one["what"] == "announced" for one in entries) == 1
        master.close()


def test_a_killed_gateway_is_missed_by_everybody_who_watches_and_found_again(
    outward: Outward, unit: UnitAtTheBroker
) -> None:
    """What happens when the gateway dies, as the page beside the heartbeat says it."""
    listener = Listener(outward.broker, HEARTBEAT)
    with serving(outward) as served:
        outward.post()
        sound = listener.until(lambda said: said["state"] == "sound")
        assert sound["every_ms"] == round(BEAT_S * 1000)
        outward.hook.pings.get(timeout=ANSWER_S)
        master = Master(outward.outstation).await_open()
        served.end(signal.SIGKILL)
        assert listener.until(lambda said: said["state"] == "gone") == {"state": "gone"}
        with pytest.raises(queue.Empty):
            while True:
                outward.hook.pings.get(timeout=MISSED_S)
        asked_until(lambda: master.connection.is_connected, lambda up: not up)
        master.close()
    # The unit keeps what nobody receipts; nothing answers it.
    unit.publish(message(1, [epoch_start(), arcing_now()], Stream.ALARM), Stream.ALARM)
    with pytest.raises(queue.Empty):
        while unit.heard.get(timeout=1.0)[0] != "receipt":
            pass
    with serving(outward) as served:
        listener.until(lambda said: said["state"] == "sound")
        outward.hook.pings.get(timeout=ANSWER_S)
        unit.receipt(Stream.ALARM, 2)
        assert "A1: arcing" in outward.post()
        Master(outward.outstation).await_open().close()
        assert served.end() == 0
        listener.until(lambda said: said == {"state": "stopped"})
    listener.close()


def test_limits_go_to_a_real_unit_and_are_in_force_by_its_own_word(
    outward: Outward, tmp_path: Path, seafret: Seafret
) -> None:
    write_recording(tmp_path, 70.0)
    (tmp_path / "edge.toml").write_text(settings_text(RECORDED, outward.broker))
    part = {"owner": "asset desk", "reason": "fewer calls", "limits": {"arc_pulses_100ma": 900}}
    base = f"/api/1/limits/{EDGE}"
    with (
        serving(outward) as served,
        launched(tmp_path / "edge.toml", "--clock", clock_file(tmp_path, 0.05)),
        httpx.Client(base_url=served.url, trust_env=False) as api,
    ):
        ask = {"by": "mk", "reason": "tried on last winter", "alarms": {"arcing": part}}
        proposed = api.post(f"{base}/propose", json=ask)
        assert (proposed.status_code, proposed.json()["status"]) == (200, "proposed")
        own = api.post(f"{base}/approve", json={"by": "mk", "version": 1})
        assert own.status_code == 409 and "second person" in own.json()["detail"]
        assert api.post(f"{base}/approve", json={"by": "jo", "version": 1}).status_code == 200

        def told() -> Any:
            return api.get(base).json()

        found = asked_until(told, lambda said: said["in_force"] == 1)
        sha = found["versions"][0]["settings_sha"]
        assert sha and found["versions"][0]["approver"] == "jo"
        limits = api.get(f"{base}/1").json()
        (pulses,) = [
            one
            for one in limits
            if (one["subject"], one["quantity"]) == ("old-post", "arc_pulses_100ma")
        ]
        assert (pulses["at"], pulses["owner"]) == (900, "asset desk")
        back = api.post(f"{base}/roll-back", json={"by": "jo", "reason": "missed a night"})
        assert (back.status_code, back.json()["number"]) == (200, 2)
        found = asked_until(told, lambda said: said["in_force"] == 2)
        assert found["fault"] == "" and found["versions"][0]["alarms"] is None
        bad = api.post(f"{base}/propose", json={"by": "mk", "reason": "x", "alarms": {"no": part}})
        assert bad.status_code == 409
        assert api.get("/api/1/limits/no-such.unit").status_code == 404
        check_commands(seafret, served.url, tmp_path)


def check_commands(seafret: Seafret, url: str, folder: Path) -> None:
    """The same in a terminal; two versions are there and the second is in force."""
    content = folder / "new.toml"
    content.write_text('[alarms.arcing]\nowner = "asset desk"\nreason = "x"\non_delay_s = 60\n')
    at = ("--url", url)
    said = seafret("limits", "list", *at)
    assert said.code == 0 and f"{EDGE}: in force version 2" in said.out
    said = seafret("limits", "show", EDGE, *at)
    assert "version 1 replaced by mk, approved by jo: tried on last winter" in said.out
    said = seafret("limits", "show", EDGE, "--version", "1", *at)
    assert "P2 arcing old-post: arc_pulses_100ma 900, on 180 s, off 3600 s" in said.out
    span = ("--from", "2026-11-24T00:00:00Z", "--to", "2026-11-25T00:00:00Z")
    said = seafret("limits", "preview", EDGE, "--file", str(content), *span, *at)
    assert said.code in (0, 10) and "rows decided again; without the unit's register" in said.out
    said = seafret(
        *("limits", "propose", EDGE, "--file", str(content), "--reason", "sooner", "--by", "mk"),
        *at,
    )
    assert said.code == 0 and "version 3 proposed by mk: sooner" in said.out
    said = seafret("limits", "approve", EDGE, "3", "--by", "mk", *at)
    assert said.code == 64 and "second person" in said.err
    assert seafret("limits", "withdraw", EDGE, "3", "--by", "mk", *at).code == 0
    said = seafret("limits", "roll-back", EDGE, "--reason", "y", "--to", "7", "--by", "jo", *at)
    assert said.code == 64 and "never in force" in said.err


@pytest.mark.parametrize("part", ["[outstation]", '[notices]\nrecipients=[{name="a",address="b"}]'])
def test_a_clock_that_is_not_the_real_one_calls_nobody(outward: Outward, part: str) -> None:
    path = outward.settings.with_name("demo.toml")
    path.write_text(f'data = "d"\n[clock]\nrate = 60\n[sites.a]\n{part}\n')
    with pytest.raises(SettingsFault, match="calls nobody"):
        read_settings(path)
