"""What points say: from rows as they come, the journal as it grows, and the picture. Pure.

Rows and entries give every change its own time and its place in order; the picture then says what
nothing new was heard about: what has grown old, what is not watched, what was late.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from edge.quantities import Flag, State
from edge.records import Condition, IntervalRow, Letter, Span
from gateway.alarms.alarm_list import LATE_US
from gateway.alarms.journal import Entry, Point, What
from gateway.alarms.memory import AlarmList, Kept
from gateway.alarms.roll_up import arcing
from gateway.console.picture import (
    BLINDING_FLAGS,
    InsulatorTold,
    Liveliness,
    Picture,
    SiteTold,
    UnitTold,
)
from gateway.outstation.asdu import Kind, Quality, Reading
from gateway.outstation.points import PointList, Subject
from gateway.outstation.station import UNSAID
from gateway.outstation.table import SLOTS, Of

MINUTE_US = 60_000_000
Readings = Iterator[tuple[int, Reading]]

ARC_PULSE_100MA = 3
"""Place of the level of 100 mA among a row's pulse counts."""


def alarm_subject(site: str, point: Point) -> Subject:
    """What an alarm's point is about."""
    if point.subject:
        return Subject(Of.INSULATOR, f"{site}/{point.subject}")
    return Subject(Of.UNIT, point.unit) if point.unit else Subject(Of.SITE, site)


def of_entry(points: PointList, site: str, entry: Entry) -> Readings:
    """A condition that turned, with its own time. One that came late waits for the picture, which
    shows it once the alarm list tells it."""
    turned = entry.what is What.HEARD and entry.change is not None and not entry.late
    if not turned and entry.what is not What.RESET:
        return
    address = points.address(alarm_subject(site, entry.point), entry.point.alarm)
    if address is None:
        return
    if entry.what is What.RESET:
        yield address, Reading(0, Quality.GOOD, entry.at_us)
        return
    change = entry.change
    assert change is not None
    if change.condition is Condition.UNKNOWN:
        return
    stands = change.condition is Condition.IN or change.latched
    doubtful = Flag.CLOCK_UNSYNCHRONISED in change.flags
    yield address, Reading(int(stands), Quality.GOOD, change.at_us, doubtful)


def of_row(points: PointList, site: str, row: IntervalRow, now_us: int, total: int) -> Readings:
    """A minute of an insulator; one that came late adds to the counter only."""
    subject = Subject(Of.INSULATOR, f"{site}/{row.insulator}")
    late = now_us - row.start_us - row.duration_us > LATE_US
    amounts = {} if late or row.span is Span.TEN_SECONDS else _amounts(row)
    if row.span is not Span.TEN_SECONDS:
        amounts["arcing-total"] = total
    yield from _measured(points, subject, row, amounts, row_quality(row))


def row_quality(row: IntervalRow) -> Quality:
    """Of the values of a row."""
    if row.state is State.UNKNOWN or BLINDING_FLAGS & set(row.flags):
        return Quality.INVALID
    return Quality.OVERFLOW if Flag.SATURATED in row.flags else Quality.GOOD


def _amounts(row: IntervalRow) -> dict[str, float]:
    minutes = max(row.duration_us, 1) / MINUTE_US
    return {
        "rms": float("nan") if row.rms_na is None else row.rms_na / 1e6,
        "peak": row.peak_ua / 1e3,
        "arcing-rate": row.arcing_halfcycles / minutes,
        "arc-pulses": row.arc_pulses[ARC_PULSE_100MA] / minutes,
    }


def _measured(
    points: PointList,
    subject: Subject,
    row: IntervalRow,
    amounts: Mapping[str, float],
    quality: Quality,
) -> Readings:
    doubtful = Flag.CLOCK_UNSYNCHRONISED in row.flags
    for name, amount in amounts.items():
        address = points.address(subject, name)
        if address is None:
            continue
        own = quality | (Quality.INVALID if amount != amount else Quality.GOOD)
        shown = 0.0 if amount != amount else amount
        yield address, Reading(shown, own, row.start_us + row.duration_us, doubtful)


def of_picture(points: PointList, told: Picture, lists: Mapping[str, AlarmList]) -> Readings:
    """Everything but counters, as it is now."""
    live = {one.unit for one in told.units if one.liveliness is Liveliness.LIVE}
    for site in told.sites:
        yield from _site(points, site, lists.get(site.site, AlarmList(site.site)), told.now_us)
    for unit in told.units:
        yield from _unit(points, unit, lists.get(unit.site, AlarmList(unit.site)), told.now_us)
    for one in told.insulators:
        held = lists.get(one.site, AlarmList(one.site))
        yield from _insulator(points, one, held, one.unit in live, told.now_us)


def _site(points: PointList, site: SiteTold, held: AlarmList, now_us: int) -> Readings:
    subject = Subject(Of.SITE, site.site)
    weather = site.weather
    old = weather is None or now_us - weather.start_us > LATE_US
    weathered = Quality.NOT_TOPICAL if old else Quality.GOOD
    said: dict[str, tuple[float | None, Quality]] = {
        "insulators-arcing": (len(arcing(held)), Quality.GOOD),
        "insulators-watched": (site.watched, Quality.GOOD),
        "insulators-installed": (site.insulators, Quality.GOOD),
        "rh": (_scaled(weather.rh_cpct if weather else None, 100), weathered),
        "air": (_scaled(weather.air_cdegc if weather else None, 100), weathered),
        "wind": (_scaled(weather.wind_mm_s if weather else None, 1000), weathered),
    }
    for name, (amount, quality) in said.items():
        if (address := points.address(subject, name)) is not None:
            missing = Quality.INVALID if amount is None else Quality.GOOD
            yield address, Reading(amount or 0.0, quality | missing, now_us)
    yield from _alarms(points, subject, held, Point("", "", ""), Quality.GOOD, now_us)


def _scaled(units: int | None, scale: int) -> float | None:
    return None if units is None else units / scale


def _unit(points: PointList, unit: UnitTold, held: AlarmList, now_us: int) -> Readings:
    subject = Subject(Of.UNIT, unit.unit)
    fresh = unit.liveliness is Liveliness.LIVE
    for letter in (one for one in Letter if one.value):
        address = points.address(subject, f"letter-{letter.value}")
        if address is None:
            continue
        health = unit.health
        quality = Quality.GOOD if fresh else Quality.NOT_TOPICAL
        if health is None:
            yield address, UNSAID
        else:
            yield address, Reading(int(health.letter is letter), quality, now_us)
    yield from _alarms(points, subject, held, Point(unit.unit, "", ""), Quality.GOOD, now_us)


def _insulator(
    points: PointList, told: InsulatorTold, held: AlarmList, is_live: bool, now_us: int
) -> Readings:
    subject = Subject(Of.INSULATOR, f"{told.site}/{told.insulator}")
    row = told.row
    if row is None:
        return
    sound = row_quality(row)
    age = Quality.GOOD if told.watched or sound & Quality.INVALID else Quality.NOT_TOPICAL
    if row.span is not Span.TEN_SECONDS:
        yield from _measured(points, subject, row, _amounts(row), sound | age)
    doubt = Quality.GOOD if is_live else Quality.NOT_TOPICAL
    doubt |= sound & Quality.INVALID
    yield from _alarms(points, subject, held, Point(told.unit, "", told.insulator), doubt, now_us)


def _alarms(
    points: PointList, subject: Subject, held: AlarmList, about: Point, doubt: Quality, now_us: int
) -> Readings:
    for slot in SLOTS[subject.of]:
        if slot.kind is not Kind.STATE or slot.name.startswith("letter-"):
            continue
        address = points.address(subject, slot.name)
        if address is not None:
            kept = held.of(about._replace(alarm=slot.name))
            yield address, Reading(int(stands(kept)), doubt | _trust(kept), now_us)


def stands(kept: Kept) -> bool:
    """Whether an alarm is told as standing: not before the list itself tells one that was late."""
    return (kept.core.is_in or kept.core.latched) and not kept.late


def _trust(kept: Kept) -> Quality:
    lost = Quality.INVALID if kept.lost_since_us else Quality.GOOD
    return lost | (Quality.BLOCKED if kept.maintenance is not None else Quality.GOOD)


def of_gateway(points: PointList, now_us: int, deaf: bool, events_lost: int) -> Readings:
    """The gateway's own: the heartbeat turns over, and counts, only while it is sound."""
    subject, minute = Subject(Of.GATEWAY, ""), now_us // MINUTE_US
    said: dict[str, float] = {"deaf": int(deaf), "events-lost": int(bool(events_lost))}
    if not deaf:
        said |= {"heartbeat": minute % 2, "heartbeat-count": minute}
    for name, amount in said.items():
        if (address := points.address(subject, name)) is not None:
            yield address, Reading(amount, Quality.GOOD, now_us)
