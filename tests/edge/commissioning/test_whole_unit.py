"""A unit commissioned from end to end: sensors on a line, a real broker, the real gateway."""

from __future__ import annotations

import json
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import ExitStack, closing
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from edge.clock import read_clock
from edge.commissioning.conducting import Asked, conduct
from edge.commissioning.standing import WITNESS_FILE, is_in_service
from edge.commissioning.table import STEPS
from edge.daemon.running import read_settings
from edge.settings import parse_settings
from tests.broker import Broker, free_port
from tests.edge.commissioning import rig
from tests.edge.commissioning.rig import Sensors, Worker

HAND_S = 0.5
"""A hand takes its time, and the unit has noticed by then that the broker has ended."""


@dataclass(frozen=True)
class Site:
    folder: Path
    worker: Worker
    asked: Asked
    code: int


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """A unit that has been commissioned, step by step, by one person who does all that is asked.

    The broker ends just before the last injection is taken away: by then the alarm's receipt must
    be there, for the time that a hand takes is not the alarm's.
    """
    folder = tmp_path_factory.mktemp("whole")
    clock = rig.fast_clock()
    (folder / "clock.json").write_text(json.dumps(clock))
    with ExitStack() as stack:
        broker = Broker(folder)
        broker.start()
        stack.callback(broker.stop)
        (folder / "edge.toml").write_text(rig.settings_text(folder, broker.port))
        ready = stack.enter_context(rig.gateway(folder, broker.port, free_port(), clock))
        sensors = Sensors(folder / "port")
        stack.callback(sensors.close)
        worker = Worker(sensors, broker, ready)
        take_away = worker.hands["Take the injection away"]

        def slowly() -> None:
            broker.stop()
            threading.Event().wait(HAND_S)
            take_away()

        worker.hands["Take the injection away"] = slowly
        asked = Asked(settings=folder / "edge.toml", clock=folder / "clock.json", wait_s=40.0)
        code = conduct(asked, worker)
        yield Site(folder, worker, asked, code)


def alarms(folder: Path) -> list[str]:
    """What the gateway's history has of conditions."""
    store = folder / "history" / "gannet-stack.sqlite3"
    with closing(sqlite3.connect(f"file:{store}?mode=ro", uri=True)) as db:
        found = db.execute("SELECT word FROM condition JOIN words ON alarm = id ORDER BY seq")
        return [word for (word,) in found]


def test_a_sound_unit_passes_every_step_and_may_go_into_service(site: Site) -> None:
    assert site.code == 0, "\n".join(site.worker.shown)
    witness = rig.written(site.folder, WITNESS_FILE)
    assert [one["step"] for one in witness["steps"]] == [one.id for one in STEPS]
    assert {one["verdict"] for one in witness["steps"]} == {"passed"} and witness["in_service"]
    settings = read_settings(site.folder / "edge.toml")
    assert is_in_service(site.folder / "data", settings)
    assert read_clock(site.folder / "clock.json").is_affine
    moved = rig.settings_text(site.folder, 1).replace("above the end fitting", "elsewhere")
    assert not is_in_service(site.folder / "data", parse_settings(moved, "edge.toml"))


def readings(site: Site, step: str) -> dict[str, float]:
    steps = rig.written(site.folder, WITNESS_FILE)["steps"]
    (found,) = [one for one in steps if one["step"] == step]
    return {one["name"]: one["figure"] for one in found["readings"]}


def test_the_readings_are_what_the_line_gave(site: Site) -> None:
    gains = [f for name, f in readings(site, "gain").items() if name.startswith("shown")]
    assert gains == pytest.approx([1.0] * 5, abs=0.005)
    assert readings(site, "bypass-wet") == {
        "share of the current that is collected": pytest.approx(0.95, abs=0.005)
    }
    assert readings(site, "polarity")["current leads the voltage by"] == pytest.approx(88, abs=1)
    assert readings(site, "noise")["noise, r.m.s."] == pytest.approx(0.004, rel=0.2)
    assert readings(site, "lead-off")["current without the lead to before"] < 0.1
    assert readings(site, "link")["records held while away"] >= 3


def test_the_alarm_and_the_back_filled_records_are_in_the_gateways_history(site: Site) -> None:
    store = site.folder / "history" / "gannet-stack.sqlite3"
    with closing(sqlite3.connect(f"file:{store}?mode=ro", uri=True)) as db:
        tests = db.execute(
            "SELECT detail FROM unit_event JOIN words ON event = id "
            "WHERE word = 'commissioning-test' ORDER BY seq"
        ).fetchall()
    # One of the link test, three while the uplink was away, one of the alarm's step.
    numbers = [json.loads(detail)["number"] for (detail,) in tests]
    assert numbers == [0, 0, 1, 2, 0]
    assert "over-range" in alarms(site.folder)


def test_the_paper_says_the_same_and_carries_the_hash(site: Site) -> None:
    paper = (site.folder / "data" / WITNESS_FILE).with_suffix(".pdf").read_bytes()
    assert paper.startswith(b"%PDF-") and len(paper) > 3_000


def test_cautions_stand_before_what_can_hurt(site: Site) -> None:
    shown = site.worker.shown
    for words, caution in (
        ("Point 1", "The injected current can be felt and can hurt"),
        (
            "take the collector lead off",
            "Never open a collector lead while the ring is not earthed",
        ),
        ("Spray ring", "Never wet an energised or arcing insulator"),
    ):
        at = next(n for n, line in enumerate(shown) if words in line and "CAUTION" not in line)
        title = max(n for n, line in enumerate(shown[:at]) if line.startswith("\n=="))
        assert any(caution in line for line in shown[title:at])


def test_a_step_repeated_and_failed_takes_the_unit_out_of_service(site: Site) -> None:
    site.worker.answers["witness"] = site.worker.answers["fitter"]
    assert conduct(replace(site.asked, steps=("people",)), site.worker) == 10
    assert rig.written(site.folder, WITNESS_FILE)["in_service"] is False
    settings = read_settings(site.folder / "edge.toml")
    assert not is_in_service(site.folder / "data", settings)
