"""Addresses are never used twice; what a point says, and how good it is."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.quantities import Flag, State
from edge.records import Condition, IntervalRow, Letter
from gateway.alarms.journal import Entry, Point, What
from gateway.alarms.memory import AlarmList
from gateway.books import BookLine
from gateway.console.picture import picture
from gateway.console.summary import Summary, fold
from gateway.outstation.asdu import Quality, Reading, object_bytes, time_bytes
from gateway.outstation.points import PointList, PointsFault, Subject, csv_text
from gateway.outstation.points import fold as fold_points
from gateway.outstation.readings import of_entry, of_gateway, of_picture, of_row
from gateway.outstation.station import EVENTS_MAX, confirmed, observed
from gateway.outstation.table import BLOCK, SLOTS, Kind, Of
from gateway.settings import Site, Unit
from tests.gateway.alarms.build import Story, at
from tests.gateway.build import (
    MINUTE_US,
    START_US,
    UNIT,
    commit,
    condition,
    epoch_start,
    health,
    interval,
    key,
)
from tests.gateway.outstation.build import POINTS, REGISTER, SITE, address, listed, reading, station

NONE, IV, NT, OV, BL = (
    Quality.GOOD,
    Quality.INVALID,
    Quality.NOT_TOPICAL,
    Quality.OVERFLOW,
    Quality.BLOCKED,
)

registers = st.dictionaries(
    st.sampled_from(("north-head", "gull-rock")),
    st.dictionaries(
        st.sampled_from(("m1", "m2")),
        st.lists(st.sampled_from(("A1", "B2", "C3", "D4")), max_size=3, unique=True),
        max_size=2,
    ),
    min_size=1,
    max_size=2,
)


@given(st.lists(registers, max_size=6))
def test_an_address_that_was_ever_given_out_is_never_anothers(
    drawn: list[dict[str, dict[str, list[str]]]],
) -> None:
    held, owner = PointList(), dict[int, tuple[Subject, str]]()
    for one in drawn:
        register = {
            site: Site(units={m: Unit(insulators=tuple(own)) for m, own in units.items()})
            for site, units in one.items()
        }
        held = listed(register, held)
        for of, subject, slot in held.points():
            assert owner.setdefault(of, (subject, slot.name)) == (subject, slot.name)
        wanted = {(site, m) for site, units in one.items() for m in units}
        assert {s.name for _, s, _ in held.points() if s.of is Of.UNIT} == {
            f"{site}.{m}" for site, m in wanted
        }


def test_every_slot_has_a_place_of_its_own_within_the_block() -> None:
    for slots in SLOTS.values():
        places = [one.place for one in slots]
        assert len(set(places)) == len(places) and max(places) < BLOCK
        assert len({one.name for one in slots}) == len(slots)


def test_a_book_that_gives_a_number_twice_is_refused() -> None:
    bodies = [
        b'{"in_use":true,"name":"a/A1","number":0,"of":"insulator"}',
        b'{"in_use":true,"name":"a/B2","number":0,"of":"insulator"}',
    ]
    with pytest.raises(PointsFault, match="another's"):
        fold_points(PointList(), [BookLine(n, START_US, body) for n, body in enumerate(bodies, 1)])


def test_the_exported_list_has_version_types_and_retired_points() -> None:
    smaller = {SITE: Site(units={"m1": Unit(insulators=("A1",))})}
    text = csv_text(listed(smaller, POINTS), 7)
    head, _, rest = text.partition("\n")
    assert head.startswith(f"# version {POINTS.version + 1}, common address 7")
    assert "not for trip" in head
    rows = list(csv.DictReader(io.StringIO(rest)))
    assert len({row["address"] for row in rows}) == len(rows)
    retired = {row["subject"] for row in rows if row["in_use"] == "retired"}
    assert retired == {f"{SITE}/B2"}
    (rms,) = [row for row in rows if (row["subject"], row["point"]) == (f"{SITE}/A1", "rms")]
    assert (rms["type"], rms["type_timed"], rms["unit"]) == ("13", "36", "mA")


def said(row: IntervalRow, late_min: float = 0) -> dict[str, Reading]:
    now_us = row.start_us + row.duration_us + round(late_min * MINUTE_US)
    names = {of: slot.name for of, subject, slot in POINTS.points() if subject.name.endswith("A1")}
    return {names[of]: found for of, found in of_row(POINTS, SITE, row, now_us, 123)}


@pytest.mark.parametrize(
    ("changes", "quality", "doubtful"),
    [
        ({}, NONE, False),
        ({"flags": (Flag.SENSOR_FAULT,)}, IV, False),
        ({"state": State.UNKNOWN}, IV, False),
        ({"flags": (Flag.SATURATED,)}, OV, False),
        ({"flags": (Flag.CLOCK_UNSYNCHRONISED,)}, NONE, True),
    ],
)
def test_the_quality_of_a_measured_value_is_that_of_its_row(
    changes: dict[str, object], quality: Quality, doubtful: bool
) -> None:
    found = said(interval(**{"flags": (), **changes}))
    assert found["rms"] == Reading(3.0, quality, START_US + MINUTE_US, doubtful)
    assert found["peak"].amount == 12.345
    assert found["arcing-total"].amount == 123


def test_a_value_that_could_not_be_said_is_invalid_and_never_zero_and_good() -> None:
    assert said(interval(rms_na=None, flags=()))["rms"].quality == IV


def test_a_row_that_came_late_counts_and_is_no_live_value() -> None:
    assert set(said(interval(flags=()), late_min=20)) == {"arcing-total"}


def shown(minute: float, story: Story | None = None, with_rows: bool = True) -> dict[int, Reading]:
    """All points by the picture, so many minutes after the rows of minute 0."""
    summary = Summary()
    if with_rows:
        rows = [interval(0, one, flags=()) for one in ("A1", "B2")]
        for stream in (rows, [health(0, letter=Letter.MAINTENANCE)]):
            summary = fold(summary, SITE, commit(1, [epoch_start(), *stream], key()))
    told = picture(summary, REGISTER, START_US + round(minute * MINUTE_US), 3 * MINUTE_US)
    lists = {SITE: AlarmList(SITE) if story is None else story.held}
    return dict(of_picture(POINTS, told, lists))


def test_what_has_grown_old_is_not_topical_and_keeps_its_value() -> None:
    fresh, old = shown(2), shown(30)
    assert (fresh[address("rms")].quality, old[address("rms")].quality) == (NONE, NT)
    assert fresh[address("rms")].amount == old[address("rms")].amount == 3.0
    unit = Subject(Of.UNIT, UNIT)
    assert fresh[address("letter-M", unit)].amount == 1
    assert old[address("letter-M", unit)].quality == NT
    assert address("rms") not in shown(2, with_rows=False)


def test_a_state_says_what_the_alarm_list_says_and_lost_data_makes_it_invalid() -> None:
    story = Story()
    story.hear(0)
    assert shown(1, story)[address("arcing")] == Reading(1, NONE, START_US + MINUTE_US)
    story.hear(1, Condition.UNKNOWN, since_us=at(1))
    assert shown(1, story)[address("arcing")].quality == IV
    late = Story()
    late.units = {}
    late.hear(-60, came=0)
    assert shown(1, late)[address("arcing")].amount == 0


def entry(change_: Condition, **more: object) -> Entry:
    change = condition(3, change_, **more)
    point = Point(UNIT, change.alarm, change.subject)
    return Entry(at_us=START_US, what=What.HEARD, who=UNIT, point=point, change=change)


def test_a_condition_that_turns_has_its_own_time_and_a_latched_one_stays_until_reset() -> None:
    ((of, found),) = of_entry(POINTS, SITE, entry(Condition.IN))
    assert (of, found) == (address("arcing"), Reading(1, NONE, START_US + 3 * MINUTE_US))
    out = entry(Condition.OUT, alarm="flashover-suspected", latched=True)
    ((of, found),) = of_entry(POINTS, SITE, out)
    assert (of, found.amount) == (address("flashover-suspected"), 1)
    reset = Entry(at_us=START_US, what=What.RESET, who="mk", point=out.point)
    assert [one.amount for _, one in of_entry(POINTS, SITE, reset)] == [0]
    assert list(of_entry(POINTS, SITE, entry(Condition.UNKNOWN))) == []


def test_the_heartbeat_turns_over_each_minute_and_stands_still_while_the_gateway_is_deaf() -> None:
    beat, count = (
        address(name, Subject(Of.GATEWAY, "")) for name in ("heartbeat", "heartbeat-count")
    )
    first, second = (dict(of_gateway(POINTS, at(n), False, 0)) for n in (0, 1))
    assert first[beat].amount != second[beat].amount
    assert second[count].amount == first[count].amount + 1
    assert beat not in dict(of_gateway(POINTS, at(2), True, 0))


def test_an_event_is_made_outside_the_deadband_and_for_quality_alone() -> None:
    peak = address("peak")
    kept = observed(station(), [(peak, reading(10.0))])
    kept = confirmed(kept, kept.numbers)
    assert observed(kept, [(peak, reading(10.4))]) is kept
    assert observed(kept, [(peak, reading(10.0, 9))]) is kept
    assert len(observed(kept, [(peak, reading(11.1))]).events) == 1
    assert len(observed(kept, [(peak, reading(10.0, 0, OV))]).events) == 1


def test_a_buffer_that_overflows_keeps_the_newest_and_counts_what_it_lost() -> None:
    arcing = address("arcing")
    kept = observed(
        station(), [(arcing, reading(n % 2 == 0, n / 1000)) for n in range(EVENTS_MAX + 7)]
    )
    assert (len(kept.events), kept.lost) == (EVENTS_MAX, 7)
    assert kept.events[0].number == 8
    assert [one.number for one in kept.after(99_000, 3)] == [99_001, 99_002, 99_003]


def test_numbers_that_cannot_be_sent_are_invalid_and_counters_wrap_with_a_carry() -> None:
    for amount in (float("nan"), float("inf"), 1e39):
        octets = object_bytes(Kind.MEASURED, 1, reading(amount))
        assert octets[-5:] == b"\x00\x00\x00\x00\x80"
    octets = object_bytes(Kind.COUNTER, 1, reading((1 << 31) + 5))
    assert octets[3:7] == (5).to_bytes(4, "little") and octets[7] & 0x20


def test_a_doubtful_time_carries_its_invalid_bit() -> None:
    octets = time_bytes(Reading(1, NONE, START_US + 61_234_000, True))
    assert octets == bytes((1234 % 256, 1234 // 256, 1 | 0x80, 0, 24 | 2 << 5, 11, 26))
