"""What a fleet asks of a gateway: a backlog, a broker that comes back, a night of salt, people."""

from __future__ import annotations

import statistics
import time
from pathlib import Path
from threading import Event
from typing import Any

import httpx
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from edge.records import Stream
from tests.bench.fleet.stage import LOOK_S, WAIT_S, Size, Stage, staged
from tests.bench.fleet.units import INSULATORS, VirtualUnit
from tests.bench.timing import Figure, figure

PART = "load"
ROWS_A_MESSAGE = 20
"""Of a unit that catches up; a live minute of four insulators is a message of four rows."""

WARM_SHARE = 0.3
"""Of the measured time, before it."""


def percentile(found: list[float], percent: int) -> float:
    """Of at least two measurements."""
    return statistics.quantiles(sorted(found), n=100, method="inclusive")[percent - 1]


def sustained(stage: Stage, seconds: float, rows: int) -> dict[str, float]:
    """Records a second, durable and receipted, while every unit has more to send."""
    stage.tell("rows", rows)
    time.sleep(WARM_SHARE * seconds)
    stage.tell("delays")
    first, cpu_s, begun_s = stage.sum("gained"), stage.gateway_cpu_s(), time.monotonic()
    time.sleep(seconds)
    while (gained := stage.sum("gained") - first) == 0:
        assert time.monotonic() - begun_s < WAIT_S, "nothing was receipted"
        time.sleep(LOOK_S)
    took_s, spent_s = time.monotonic() - begun_s, stage.gateway_cpu_s() - cpu_s
    stage.tell("rows", 0)
    stage.until("waiting", 0)
    delays = [one for told in stage.tell("delays") for one in told["delays_s"]]
    return {
        "a_second": gained / took_s,
        "a_core_second": gained / spent_s,
        "cores": spent_s / took_s,
        "receipt_p99_s": percentile(delays, 99),
    }


def held_is_there(stage: Stage, folder: Path) -> int:
    """Counts what the histories hold against every receipt; how many rows that are. SQLite."""
    from gateway.history.opening import open_history

    told = {name: last for one in stage.tell("held") for name, last in one["held"].items()}
    history = open_history(folder / "history")
    rows = 0
    for site in sorted({name.partition(".")[0] for name in told}):
        reader = history.reader(site)
        for key, mark in reader.marks().items():
            if key.stream is Stream.INTERVAL:
                assert mark.upto == told[key.unit], (key, mark, told[key.unit])
                rows += mark.upto
        reader.close()
    return rows


def reconnect_storm(stage: Stage) -> tuple[float, float]:
    """The broker dies and comes back: seconds until all units are online, and until each has sent
    alarms and has its receipts."""
    stage.broker.stop(kill=True)
    stage.until("ready", 0)
    stage.broker.start()
    begun_s = time.monotonic()
    stage.until("ready", stage.size.units)
    online_s = time.monotonic() - begun_s
    stage.tell("alarms", 2 * INSULATORS)  # in, and out again
    stage.until("waiting", 0)
    return online_s, time.monotonic() - begun_s


def salt_storm(stage: Stage) -> tuple[float, float, list[float]]:
    """Every insulator of every unit begins to arc at once: seconds until all of it is receipted and
    until all of it stands in the console; how long the console's alarm list took meanwhile."""
    wanted = _alarms_in(stage) + stage.size.units * INSULATORS
    begun_s = time.monotonic()
    stage.tell("alarms", INSULATORS)
    pages: list[float] = []
    durable_s = shown_s = 0.0
    while not (durable_s and shown_s):
        asked_s = time.monotonic()
        stage.get("/alarms")
        pages.append(time.monotonic() - asked_s)
        if not shown_s and _alarms_in(stage) >= wanted:
            shown_s = time.monotonic() - begun_s
        if not durable_s and stage.sum("waiting") == 0:
            durable_s = time.monotonic() - begun_s
        assert time.monotonic() - begun_s < WAIT_S
    return durable_s, shown_s, pages


def _alarms_in(stage: Stage) -> int:
    return sum(one["alarms_in"] for one in stage.get("/api/1/sites"))


def publish_to_console(stage: Stage, times: int) -> list[float]:
    """Seconds from a unit's sending of a change to a console that has heard of it and shows it."""
    unit = VirtualUnit(f"{stage.size.names[0].partition('.')[0]}.witness")
    client = Client(CallbackAPIVersion.VERSION2, unit.name, protocol=MQTTProtocolVersion.MQTTv5)
    subscribed = Event()
    client.on_connect = lambda *_: subscribed.set()
    client.connect(stage.broker.host, stage.broker.port)
    client.loop_start()
    assert subscribed.wait(WAIT_S)
    found = []
    with httpx.stream("GET", f"{stage.console}/stream", timeout=WAIT_S, trust_env=False) as told:
        lines = told.iter_lines()
        next(lines)
        for number in range(times):
            begun_s = time.monotonic()
            payload = unit.message(Stream.ALARM, 1 + (number == 0), begun_s)
            client.publish(unit.topic(Stream.ALARM), payload, qos=1)
            while not _shows(stage, unit, number):
                _await_event(lines)
            found.append(time.monotonic() - begun_s)
    client.disconnect()
    client.loop_stop()
    return found


def _await_event(lines: Any) -> None:
    for line in lines:
        if line.startswith("data:") and "site:" in line:
            return


def _shows(stage: Stage, unit: VirtualUnit, number: int) -> bool:
    turn, insulator = divmod(number, INSULATORS)
    wanted = "in" if turn % 2 == 0 else "out"
    site = unit.name.partition(".")[0]
    for one in stage.get(f"/api/1/conditions?site={site}"):
        if (one["unit"], one["change"]["subject"]) == (unit.name, f"A{insulator}"):
            return bool(one["change"]["condition"] == wanted)
    return False


def workers_load(
    folder: Path, size: Size, seconds: float, history: str, workers: int
) -> list[Figure]:
    """The same without a console: so many workers on one database, their units by leases."""
    with staged(folder, size, history, workers) as stage:
        stage.tell("alarms", 1)
        stage.until("waiting", 0)  # every unit has found its worker
        told = sustained(stage, seconds, ROWS_A_MESSAGE)
        durable_s = _alarms_durable(stage)
        memory_mb = stage.memory_mb() / workers
    name = f"PostgreSQL, {workers} workers"
    target = "10,000 or more"
    return [
        figure(PART, f"{name}: records a second", "1/s", [told["a_second"]], target),
        figure(PART, "of one core of the workers", "1/s", [told["a_core_second"]]),
        figure(PART, "cores that they had", "", [told["cores"]]),
        figure(PART, "message to receipt, p99", "s", [told["receipt_p99_s"]]),
        figure(PART, f"salt: {size.units * INSULATORS} alarms durable", "s", [durable_s]),
        figure(PART, "memory of a worker", "MB", [memory_mb]),
    ]


def _alarms_durable(stage: Stage) -> float:
    begun_s = time.monotonic()
    stage.tell("alarms", INSULATORS)
    stage.until("waiting", 0)
    return time.monotonic() - begun_s


def load(folder: Path, size: Size, seconds: float, times: int, history: str = "") -> list[Figure]:
    """All of it on one gateway. history: see `staged`."""
    name = "PostgreSQL" if history else "SQLite"
    with staged(folder, size, history) as stage:
        told = sustained(stage, seconds, ROWS_A_MESSAGE)
        live = sustained(stage, seconds, INSULATORS)
        rows = 0 if history else held_is_there(stage, folder)
        waits = publish_to_console(stage, times)
        online_s, answered_s = reconnect_storm(stage)
        durable_s, shown_s, pages = salt_storm(stage)
        memory_mb = stage.memory_mb()

    def line(what: str, unit: str, amount: float, target: str = "") -> Figure:
        return figure(PART, f"{name}: {what}", unit, [amount], target)

    return [
        line("records a second, backlog", "1/s", told["a_second"], "5,000 or more"),
        line("the same, of one core of the gateway", "1/s", told["a_core_second"]),
        line("cores that the gateway had", "", told["cores"]),
        line("message to receipt, p99", "s", told["receipt_p99_s"]),
        line("records a second, a minute a message", "1/s", live["a_second"]),
        line("the same, of one core of the gateway", "1/s", live["a_core_second"]),
        line("rows counted against receipts", "", rows),
        line("publish to console, p50", "s", percentile(waits, 50), "under 1"),
        line("publish to console, p99", "s", percentile(waits, 99)),
        line(f"broker back: {size.units} units online", "s", online_s),
        line("broker back: all answered", "s", answered_s),
        line(f"salt: {size.units * INSULATORS} alarms durable", "s", durable_s),
        line("salt: all of them in the console", "s", shown_s),
        line("salt: alarm list meanwhile, longest", "s", max(pages)),
        line("memory of the gateway", "MB", memory_mb),
    ]
