"""The figures against results counted by hand."""

from __future__ import annotations

from edge.records import Condition
from gateway.alarms.journal import Entry, Point, What
from gateway.alarms.performance import (
    ENOUGH_US,
    Figures,
    SiteEntry,
    figures,
    flood_windows,
    window_counts,
)
from tests.gateway.build import MINUTE_US, START_US, UNIT, condition

HOUR_US = 60 * MINUTE_US


def at(minute: float) -> int:
    return START_US + round(minute * MINUTE_US)


def call(minute: float, subject: str = "A1", priority: int = 2, site: str = "s") -> SiteEntry:
    point = Point(UNIT, "arcing", subject)
    return site, Entry(
        at_us=at(minute),
        what=What.ANNOUNCED,
        who="gateway",
        point=point,
        priority=priority,
        sound=True,
    )


def turn(minute: float, word: Condition, subject: str = "A1", site: str = "s") -> SiteEntry:
    change = condition(0, word, "arcing", subject, at_us=at(minute))
    point = Point(UNIT, "arcing", subject)
    return site, Entry(at_us=at(minute), what=What.HEARD, who=UNIT, point=point, change=change)


def done(minute: float, what: What, subject: str = "A1") -> SiteEntry:
    point = Point(UNIT, "arcing", subject)
    return "s", Entry(at_us=at(minute), what=what, who="mk", point=point)


def of(entries: list[SiteEntry], hours: float = 2) -> Figures:
    (found,) = figures(entries, START_US, START_US + round(hours * HOUR_US))
    return found


def test_the_mean_counts_empty_windows_and_windows_lie_on_the_clock() -> None:
    told = of([call(0), call(9.99), call(10), call(119)])
    assert (told.windows, told.announced, told.most_in_window) == (12, 4, 2)
    assert told.per_window_ppm == 333_333
    assert told.sounds == 4
    assert window_counts([at(0), at(9.99), at(10)], at(0), at(30)) == [2, 1, 0]


def test_a_flood_begins_above_ten_and_ends_below_five() -> None:
    assert flood_windows([10, 11, 5, 7, 4, 10, 12]) == (4, 2)
    told = of([call(0.5 * n) for n in range(11)] + [call(10 + n) for n in range(5)])
    # 11 in the first window; 5 in the second keep it going; none in the third end it: 2 of 12
    assert (told.floods, told.flood_ppm) == (1, 166_667)
    assert told.over_ten_ppm == 83_333


def test_the_top_ten_have_their_share_and_their_longest_times() -> None:
    entries = [
        turn(0, Condition.IN),
        *(call(n / 10, f"B{n:02}") for n in range(14)),
        *[call(5), call(6)],
        done(9, What.ACKNOWLEDGED),
        turn(30, Condition.OUT),
    ]
    told = of(entries)
    # 16 announcements; A1 has 2 and nine others have 1: 11 of 16
    assert told.top_ten_ppm == 687_500
    first = told.top[0]
    assert (first.subject, first.announced) == ("A1", 2)
    assert first.longest_active_us == 30 * MINUTE_US
    assert first.longest_unacknowledged_us == 4 * MINUTE_US


def test_three_times_within_a_minute_is_chattering_and_once_for_seconds_is_fleeting() -> None:
    chatter = [
        turn(n / 3 + part, word, "C1")
        for n in range(3)
        for part, word in ((0, Condition.IN), (0.1, Condition.OUT))
    ]
    slow = [
        turn(20 * n + part, word, "C2")
        for n in range(3)
        for part, word in ((0, Condition.IN), (10, Condition.OUT))
    ]
    fleeting = [turn(3, Condition.IN, "C3"), turn(3.1, Condition.OUT, "C3")]
    told = of([*chatter, *slow, *fleeting])
    assert (told.chattering, told.fleeting) == (1, 1)


def test_what_stands_for_more_than_a_day_is_stale_also_where_it_began_before() -> None:
    day = 24 * 60
    entries = [
        turn(-2 * day, Condition.IN, "D1"),
        turn(0, Condition.IN, "D2"),
        turn(day - 1, Condition.OUT, "D2"),
        turn(-3 * day, Condition.IN, "D3"),
        turn(-day, Condition.OUT, "D3"),
    ]
    assert of(entries, hours=24).stale == 1


def test_priorities_and_peoples_suppressions_are_counted() -> None:
    entries = [
        *(call(n, f"E{n}", 3) for n in range(8)),
        *(call(n, f"F{n}", 2) for n in range(2)),
        call(1, "G", 1),
        done(2, What.SHELVED),
        done(3, What.TAKEN_OUT),
        done(4, What.TAKEN_OUT),
    ]
    told = of(entries)
    assert told.priorities == (1, 2, 8)
    assert (told.shelved, told.taken_out) == (1, 2)


def test_figures_are_of_operating_positions_not_of_sites() -> None:
    entries = [call(0, site="a"), call(1, site="b"), call(2, site="c")]
    by = figures(entries, at(0), at(60), {"a": "coast", "b": "coast", "c": "inland"})
    assert [(one.position, one.announced) for one in by] == [("coast", 2), ("inland", 1)]
    (together,) = figures(entries, at(0), at(60))
    assert together.announced == 3


def test_less_than_thirty_days_is_said_to_be_too_little() -> None:
    (short,) = figures([call(0)], START_US, START_US + ENOUGH_US - 1)
    (enough,) = figures([call(0)], START_US, START_US + ENOUGH_US)
    assert (short.enough, enough.enough) == (False, True)


def test_entries_outside_the_time_do_not_count() -> None:
    assert of([call(-1), call(120), call(0)]).announced == 1


def test_a_quiet_time_has_its_figures_too() -> None:
    told = of([])
    assert (told.windows, told.announced, told.per_window_ppm, told.top) == (12, 0, 0, ())
    assert [one.position for one in figures([], at(0), at(60), {"a": "coast"})] == ["coast"]
