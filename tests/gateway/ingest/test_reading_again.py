"""What an older version kept whole takes its place once it can be read."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from edge.wire import SCHEMA_VERSION
from gateway.history.chunks import WEEK_US
from gateway.history.retention import SiteThinner
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import Entry, Mark, StreamKey
from gateway.ingest.intake import Arrival, Intake
from gateway.ingest.reading_again import read_again
from tests.gateway.build import START_US, epoch_start, interval, key, message, topic

SITE = "north-head"
LATER = f'"v":{SCHEMA_VERSION + 1}'.encode()
NOW = f'"v":{SCHEMA_VERSION}'.encode()


@pytest.fixture
def history(tmp_path: Path) -> SqliteHistory:
    return SqliteHistory(tmp_path)


@pytest.fixture
def intake(history: SqliteHistory) -> Iterator[Intake]:
    """The second of three messages is of a later schema."""
    intake = Intake(history, [SITE], lambda *_: None)
    messages = (
        message(1, [epoch_start(), interval(1)]),
        message(3, [interval(2), interval(3)]).replace(NOW, LATER),
        message(5, [interval(4)]),
    )
    for at_us, payload in enumerate(messages, 1):
        (standing,) = intake.commit([Arrival(topic(), payload, False, at_us)], at_us)
    assert standing.upto == 5
    yield intake
    intake.close()


def stored(history: SqliteHistory) -> tuple[list[Entry], dict[StreamKey, Mark]]:
    reader = history.reader(SITE)
    try:
        return reader.lines(key()), reader.marks()
    finally:
        reader.close()


def upgrade(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("edge.wire.SCHEMA_VERSION", SCHEMA_VERSION + 1)


def test_before_the_upgrade_nothing_changes(history: SqliteHistory, intake: Intake) -> None:
    assert read_again(history, intake, [SITE]) == 0
    assert [line.seq for line in stored(history)[0]] == [1, 2, 5]


def test_after_the_upgrade_every_line_is_in_its_place_and_no_mark_has_moved(
    history: SqliteHistory, intake: Intake, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, before = stored(history)
    upgrade(monkeypatch)
    assert read_again(history, intake, [SITE]) == 2
    lines, marks = stored(history)
    assert [line.seq for line in lines] == [1, 2, 3, 4, 5] and marks == before
    assert [line.record for line in lines[2:4]] == [interval(2), interval(3)]
    reader = history.reader(SITE)
    assert reader.raw_messages() == []  # in its place now, and nowhere else
    reader.close()


def test_reading_again_a_second_time_changes_nothing(
    history: SqliteHistory, intake: Intake, monkeypatch: pytest.MonkeyPatch
) -> None:
    upgrade(monkeypatch)
    read_again(history, intake, [SITE])
    lines, marks = stored(history)
    assert read_again(history, intake, [SITE]) == 0
    assert stored(history) == (lines, marks)


def test_what_was_thinned_since_does_not_come_back(
    history: SqliteHistory, intake: Intake, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else each start of the gateway would add the same minutes to the exposure once more."""
    upgrade(monkeypatch)
    read_again(history, intake, [SITE])
    thinner = intake.writer(SITE)
    assert isinstance(thinner, SiteThinner)
    assert thinner.thin(START_US + 2 * WEEK_US).rows_before == 4
    before = exposure(history)
    assert read_again(history, intake, [SITE]) == 0
    assert exposure(history) == before


def exposure(history: SqliteHistory) -> dict[str, int]:
    reader = history.reader(SITE)
    try:
        return dict(reader.exposure("A1", 0, 1 << 62))
    finally:
        reader.close()
