"""The stream: told soon, gathered, resumed after a break, anew where too much was missed."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from gateway.accounts.roles import Role
from gateway.console.feed import RING_MAX, Feed
from tests.gateway.build import condition, epoch_start
from tests.gateway.console.house import House

WAIT_S = 20.0


@dataclass(frozen=True)
class Event:
    kind: str
    name: str
    told: dict[str, Any]


def read(piece: bytes) -> Event:
    lines = dict(line.split(": ", 1) for line in piece.decode().strip().splitlines())
    return Event(lines["event"], lines.get("id", ""), json.loads(lines["data"]))


async def heard(stream: AsyncIterator[bytes], count: int) -> list[Event]:
    return [read(await asyncio.wait_for(anext(stream), WAIT_S)) for _ in range(count)]


def listen(feed: Feed, last: str = "") -> AsyncIterator[bytes]:
    return feed.listen(last, lambda: 7, lambda: True)


def test_a_page_is_greeted_with_the_time_and_then_told_of_changes() -> None:
    async def story() -> None:
        feed = Feed()
        stream = listen(feed)
        (hello,) = await heard(stream, 1)
        assert (hello.kind, hello.told) == ("hello", {"now_us": 7})
        feed.touch(["site:a"])
        (change,) = await heard(stream, 1)
        assert (change.kind, change.told) == ("change", {"topics": ["site:a"]})
        assert change.name != hello.name

    asyncio.run(story())


def test_changes_that_come_together_are_told_as_one() -> None:
    async def story() -> None:
        feed = Feed()
        stream = listen(feed)
        await heard(stream, 1)
        for number in range(200):
            feed.touch([f"site:{number % 3}", "alarms"])
        (change,) = await heard(stream, 1)
        assert change.told["topics"] == ["alarms", "site:0", "site:1", "site:2"]

    asyncio.run(story())


def test_after_a_break_a_page_hears_exactly_what_it_missed() -> None:
    async def story() -> None:
        feed = Feed()
        first = listen(feed)
        feed.touch(["site:a"])
        (hello,) = await heard(first, 1)
        feed.touch(["site:b"])
        (seen,) = await heard(first, 1)
        feed.touch(["site:c"])
        await heard(first, 1)
        again, change = await heard(listen(feed, seen.name), 2)
        assert (again.kind, change.told["topics"]) == ("hello", ["site:c"])
        again, change = await heard(listen(feed, hello.name), 2)
        assert change.told["topics"] == ["site:b", "site:c"]

    asyncio.run(story())


@pytest.mark.parametrize(
    "last", ["other.1", "nonsense", ".", "0" * 64, "x.-1", "x.999999999999999999"]
)
def test_a_page_from_before_a_restart_is_told_to_look_at_everything_anew(last: str) -> None:
    async def story() -> None:
        feed = Feed()
        feed.touch(["site:a"])
        (anew,) = await heard(listen(feed, last), 1)
        assert anew.kind == "anew"

    asyncio.run(story())


def test_a_page_that_missed_more_than_is_remembered_is_told_so() -> None:
    async def story() -> None:
        feed = Feed()
        stream = listen(feed)
        (hello,) = await heard(stream, 1)
        for _ in range(RING_MAX + 2):
            feed.touch(["site:a"])
            feed._tell()
        (anew,) = await heard(listen(feed, hello.name), 1)
        assert anew.kind == "anew"

    asyncio.run(story())


def test_a_stream_ends_when_its_session_does_and_when_the_gateway_does() -> None:
    async def story() -> None:
        feed, allowed = Feed(), [True]
        stream = feed.listen("", lambda: 7, lambda: allowed[0])
        await heard(stream, 1)
        allowed[0] = False
        with pytest.raises(StopAsyncIteration):
            await asyncio.wait_for(anext(stream), WAIT_S)
        stream = listen(feed)
        await heard(stream, 1)
        feed.close()
        with pytest.raises(StopAsyncIteration):
            await asyncio.wait_for(anext(stream), WAIT_S)
        assert feed.readers == 0

    asyncio.run(story())


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = House(tmp_path, accounts=True)
    made.account("viewer", Role.VIEWER)
    yield made
    made.close()


def test_a_commit_is_heard_over_the_network_within_a_second(house: House) -> None:
    client = house.client("viewer")
    with client.stream("GET", "/stream") as answer:
        assert answer.headers["content-type"].startswith("text/event-stream")
        pieces = answer.iter_text()
        assert "event: hello" in next(pieces)
        house.commit(epoch_start(), condition(1))
        text = next(pieces)
        assert '"topics":["alarms","site:north-head"]' in text
    client.close()


def test_the_stream_is_not_for_strangers(house: House) -> None:
    with house.client() as client:
        answer = client.get("/stream")
        assert answer.status_code == 303 and answer.headers["location"].startswith("/sign-in")


def test_a_live_part_is_sent_only_when_it_differs_from_what_the_page_has(house: House) -> None:
    client = house.client("viewer")
    part = {"x-seafret-part": "1"}
    first = client.get("/alarms", headers=part)
    assert "No alarm stands" in first.text and "<html" not in first.text
    have = {**part, "x-seafret-have": first.headers["x-seafret-have"]}
    assert client.get("/alarms", headers=have).status_code == 204
    house.commit(epoch_start(), condition(1))
    second = client.get("/alarms", headers=have)
    assert second.status_code == 200 and "north-head.1" in second.text
    client.close()


def test_live_parts_hold_no_key_of_anybodys_forms(house: House) -> None:
    house.account("operator", Role.OPERATOR)
    house.commit(epoch_start(), condition(1))
    client = house.client("operator")
    key = house.form_key(client)
    for path in ("/", "/alarms", "/alarms/north-head.1", "/sites/north-head", "/units", "/journal"):
        assert key not in client.get(path, headers={"x-seafret-part": "1"}).text
        assert key in client.get(path).text
    client.close()
