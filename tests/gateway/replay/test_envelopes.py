"""Raw envelopes, one a line, through deciding alone: in event order and as they came."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest

from edge.decide.evaluation import decision_order, step
from edge.decide.state import initial
from edge.records import HealthRow, IntervalRow, Record, Stream, WeatherRow
from edge.wire import body_line
from tests.gateway.build import message
from tests.gateway.commands.running import Ran, seafret
from tests.gateway.replay.stories import NAMES, PLAN, told

KINDS = {Stream.INTERVAL: IntervalRow, Stream.WEATHER: WeatherRow, Stream.HEALTH: HealthRow}


def messages(rows: list[Record]) -> list[bytes]:
    """In the order of sending: ten lines of one stream at a time, in turns."""
    found: list[tuple[int, bytes]] = []
    for stream, kind in KINDS.items():
        own = [row for row in rows if isinstance(row, kind)]
        for at in range(0, len(own), 10):
            piece = own[at : at + 10]
            found.append((decision_order(piece[-1])[0], message(at + 1, piece, stream)))
    return [line for _, line in sorted(found)]


@pytest.fixture
def feed(tmp_path: Path) -> Path:
    path = tmp_path / "unit.jsonl"
    rows = sorted(told(8, 500), key=decision_order)
    path.write_bytes(b"\n".join(messages(list(rows))) + b"\n")
    return path


def replayed(feed: Path, out: str, *options: str) -> Ran:
    return seafret("replay", feed, "--out", feed.parent / out, "--rate", "10000", *options)


def events(feed: Path, out: str) -> list[dict[str, object]]:
    lines = (feed.parent / out / "events.jsonl").read_bytes().splitlines()
    return [json.loads(line) | {"settings_sha": ""} for line in lines]


def test_event_order_decides_as_the_unit_did(feed: Path) -> None:
    assert replayed(feed, "out").code == 0

    def order(row: object) -> tuple[int, int, int, int]:
        place = NAMES.index(row.insulator) if isinstance(row, IntervalRow) else 0
        return *decision_order(row), place, row.start_us  # type: ignore[arg-type, attr-defined]

    state, said = initial(PLAN), []
    for row in sorted(told(8, 500), key=order):
        state, changes = step(state, row, PLAN)
        said += [json.loads(body_line(one)) | {"settings_sha": ""} for one in changes]
    assert len(said) > 5 and events(feed, "out") == said


def test_arrival_order_is_the_order_of_the_lines_and_is_stated(feed: Path) -> None:
    lines = feed.read_bytes().splitlines()
    late = [line for line in lines if b'"stream":"weather"' in line]
    rest = [line for line in lines if line not in late]
    feed.write_bytes(b"\n".join((*rest, *late)) + b"\n")  # the weather comes when all is over
    replayed(feed, "event")
    replayed(feed, "arrival", "--order", "arrival")
    manifest = json.loads((feed.parent / "arrival" / "run.json").read_text())
    assert manifest["order"] == "arrival"
    dry = [one for one in events(feed, "arrival") if one["alarm"] == "dry-air-current"]
    assert not dry  # the air was not known while the rows were decided on


def test_envelopes_that_come_again_change_nothing(feed: Path) -> None:
    replayed(feed, "once")
    lines = feed.read_bytes().splitlines()
    again = random.Random(1).sample(range(len(lines)), 20)
    twice = [line for at, line in enumerate(lines) for _ in range(1 + (at in again))]
    feed.write_bytes(b"\n".join(twice) + b"\n")
    ran = replayed(feed, "twice", "--order", "event")
    assert ran.code == 0 and "0 refused" in ran.said[-1]
    assert events(feed, "twice") == events(feed, "once")


def test_a_line_that_is_no_envelope_is_named_and_the_rest_is_decided(feed: Path) -> None:
    lines = feed.read_bytes().splitlines()
    feed.write_bytes(b"\n".join((lines[0], b"{nonsense", *lines[1:])) + b"\n")
    ran = replayed(feed, "out")
    assert ran.code == 64 and "unit.jsonl: line 2" in ran.said[0]
    replayed(feed, "same")
    assert seafret("verify", feed.parent / "out", "--inputs", feed).code == 0


def test_a_record_that_cannot_be_read_costs_its_own_row_and_is_named(feed: Path) -> None:
    lines = feed.read_bytes().splitlines()
    replayed(feed, "whole")
    torn = json.loads(lines[0])
    torn["records"][2]["body"]["kind"] = "of-tomorrow"
    feed.write_bytes(b"\n".join((json.dumps(torn).encode(), *lines[1:])) + b"\n")
    ran = replayed(feed, "torn")
    assert ran.code == 64 and "unit.jsonl: line 1, number 3" in ran.said[0]
    rows = [
        json.loads((feed.parent / out / "run.json").read_text())["counts"]["rows"]
        for out in ("whole", "torn")
    ]
    assert rows[1] == rows[0] - 1


def test_a_file_without_rows_is_told_in_words(tmp_path: Path) -> None:
    path = tmp_path / "empty.jsonl"
    path.write_text("")
    ran = replayed(path, "out")
    assert ran.code == 64 and "no row in it" in ran.said[0]
