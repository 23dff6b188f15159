"""The terse text of `tests/alarm_cases/*.toml`: rows in, transitions out.

A row is `HH:MM[:SS] kind ... [xN]`, xN repeating it N times end to end:
    00:10 minute a arcing-sparse arc=8 peak_ma=40 x3
    00:13 tens a arcing-dense arc=300 strong=3
    00:13 merged a dry seconds=300
    00:14 health line=in-service alive=no
    00:00 weather rh=55 rain_um=0 x120
A transition is `HH:MM:SS alarm subject condition since HH:MM:SS [(reason)]`, `-` for the unit.
Rows are fed in `decision_order`, or as written where the case says so.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import (
    Basis,
    DecisionPlan,
    SpecificCreepage,
    WatchedInsulator,
    bind,
)
from edge.decide.definitions import Adjustment, Alarm, AlarmDefinition, adjusted
from edge.decide.evaluation import DecidedRecord, decision_order
from edge.records import ConditionChange, IntervalRow, Letter, LineStatus, Span
from tests.edge.decide.builders import RATE_HZ, START_US, S, health, interval, weather

_SPANS = {"minute": Span.MINUTE, "tens": Span.TEN_SECONDS, "merged": Span.MERGED}
_OF_INTERVAL: dict[str, tuple[str, Callable[[str], Any]]] = {
    "seconds": ("seconds", float),
    "arc": ("arcing_halfcycles", int),
    "peak_ma": ("arcing_peak_ua", lambda text: int(text) * 1000),
    "strong": ("arc_pulses", lambda text: (0, 0, 0, int(text), 0)),
    "pulses": ("pulses", lambda text: (int(text),) * 5),
    "rms_ma": ("rms_na", lambda text: int(text) * 1_000_000),
    "clipped": ("clipped_halfcycles", int),
    "first_s": ("first_arc_us", lambda text: round(float(text) * S)),
    "last_s": ("last_arc_us", lambda text: round(float(text) * S)),
    "silent_s": ("silent_from_us", lambda text: round(float(text) * S)),
    "flags": ("flags", lambda text: tuple(text.split("|"))),
}
_OF_HEALTH: dict[str, tuple[str, Callable[[str], Any]]] = {
    "alive": ("source_alive", lambda text: text == "yes"),
    "line": ("line_status", LineStatus),
    "synchronised": ("clock_synchronised", lambda text: text == "yes"),
    "error_us": ("clock_error_us", lambda text: None if text == "none" else int(text)),
    "free_ppm": ("storage_free_ppm", int),
    "letter": ("letter", Letter),
    "reasons": ("reasons", lambda text: tuple(text.split("|"))),
}
_OF_WEATHER: dict[str, tuple[str, Callable[[str], Any]]] = {
    "rh": ("rh_cpct", lambda text: None if text == "none" else round(float(text) * 100)),
    "rain_um": ("rain_um", int),
    "seconds": ("seconds", float),
}


@dataclass(frozen=True, slots=True)
class AlarmCase:
    """One case file. alarms: those whose transitions are compared; all others must not change."""

    name: str
    why: str
    rows: tuple[DecidedRecord, ...]
    definitions: tuple[AlarmDefinition, ...]
    plan: DecisionPlan
    alarms: frozenset[str]
    expect: list[str]

    def told(self, changes: list[ConditionChange]) -> list[str]:
        """The transitions that the case looks at, as text."""
        return [transition_text(each) for each in changes if each.alarm in self.alarms]


def read_case(path: Path, definitions: tuple[AlarmDefinition, ...] = DEFAULT_ALARMS) -> AlarmCase:
    """One case, decided with the definitions given and the case's own adjustments."""
    parsed = tomllib.loads(path.read_text(encoding="utf-8"))
    rows = [row for line in _lines(parsed["rows"]) for row in _rows_of(line)]
    if not parsed.get("as_written", False):
        rows.sort(key=decision_order)
    names = sorted({row.insulator for row in rows if isinstance(row, IntervalRow)}) or ["a"]
    bound = adjusted(definitions, _adjustments(parsed.get("adjust", {})))
    insulators = [_insulator(name, parsed.get("insulator", {})) for name in names]
    return AlarmCase(
        name=path.stem,
        why=parsed["why"],
        rows=tuple(rows),
        definitions=bound,
        plan=bind(bound, insulators, "5e77", RATE_HZ),
        alarms=frozenset(Alarm(each).value for each in parsed.get("alarms", list(Alarm))),
        expect=_lines(parsed["expect"]),
    )


def _lines(text: str) -> list[str]:
    bare = (line.split("#")[0].strip() for line in text.splitlines())
    return [line for line in bare if line]


def _insulator(name: str, said: dict[str, Any]) -> WatchedInsulator:
    creepage = None
    if "scd_um_per_kv" in said:
        creepage = SpecificCreepage(said["scd_um_per_kv"], Basis(said["basis"]))
    return WatchedInsulator(name, creepage, said.get("full_scale_ua"))


def _adjustments(said: dict[str, Any]) -> list[Adjustment]:
    return [
        Adjustment(alarm=Alarm(alarm), owner="the case", reason="the case", **settings)
        for alarm, settings in said.items()
    ]


def _rows_of(line: str) -> list[DecidedRecord]:
    words = line.split()
    times = int(words.pop()[1:]) if words[-1][0] == "x" and words[-1][1:].isdigit() else 1
    at_s = seconds_of(words[0])
    rows: list[DecidedRecord] = []
    for _ in range(times):
        row = _row(at_s, words[1], words[2:])
        rows.append(row)
        at_s += row.duration_us / S
    return rows


def _row(at_s: float, kind: str, words: list[str]) -> DecidedRecord:
    if kind == "health":
        return health(at_s, **_said(words, _OF_HEALTH))
    if kind == "weather":
        return weather(at_s, **_said(words, _OF_WEATHER))
    return interval(at_s, words[1], words[0], _SPANS[kind], **_said(words[2:], _OF_INTERVAL))


def _said(words: list[str], table: dict[str, tuple[str, Callable[[str], Any]]]) -> dict[str, Any]:
    pairs = (word.split("=", 1) for word in words)
    return {table[key][0]: table[key][1](text) for key, text in pairs}


def seconds_of(text: str) -> int:
    """Seconds of HH:MM or HH:MM:SS; hours may pass 24."""
    hours, minutes, seconds = (*text.split(":"), "0")[:3]
    return int(hours) * 3600 + int(minutes) * 60 + int(seconds)


def time_text(utc_us: int) -> str:
    """HH:MM:SS since the start of the case, with what is left of a second where there is any."""
    seconds, rest_us = divmod(utc_us - START_US, S)
    whole = f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"
    return whole + (f".{rest_us:06}".rstrip("0") if rest_us else "")


def transition_text(change: ConditionChange) -> str:
    """One line as in `expect`."""
    reason = f" ({change.reason})" if change.reason else ""
    return (
        f"{time_text(change.at_us)} {change.alarm} {change.subject or '-'} "
        f"{change.condition.value} since {time_text(change.since_us)}{reason}"
    )
