"""What the demo tells: the fold over looks at the API, the story of rows, the summary's text."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from edge.quantities import State
from edge.records import Condition, IntervalRow
from gateway.alarms.journal import Entry, Point, What
from gateway.alarms.memory import SITE_POINT
from gateway.console.picture import InsulatorTold, SiteTold, UnitTold
from gateway.demo.night import NIGHT_MINUTES, RATE_MAX, night_of
from gateway.demo.screen import Screen
from gateway.demo.sky import weather_word
from gateway.demo.story import Kept, Story, alarm_stories, insulator_story
from gateway.demo.summary import summary_lines
from gateway.demo.watching import Seen, Watch, progress, watched
from tests.gateway.build import MINUTE_US, START_US, condition, interval, weather

SITE, NAME = "gullhaven", "GH1-old-post"
FACES = {SITE: 285.0}


def site(minute: int = 0, **readings: object) -> SiteTold:
    return SiteTold(SITE, "", 1, 1, 4, 4, 0, 0, weather(minute, **readings))


def insulator(state: State, minute: int = 0, name: str = NAME) -> InsulatorTold:
    row = interval(minute, name, state=state, arcing_peak_ua=12_400)
    return InsulatorTold(SITE, name, f"{SITE}.pole-7", True, 0, row)


def told(minute: int, said: Condition, subject: str = NAME, **changes: object) -> Entry:
    change = condition(minute, said, subject=subject, **changes)
    point = Point(f"{SITE}.pole-7", change.alarm, subject)
    return Entry(at_us=change.at_us, what=What.HEARD, who=point.unit, point=point, change=change)


def called(minute: int, point: Point, priority: int = 2) -> Entry:
    at_us = START_US + minute * MINUTE_US
    return Entry(
        at_us=at_us,
        what=What.ANNOUNCED,
        who="gateway",
        point=point,
        priority=priority,
        named=("GH3", "GH1"),
        counts={"arcing": 3, "installed": 4},
    )


def seen(
    sites: Sequence[SiteTold] = (),
    insulators: Sequence[InsulatorTold] = (),
    news: Sequence[Entry] = (),
    units: Sequence[UnitTold] = (),
) -> Seen:
    return Seen(
        START_US, tuple(sites), tuple(units), tuple(insulators), tuple((SITE, one) for one in news)
    )


def lines_of(*looks: Seen) -> list[str]:
    watch, lines = Watch(), []
    for look in looks:
        watch, more = watched(watch, look, FACES)
        lines += more
    return lines


def arcing(minute: int, halfcycles: int, peak_ua: int) -> IntervalRow:
    return interval(
        minute,
        NAME,
        state_us=(0, MINUTE_US // 2, MINUTE_US // 4, MINUTE_US // 4, 0, 0),
        arcing_halfcycles=halfcycles,
        arcing_peak_ua=peak_ua,
        arcing_charge_nc=(2_000_000_000, 1_000_000_000),
        first_arc_us=7_000_000,
        last_arc_us=50_000_000,
    )


def quiet(minute: int, insulator_name: str = NAME) -> IntervalRow:
    return interval(minute, insulator_name, arcing_halfcycles=0, arcing_charge_nc=(0, 0))


def story_of(rows: Sequence[IntervalRow]) -> Story:
    one = insulator_story(SITE, NAME, rows)
    changes = [
        condition(4, Condition.IN, subject=NAME),
        condition(5, Condition.IN, "flashover-suspected", NAME, priority=1),
        condition(9, Condition.OUT, subject=NAME),
    ]
    alarms = tuple(alarm_stories(changes, [one]))
    kept = (Kept(f"{SITE}.pole-7", 120, 118),)
    return Story(START_US, START_US + 90 * MINUTE_US, (one,), alarms, kept)


def test_the_sum_of_a_night_is_that_of_its_rows() -> None:
    one = insulator_story(SITE, NAME, [quiet(0), arcing(1, 300, 9_000), arcing(2, 50, 44_000)])
    assert (one.arcing_halfcycles, one.charge_nc) == (350, 6_000_000_000)
    assert one.arcing_us == MINUTE_US
    assert one.first_arc_us == START_US + MINUTE_US + 7_000_000
    assert one.last_arc_us == START_US + 2 * MINUTE_US + 50_000_000
    assert (one.peak_ua, one.peak_us) == (44_000, START_US + 2 * MINUTE_US)


def test_an_insulator_that_never_arced_has_no_time_of_arcing() -> None:
    one = insulator_story(SITE, NAME, [quiet(0), quiet(1)])
    assert (one.first_arc_us, one.last_arc_us, one.peak_us, one.peak_ua) == (None, None, None, 0)


def test_an_alarm_is_dated_from_the_first_arcing_halfcycle_until_it_is_over() -> None:
    first, second = story_of([arcing(1, 300, 9_000)]).alarms
    assert (first.alarm, first.since_arc_us) == ("arcing", 3 * MINUTE_US - 7_000_000)
    assert first.over_us == START_US + 9 * MINUTE_US
    assert (second.alarm, second.over_us) == ("flashover-suspected", None)


def test_an_alarm_before_any_arc_has_no_delay_after_one() -> None:
    (alarm,) = alarm_stories(
        [condition(0, subject=NAME)], [insulator_story(SITE, NAME, [arcing(1, 300, 9_000)])]
    )
    assert alarm.since_arc_us is None


def test_the_summary_names_what_is_missing_and_stays_within_eighty_columns() -> None:
    lines = summary_lines(story_of([arcing(1, 300, 9_000)]))
    text = "\n".join(lines)
    assert "2 RECORDS ARE MISSING" in text and "Nothing was lost" not in text
    assert "2 min 53 s  P2 GH1-old-post" in text
    assert "flashover or a trip is suspected" in " ".join(text.split())
    assert max(map(len, lines)) < 80


def test_the_summary_says_that_a_clipped_peak_is_a_lower_bound() -> None:
    rows = [arcing(1, 300, 250_000)]
    assert "   250" in "\n".join(summary_lines(story_of(rows)))
    clipped = [interval(2, NAME, arcing_halfcycles=0, clipped_halfcycles=4)]
    assert "  >250" in "\n".join(summary_lines(story_of([*rows, *clipped])))


def test_weather_is_named_by_what_it_does_to_salt() -> None:
    sea = {"wind_mm_s": 12_000, "wind_from_cdeg": 28_500}
    land = {"wind_mm_s": 12_000, "wind_from_cdeg": 10_500}
    words = {
        weather_word(weather(rh_cpct=humid, rain_um=rain, **wind), 285.0)
        for humid, rain, wind in (
            (6_800, 0, sea),
            (6_800, 0, land),
            (8_300, 0, land),
            (9_250, 0, land),
            (9_800, 0, land),
            (9_700, 12, land),
            (9_700, 160, land),
        )
    }
    assert words == {"salt wind", "dry air", "damp air", "mist", "fog", "drizzle", "rain"}


def test_a_turn_of_the_weather_is_told_once_a_second_row_says_the_same() -> None:
    dry, fog = site(0, rh_cpct=6_000), site(1, rh_cpct=9_800)
    assert len(lines_of(seen([dry]), seen([fog]), seen([fog]))) == 1
    told_lines = lines_of(seen([dry]), seen([fog]), seen([site(2, rh_cpct=9_800)]))
    assert len(told_lines) == 2 and "fog" in told_lines[1]


def test_an_alarm_is_told_when_it_is_announced_and_again_when_it_is_over() -> None:
    came, over = told(3, Condition.IN), told(70, Condition.OUT)
    lines = lines_of(seen(news=[came]), seen(news=[called(4, came.point)]), seen(news=[over]))
    assert ["ALARM P2" in line for line in lines] == [True, False]
    assert "over:" in lines[1]


def test_what_the_site_speaks_for_is_not_told_one_by_one() -> None:
    arcs = [told(3, Condition.IN, name) for name in ("GH1", "GH2", "GH3")]
    ends = [told(70, Condition.OUT, name) for name in ("GH1", "GH2", "GH3")]
    lines = lines_of(seen(news=[*arcs, called(4, SITE_POINT, 1)]), seen(news=ends))
    text = " ".join(" ".join(lines).split())
    assert text.count("ALARM") == 1 and "over:" not in text
    assert "3 of 4, worst GH3, GH1; it speaks for all" in text


def test_held_alarms_of_a_dead_line_are_one_line_a_site() -> None:
    held = [told(9, Condition.UNKNOWN, name, reason="line de-energised") for name in (NAME, "GH2")]
    (line,) = lines_of(seen(news=held), seen(news=held))
    assert "held" in line and "line de-energised" in line


def test_a_weaker_state_after_a_stronger_one_is_no_news() -> None:
    states = (State.WET, State.ARCING_DENSE, State.ARCING_SPARSE, State.WET)
    lines = lines_of(*(seen(insulators=[insulator(state)]) for state in states))
    assert len(lines) == 2 and "densely, 12 mA" in lines[1]


def test_a_dead_line_is_told_once_for_all_its_insulators() -> None:
    dead = [insulator(State.DE_ENERGISED, name=name) for name in (NAME, "GH2", "GH3")]
    assert len(lines_of(seen(insulators=dead), seen(insulators=dead))) == 1


def test_the_line_in_place_fits_and_stays_out_of_a_pipe(capsys: pytest.CaptureFixture[str]) -> None:
    look = seen([site()], [insulator(State.ARCING_SPARSE)])
    line = progress(Watch(), look, START_US - MINUTE_US, START_US + MINUTE_US)
    assert "50%" in line and "1/4 arc" in line and len(line) < 80
    screen = Screen()
    screen.show(line)
    screen.say("a line that stays")
    written, _ = capsys.readouterr()
    assert written == "a line that stays\n"


def test_a_demo_tells_the_whole_night_where_there_is_time_and_never_too_fast() -> None:
    for total_s in (20, 40, 90, 600):
        night = night_of(total_s, 1)
        assert night.seconds < total_s
        assert night.minutes == min(NIGHT_MINUTES, max(15, int(night.seconds * RATE_MAX / 60)))
    assert night_of(90, 1).minutes == NIGHT_MINUTES
    assert night_of(600, 1).rate < night_of(90, 1).rate <= RATE_MAX
