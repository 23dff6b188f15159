"""Two units with one name: seen, never merged in silence, and nothing of either vanishes."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

from edge.records import Record, Stream
from edge.wire import read_record
from gateway.history.sqlite_store import SqliteHistory
from tests.broker import Broker
from tests.campaigns.chain import Chain
from tests.campaigns.gate import SITE
from tests.campaigns.numbered import number_of, numbers
from tests.campaigns.trial import Trial
from tests.campaigns.unit_process import told_in

EACH = 300


def carried_by_epoch(history: Path) -> dict[str, dict[Stream, list[int]]]:
    """The numbers that each epoch carries in each stream, in order."""
    found: dict[str, dict[Stream, list[int]]] = {}
    with closing(SqliteHistory(history).reader(SITE)) as reader:
        for key in reader.marks():
            carried = [number_of(line.record) for line in reader.lines(key)]
            kept = [number for number in carried if number is not None]
            found.setdefault(key.epoch, {})[key.stream] = kept
    return found


def test_two_daemons_with_one_name_are_seen_and_both_records_are_whole(
    tmp_path: Path, broker: Broker
) -> None:
    """They throw each other out of the broker, over and over; each has an epoch of its own."""
    (double := tmp_path / "double").mkdir()
    options = ("--until", str(EACH), "--rate", "100", "--burst", "20")
    with Trial(tmp_path, broker, unit=options) as trial:
        trial.start_gateway()
        trial.start_unit()
        trial.start_double(double, options)
        trial.await_told(lambda told: told.made >= EACH <= told_in(double).made)
        trial.await_told(lambda told: told.is_receipted() and told_in(double).is_receipted())
        assert [trial.end(name) for name in ("double", "unit", "gateway")] == [0, 0, 0]
        told, of_double = trial.told(), told_in(double)
    found = carried_by_epoch(trial.history_folder)
    print(f"{len(found)} epochs; told of the other: {told.notices} and {of_double.notices} times")
    assert len(found) == 2
    for carried in found.values():
        assert {stream: kept for stream, kept in carried.items() if kept} == {
            stream: numbers(stream, EACH)
            for stream in (Stream.ALARM, Stream.HEALTH, Stream.INTERVAL)
        }
    with closing(SqliteHistory(trial.history_folder).reader(SITE)) as reader:
        events = {one.event for one in reader.security_events()}
    assert events & {"epoch-unchained", "epoch-returned"}, events


def test_a_copied_card_conflicts_and_every_record_that_does_not_enter_is_kept_beside(
    tmp_path: Path,
) -> None:
    """The same epoch goes on in two places: the same numbers, other records."""
    (one := tmp_path / "one").mkdir()
    chain = Chain(one)
    with chain.opened() as file:
        chain.make(file, 60)
        chain.deliver(file)
    double = Chain.beside(chain, tmp_path / "two")
    double.made += 100_000
    for each in (chain, double):
        with each.opened() as file:
            assert file.new_epoch == ""
            each.make(file, 40)
            each.deliver(file)
    with closing(SqliteHistory(chain.history).reader(SITE)) as reader:
        held = {number_of(line.record) for key in reader.marks() for line in reader.lines(key)}
        beside = {number_of(kept) for kept in map(read_any, reader.refusals()) if kept}
        events = {one.event: one.count for one in reader.security_events()}
    made = {*range(100), *range(100_060, 100_100)}
    print(f"{len(made)} made, {len(held & made)} held, {len(beside & made)} kept beside")
    assert made <= held | beside
    assert not held & beside - {None}
    assert events["conflict"] > 0


def read_any(refused: object) -> Record | None:
    """The record of a refused line; None where the whole message was refused."""
    payload, reason = refused.payload, refused.reason  # type: ignore[attr-defined]
    return read_record(payload) if reason == "conflict" else None
