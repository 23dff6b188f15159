"""A heartbeat that rests on what the other threads do, and figures that a collector can read."""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest
from prometheus_client.parser import text_string_to_metric_families

from edge.records import Stream
from gateway.console.alarm_picture import alarms_told
from gateway.console.picture import picture
from gateway.console.present import around_sites
from gateway.console.sources import Standing
from gateway.console.summary import Summary, fold
from gateway.outward_settings import Heartbeat
from gateway.watch.heartbeat import Beats, Heart
from gateway.watch.metrics import Figures, metrics_text
from gateway.watch.soundness import STILL_S, Signs, turned, unsound
from tests.gateway.alarms.build import Story
from tests.gateway.build import (
    MINUTE_US,
    START_US,
    UNIT,
    commit,
    epoch_start,
    health,
    interval,
    key,
)
from tests.gateway.notices.receiving import WebHook
from tests.gateway.outstation.build import REGISTER, SITE


@pytest.fixture
def hook() -> Iterator[WebHook]:
    hook = WebHook()
    yield hook
    hook.close()


class Body:
    """What a heart rests on, and what it says."""

    def __init__(self, hook: WebHook) -> None:
        self.connected, self.fault, self.rounds, self.now_s = True, "", 0, 0.0
        self.said: list[dict[str, object]] = []
        self.heart = Heart(
            Heartbeat(ping_url=f"http://127.0.0.1:{hook.port}/alive"),
            lambda: Signs(self.connected, self.fault, {"ingest": self.rounds}),
            lambda payload: self.said.append(json.loads(payload)),
            lambda: START_US,
            lambda: self.now_s,
        )

    def beat(self, seconds: float = 60.0, rounds: int = 30) -> Beats:
        self.now_s += seconds
        self.rounds += rounds
        self.heart.beat()
        return self.heart.beats


def test_a_sound_gateway_pings_and_retains_its_beat(hook: WebHook) -> None:
    body = Body(hook)
    beats = body.beat()
    assert hook.pings.get(timeout=20) == "/alive"
    assert (beats.pings, beats.ping_fault, beats.why_not) == (1, "", ())
    assert body.said[-1]["state"] == "sound" and body.said[-1]["every_ms"] == 60_000


@pytest.mark.parametrize("cause", ["broker", "store", "thread"])
def test_an_unsound_gateway_does_not_ping_and_says_why(hook: WebHook, cause: str) -> None:
    body = Body(hook)
    body.beat()
    hook.pings.get(timeout=20)
    body.connected = cause != "broker"
    body.fault = "disk full" if cause == "store" else ""
    beats = body.beat(rounds=0 if cause == "thread" else 5)
    word = {"broker": "not connected", "store": "disk full", "thread": "stands still"}[cause]
    assert word in " ".join(beats.why_not)
    assert hook.pings.empty() and beats.pings == 1
    assert body.said[-1]["state"] == "unsound"
    body.connected, body.fault = True, ""
    assert body.beat().why_not == ()


def test_a_watching_service_that_refuses_is_told(hook: WebHook) -> None:
    body = Body(hook)
    hook.status = 503
    assert "503" in body.beat().ping_fault
    assert body.heart.beats.pinged_us == 0


def test_a_thread_is_still_only_after_half_a_minute() -> None:
    signs = Signs(True, "", {"alarms": 7})
    turns = turned({}, signs.rounds, 100.0)
    assert unsound(signs, turned(turns, signs.rounds, 120.0), 100.0 + STILL_S - 0.1) == ()
    assert unsound(signs, turned(turns, signs.rounds, 120.0), 100.0 + STILL_S) != ()
    again = turned(turns, {"alarms": 8}, 131.0)
    assert unsound(signs, again, 131.0) == ()


def test_the_figures_are_what_the_picture_and_the_alarm_list_say() -> None:
    story, summary = Story(), Summary()
    story.hear(0)
    for records in ([interval(0, "A1", flags=())], [health(0, backlog=17)]):
        summary = fold(summary, SITE, commit(1, [epoch_start(), *records], key(Stream.INTERVAL)))
    seen = picture(summary, REGISTER, START_US + 2 * MINUTE_US, 3 * MINUTE_US)
    lists = {SITE: story.held}
    figures = Figures(
        picture=seen,
        alarms=alarms_told(lists, around_sites(seen), seen.now_us),
        standing=Standing(False, "disk full"),
        refused=3,
        noticed=0,
        beats=Beats(why_not=("disk full",)),
        extra=(("limits_fault", "help", {"unit": UNIT}, 1.0),),
    )
    found = {
        (one.name, *one.labels.values()): one.value
        for family in text_string_to_metric_families(metrics_text(lambda: figures).decode())
        for one in family.samples
    }
    assert found["seafret_insulators", SITE] == 2
    assert found["seafret_insulators_watched", SITE] == 1
    assert found["seafret_alarms", SITE, "new"] == 1
    assert found["seafret_unit_backlog", UNIT] == 17
    assert found["seafret_unit_data_age_seconds", UNIT] == 60
    assert found["seafret_store_ok",] == 0 and found["seafret_sound",] == 0
    assert found["seafret_refused_total",] == 3
    assert found["seafret_limits_fault", UNIT] == 1
