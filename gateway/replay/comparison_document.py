"""A comparison for scripts and for people: one JSON object, and text of 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from gateway.alarms.performance import TARGETS, Figures
from gateway.replay.comparison import Comparison, Delays
from gateway.replay.occurrences import Occurrence
from gateway.replay.results import Run
from gateway.replay.settings_difference import ABSENT, Absent, Difference, Scalar
from gateway.replay.tables import utc_texts

WIDTH = 80
LISTED_MAX = 20
"""So many alarms of a list are printed; how many more there are is said. JSON has all."""

LOAD_BASIS = (
    "through the gateway's alarm list with its roll-up and budgets; every call is taken as "
    "acknowledged after ten minutes"
)

LOAD_LINES: dict[str, tuple[str, float, int]] = {
    "announced": ("announced", 1, 0),
    "per_window_ppm": ("announced in ten minutes, mean", 1e6, 4),
    "most_in_window": ("announced in ten minutes, most", 1, 0),
    "over_ten_ppm": ("ten minutes with more than ten, %", 1e4, 2),
    "floods": ("floods", 1, 0),
    "flood_ppm": ("time in flood, %", 1e4, 2),
    "top_ten_ppm": ("share of the ten most frequent, %", 1e4, 1),
    "chattering": ("chattering alarms", 1, 0),
    "fleeting": ("fleeting occurrences", 1, 0),
    "stale": ("alarms that stood over a day", 1, 0),
}
"""Words, divisor and places of each figure of the load."""


@dataclass(frozen=True, slots=True)
class Told:
    """All that a comparison says. load_*: of each run. inputs_differ: names of files."""

    a: Run
    b: Run
    comparison: Comparison
    load_a: Figures
    load_b: Figures
    settings: tuple[Difference, ...]
    inputs_differ: tuple[str, ...]

    @property
    def settings_known(self) -> bool:
        """Whether both results keep the settings that they were made with."""
        return self.a.settings is not None and self.b.settings is not None

    @property
    def same(self) -> bool:
        """Whether nothing at all differs."""
        return (
            self.comparison.alike
            and not self.settings
            and not self.inputs_differ
            and self.a.settings_sha == self.b.settings_sha
            and self.a.software == self.b.software
        )


def utc_text(at_us: int) -> str:
    """RFC 3339 with microseconds."""
    return utc_texts(np.array([at_us], dtype=np.int64))[0]


def comparison_document(told: Told) -> dict[str, Any]:
    """Everything, as plain JSON."""
    found = told.comparison
    return {
        "same": told.same,
        "a": _run(told.a),
        "b": _run(told.b),
        "tolerance_s": found.tolerance_us / 1e6,
        "counts": _counts(found),
        "alarms": [{"alarm": name, **_counts(found.of(name))} for name in found.alarms],
        "only_a": [occurrence_document(one) for one in found.only_a],
        "only_b": [occurrence_document(one) for one in found.only_b],
        "both": [
            {
                "a": occurrence_document(one.a),
                "b": occurrence_document(one.b),
                "delay_s": one.delay_us / 1e6,
            }
            for one in found.both
        ],
        "load": {
            "basis": LOAD_BASIS,
            "targets": TARGETS,
            "a": asdict(told.load_a),
            "b": asdict(told.load_b),
        },
        "settings_known": told.settings_known,
        "settings": [{"key": one.key, **_sides(one)} for one in told.settings],
        "inputs_differ": list(told.inputs_differ),
    }


def occurrence_document(one: Occurrence) -> dict[str, Any]:
    """One alarm; end null where it was still in."""
    return {
        "alarm": one.alarm,
        "subject": one.subject,
        "priority": one.priority,
        "start": utc_text(one.start_us),
        "end": None if one.end_us is None else utc_text(one.end_us),
    }


def _run(run: Run) -> dict[str, Any]:
    return {
        "result": str(run.folder),
        "software": run.software,
        "settings_sha": run.settings_sha,
        "inputs": dict(run.inputs),
        "from": utc_text(run.period[0]),
        "to": utc_text(run.period[1]),
    }


def _counts(found: Comparison) -> dict[str, Any]:
    return {
        "only_a": len(found.only_a),
        "only_b": len(found.only_b),
        "both": len(found.both),
        "total_a": len(found.only_a) + len(found.both),
        "total_b": len(found.only_b) + len(found.both),
        "delay": _delays(found.delays),
    }


def _delays(delays: Delays | None) -> dict[str, Any] | None:
    if delays is None:
        return None
    return {
        "count": delays.count,
        "median_s": delays.median_us / 1e6,
        "earliest_s": delays.earliest_us / 1e6,
        "latest_s": delays.latest_us / 1e6,
    }


def _sides(one: Difference) -> dict[str, Any]:
    """A side that has no such key is left out, so that it is not taken for a null."""
    sides = {"a": one.a, "b": one.b}
    return {name: found for name, found in sides.items() if not isinstance(found, Absent)}


def comparison_text(told: Told) -> str:
    """For a terminal."""
    found = told.comparison
    lines = [
        *_run_lines("A", told.a),
        *_run_lines("B", told.b),
        *(f"inputs differ: {name}" for name in told.inputs_differ),
        "",
        *_count_lines(found),
        "",
        *_listed("only in A", found.only_a),
        *_listed("only in B", found.only_b),
        *_moved(found),
        *_load_lines(told.load_a, told.load_b),
        "",
        *_setting_lines(told),
        "",
        "nothing differs" if told.same else "they differ",
    ]
    return "\n".join(printable(line) for line in lines)


def printable(line: str) -> str:
    """Without what a terminal would obey: names come from recordings."""
    shown = (c if c.isprintable() else c.encode("unicode_escape").decode() for c in line)
    return "".join(shown).rstrip()


def _run_lines(name: str, run: Run) -> tuple[str, str]:
    return f"{name}  {run.folder}", f"   settings {run.settings_sha}, {run.software}"


def _count_lines(found: Comparison) -> Iterator[str]:
    tolerance_s = found.tolerance_us / 1e6
    yield f"Alarms, the same where they begin within {tolerance_s:g} s; B later is +"
    yield f"  {'':<21}{'only A':>7}{'only B':>7}{'both':>7}{'delay s: median':>17}{'range':>19}"
    for name in (*found.alarms, ""):
        own = found.of(name) if name else found
        delays = own.delays
        told = f"{'-':>17}{'-':>19}"
        if delays is not None:
            span = f"{delays.earliest_us / 1e6:+.4g}..{delays.latest_us / 1e6:+.4g}"
            told = f"{delays.median_us / 1e6:>+17.4g}{span:>19}"
        counts = f"{len(own.only_a):>7}{len(own.only_b):>7}{len(own.both):>7}"
        yield f"  {name or 'all':<21}{counts}{told}"


def _listed(title: str, found: Sequence[Occurrence]) -> Iterator[str]:
    if not found:
        return
    yield f"{title}: {len(found)}"
    for one in found[:LISTED_MAX]:
        yield f"  {utc_text(one.start_us)[:19]}  P{one.priority}  {one.alarm:<22}{_subject(one)}"
    if len(found) > LISTED_MAX:
        yield f"  and {len(found) - LISTED_MAX} more; --json has all"
    yield ""


def _moved(found: Comparison) -> Iterator[str]:
    moved = [one for one in found.both if not one.alike]
    if not moved:
        return
    yield f"in both, but not alike: {len(moved)}"
    for one in moved[:LISTED_MAX]:
        begins = f"begins {one.delay_us / 1e6:+.4g} s" if one.delay_us else ""
        ends = "" if one.a.end_us == one.b.end_us else f"ends {_end_shift(one.a, one.b)}"
        ranks = (
            "" if one.a.priority == one.b.priority else f"P{one.a.priority} -> P{one.b.priority}"
        )
        how = ", ".join(part for part in (begins, ends, ranks) if part)
        yield f"  {utc_text(one.a.start_us)[:19]}  {one.a.alarm:<20}{_subject(one.a):<12}{how}"
    if len(moved) > LISTED_MAX:
        yield f"  and {len(moved) - LISTED_MAX} more; --json has all"
    yield ""


def _end_shift(a: Occurrence, b: Occurrence) -> str:
    if a.end_us is None or b.end_us is None:
        return "in B only" if a.end_us is None else "in A only"
    return f"{(b.end_us - a.end_us) / 1e6:+.4g} s"


def _subject(one: Occurrence) -> str:
    return one.subject or "(the unit)"


def _load_lines(a: Figures, b: Figures) -> Iterator[str]:
    yield "Operator load, as the control room would have seen it:"
    yield f"  {'':<36}{'A':>14}{'B':>14}"
    plain_a: Mapping[str, Any] = asdict(a)
    plain_b: Mapping[str, Any] = asdict(b)
    for name, (words, divisor, places) in LOAD_LINES.items():
        cells = (f"{plain[name] / divisor:>14.{places}f}" for plain in (plain_a, plain_b))
        yield f"  {words:<36}{''.join(cells)}"
    yield f"  {'announced by priority 1 / 2 / 3':<36}{_split(a):>14}{_split(b):>14}"
    if not (a.enough and b.enough):
        yield "  under 30 days: the figures rest on too little"
    yield "  alarm list with roll-up and budgets; acknowledged after ten minutes"


def _split(one: Figures) -> str:
    return " / ".join(map(str, one.priorities))


def _setting_lines(told: Told) -> Iterator[str]:
    if not told.settings_known:
        yield "Settings: one of the results does not keep them; replay it again"
        return
    yield f"Settings that differ: {len(told.settings) or 'none'}"
    for one in told.settings:
        line = f"  {one.key}: {_shown(one.a)} -> {_shown(one.b)}"
        yield from textwrap.wrap(line, WIDTH, subsequent_indent="      ", break_long_words=False)


def _shown(found: Scalar | Absent) -> str:
    if found is ABSENT:
        return "(absent)"
    return "(none)" if found is None else str(found)
