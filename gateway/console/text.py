"""The present as plain text of 80 columns: aligned, no colour, nothing from a peer unprinted."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta

from edge.quantities import BY_NAME, column_text
from edge.records import HealthRow, IntervalRow
from gateway.console.client import Present
from gateway.console.picture import InsulatorTold, Liveliness, SiteTold, UnitTold

WIDTH = 80
NAME_WIDTH = 22
HEADING = f"  {'insulator':<22}{'state':<14}{'peak mA':>9}{'arcs/min':>10}  {'age':<9}note"

CAUTION = "Monitoring only: not protection, and no proof that anything is safe to approach."


def status_text(present: Present) -> str:
    """Sites, units and insulators, then how many alarms."""
    head = [f"seafret at {present.url}, {utc_text(present.health.now_us)} UTC", *faults(present)]
    body: list[str] = []
    for site in present.sites:
        body += ["", _site_line(site)]
        body += [_unit_line(unit) for unit in present.units if unit.site == site.site]
        own = [one for one in present.insulators if one.site == site.site]
        body += [HEADING, *(line for one in own for line in _insulator_lines(one))] if own else []
    return "\n".join(cut((*head, *body, "", _alarm_count(present), CAUTION)))


def printable(text: str) -> str:
    """Text from a peer with everything that does not print shown as its code."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def utc_text(moment_us: int) -> str:
    """A moment to the second, UTC."""
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=moment_us)
    return moment.strftime("%Y-%m-%d %H:%M:%S")


def age_text(age_us: int | None) -> str:
    """An age in its largest sensible unit."""
    if age_us is None:
        return "never"
    for unit_us, name in ((86_400_000_000, "d"), (3_600_000_000, "h"), (60_000_000, "min")):
        if age_us >= 2 * unit_us:
            return f"{age_us // unit_us} {name}"
    return f"{age_us // 1_000_000} s"


def cut(lines: Iterable[str]) -> Iterator[str]:
    """Lines of 80 columns at most, with nothing that does not print."""
    return (printable(line)[:WIDTH].rstrip() for line in lines)


def faults(present: Present) -> list[str]:
    """What the gateway itself cannot do, one line each."""
    health = present.health
    found = (
        [] if health.broker_connected else ["BLIND: the gateway has no connection to its broker"]
    )
    if health.store_fault:
        found.append("BLIND: nothing can be stored: " + health.store_fault)
    if health.refused or health.noticed:
        found.append(
            f"{health.refused} messages refused, {health.noticed} security events since it started"
        )
    return found


def _site_line(site: SiteTold) -> str:
    name = f"{site.site} ({site.title})" if site.title else site.site
    return (
        f"{name}: units {site.units_live} of {site.units} live, "
        f"insulators watched {site.watched} of {site.insulators}"
    )


def _unit_line(unit: UnitTold) -> str:
    age = "no data yet" if unit.data_age_us is None else f"data {age_text(unit.data_age_us)} old"
    mark = "" if unit.liveliness is Liveliness.LIVE else "BLIND: "
    return f"  {unit.unit}: {mark}{unit.liveliness}, {age}{_health_note(unit.health)}"


def _health_note(health: HealthRow | None) -> str:
    if health is None:
        return ", no health record"
    letter = f", status {health.letter}" if health.letter else ", status good"
    backlog = f", backlog {health.backlog}" if health.backlog else ""
    clock = "" if health.clock_synchronised else ", clock not synchronised"
    reasons = f" ({', '.join(health.reasons)})" if health.reasons else ""
    return letter + reasons + clock + backlog


def _insulator_lines(told: InsulatorTold) -> list[str]:
    name = told.insulator
    head = [] if len(name) < NAME_WIDTH else [f"  {name}"]
    first = f"  {'' if head else name:<{NAME_WIDTH}}"
    row = told.row
    if row is None:
        return [*head, f"{first}{'never seen':<33}  {'never':<9}NOT WATCHED"]
    peak = column_text(BY_NAME["peak_ua"], row.peak_ua)
    line = f"{first}{row.state:<14}{peak:>9}{_arcs_a_minute(row):>10}  {age_text(told.age_us):<9}"
    note = ", ".join(row.flags if told.watched else ("NOT WATCHED", *row.flags))
    fits = len(line) + len(note) <= WIDTH
    return [*head, line + note] if fits else [*head, line, *wrapped(note, 6)]


def wrapped(text: str, indent: int) -> list[str]:
    """Text within 80 columns, all lines indented."""
    pad = " " * indent
    return textwrap.wrap(text, WIDTH, initial_indent=pad, subsequent_indent=pad)


def _arcs_a_minute(row: IntervalRow) -> str:
    if not row.duration_us:
        return ""
    return str(round(row.arcing_halfcycles * 60_000_000 / row.duration_us))


def _alarm_count(present: Present) -> str:
    unknown = sum(site.alarms_unknown for site in present.sites)
    said = f"{present.alarms_in} alarms in"
    return said + (f", {unknown} cannot be told (data lost)" if unknown else "")
