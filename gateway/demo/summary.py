"""The night's story as plain text of 80 columns, for somebody who has never seen such a night."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from edge.decide.alarm_table import MONITORING_ONLY
from edge.decide.definitions import Alarm
from gateway.demo.invented import surface_of
from gateway.demo.story import AlarmStory, InsulatorStory, Story
from gateway.demo.watching import TEXTS, WIDTH, clock_text

LINE = "-" * (WIDTH - 1)
HEAD = (
    f"{'insulator':<16}{'surface':<16}{'arced (UTC)':<12}{'min:s':>6}{'half-cycles':>12}"
    f"{'charge C':>9}{'peak mA':>8}"
)
WORDS = (
    "min:s is the time spent arcing. The half-cycles are those of the mains (10 ms at 50 Hz) in "
    "which a dry band arced; their number and their charge are the exposure that wears a surface. "
    "The peak is the highest current in them."
)
US_PER_S = 1_000_000
UNKNOWN_TOLD_US = US_PER_S
"""Less than this is the window in which a line died or came back, and not worth a line."""


def summary_lines(story: Story) -> list[str]:
    """Who arced, when, how much; the alarms and their delay; what was lost."""
    return [
        LINE,
        f"The night of {clock_text(story.begin_us)} to {clock_text(story.end_us)} UTC is over. "
        "What the history files say:",
        "",
        *_gist(story),
        "",
        *_table(story.insulators),
        *_wrapped(WORDS),
        "",
        *_alarms(story.alarms),
        "",
        *_kept(story),
        "",
        *_wrapped(MONITORING_ONLY),
    ]


def _wrapped(text: str, first: str = "", later: str = "") -> list[str]:
    return textwrap.wrap(
        text,
        WIDTH - 1,
        initial_indent=first,
        subsequent_indent=later,
        break_on_hyphens=False,
    )


def _gist(story: Story) -> list[str]:
    arced = [one for one in story.insulators if one.first_arc_us is not None]
    if not arced:
        return _wrapped(f"None of {len(story.insulators)} insulators arced.")
    worst = max(arced, key=lambda one: one.arcing_halfcycles)
    highest = max(arced, key=lambda one: one.peak_ua)
    assert highest.peak_us is not None
    lines = _wrapped(
        f"{len(arced)} of {len(story.insulators)} insulators arced. Most exposed: "
        f"{worst.insulator} ({surface_of(worst.insulator)}), {worst.arcing_halfcycles:,} arcing "
        f"half-cycles. Highest arcing current: {highest.insulator}, {_peak_text(highest)} mA in "
        f"the minute of {clock_text(highest.peak_us)}."
    )
    return [*lines, *_trips(story)]


def _trips(story: Story) -> list[str]:
    """Where the current vanished while it arced: one paragraph a site."""
    places = {one.insulator: one for one in story.insulators}
    trips: dict[str, list[AlarmStory]] = {}
    for one in story.alarms:
        if one.alarm == Alarm.FLASHOVER_SUSPECTED:
            trips.setdefault(places[one.insulator].site, []).append(one)
    lines: list[str] = []
    for site, found in trips.items():
        names = [one.insulator for one in found]
        highest = max((places[name] for name in names), key=lambda one: one.peak_ua)
        lines += _wrapped(
            f"At {site} the current of {_listed(names)} vanished at {clock_text(found[0].in_us)} "
            f"while it arced: a flashover or a trip is suspected. The highest before it was that "
            f"of {highest.insulator}, {_peak_text(highest)} mA; then no voltage for "
            f"{_span(highest.dead_us)}."
        )
    return lines


def _listed(names: list[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]]) if names[1:] else names[0]


def _table(insulators: Iterable[InsulatorStory]) -> list[str]:
    lines = [HEAD]
    site = ""
    for one in insulators:
        if one.site != site:
            site = one.site
            lines.append(f"{site}:")
        lines.append(_row(one))
        if one.unknown_us >= UNKNOWN_TOLD_US:
            lines.append(f"{'':<16}(for {_span(one.unknown_us)} its state could not be told)")
    return lines


def _row(one: InsulatorStory) -> str:
    head = f"{one.insulator:<16}{surface_of(one.insulator):<16}"
    if one.first_arc_us is None or one.last_arc_us is None:
        return f"{head}{'never':<12}{'-':>6}{'-':>12}{'-':>9}{'-':>8}"
    when = f"{clock_text(one.first_arc_us)}-{clock_text(one.last_arc_us)}"
    return (
        f"{head}{when:<12}{_minutes(one.arcing_us):>6}{one.arcing_halfcycles:>12,}"
        f"{_charge(one.charge_nc):>9}{_peak_text(one):>8}"
    )


def _peak_text(one: InsulatorStory) -> str:
    """A clipped peak is a lower bound, and says so."""
    return f"{'>' if one.clipped else ''}{one.peak_ua / 1000:.0f}"


def _charge(charge_nc: int) -> str:
    return f"{charge_nc / 1e9:.3g}" if charge_nc < 1e9 else f"{charge_nc / 1e9:,.1f}"


def _minutes(span_us: int) -> str:
    minutes, seconds = divmod(round(span_us / US_PER_S), 60)
    return f"{minutes}:{seconds:02d}"


def _span(span_us: int) -> str:
    minutes, seconds = divmod(round(span_us / US_PER_S), 60)
    return f"{minutes} min {seconds} s" if minutes else f"{seconds} s"


def _alarms(alarms: Iterable[AlarmStory]) -> list[str]:
    rows = list(alarms)
    if not rows:
        return ["No alarm came."]
    lines = _wrapped(
        "Alarms, and how long after that insulator's first arcing half-cycle each came:"
    )
    for one in rows:
        since = "-" if one.since_arc_us is None else _span(one.since_arc_us)
        head = f"{clock_text(one.in_us)}  {since:>12}  P{one.priority} {one.insulator:<16}"
        lines += _wrapped(TEXTS.get(one.alarm, one.alarm), head, " " * len(head))
    return lines


def _kept(story: Story) -> list[str]:
    lines = [f"{'Records of':<24}{'made at the pole':>18}{'in the history':>16}{'lost':>8}"]
    lines += [
        f"{one.unit:<24}{one.committed:>18,}{one.stored:>16,}{one.lost:>8,}" for one in story.kept
    ]
    return [
        *lines,
        "Nothing was lost." if not story.lost else f"{story.lost:,} RECORDS ARE MISSING.",
    ]
