"""The page to decide from: who is advised what, why, and what has changed since the last month."""

from __future__ import annotations

from collections import Counter as Tally
from collections.abc import Iterator

import numpy as np

from gateway.alarms.journal import What
from gateway.reading.decisions import Told
from gateway.report.blocks import Block, Cell, Heading, Prose, Table
from gateway.report.facts import Facts
from gateway.report.site_charts import ratio_drawing
from gateway.report.wording import (
    BY_THE_CURRENT,
    CAUTIONS,
    DECISION_WORDS,
    day_text,
    days_text,
    month_text,
    number_or_dash,
    ratio_text,
    share_text,
)
from gateway.trends.assessment import Decision
from gateway.trends.change import InsulatorTrend
from gateway.trends.columns import RegisterEntry
from gateway.trends.ranking import URGENCY

SHOWN_MOST = 24
"""Insulators in the table of the first page; the rest, less urgent, have their pages behind."""


def front_page(facts: Facts, ordered: list[InsulatorTrend]) -> Iterator[Block]:
    """What the month comes to."""
    yield Prose(_result(facts, ordered), "lead")
    yield _decisions(facts, ordered[:SHOWN_MOST])
    if len(ordered) > SHOWN_MOST:
        yield Prose(f"{len(ordered) - SHOWN_MOST} less urgent insulators follow below.", "note")
    yield Prose(_how_to_read(facts), "note")
    yield Heading("Since the last month", 2)
    yield from _since(facts, ordered)
    yield Heading("Open actions", 2)
    yield from _open_actions(facts, ordered)
    yield Heading("The month", 2)
    yield Prose(_month(facts, ordered), "plain")
    yield Prose(f"{CAUTIONS[0]} {CAUTIONS[1]}", "caution")


def _result(facts: Facts, ordered: list[InsulatorTrend]) -> str:
    tally = Tally(one.advice.decision for one in ordered)
    counts = [f"{DECISION_WORDS[one]} {tally[one]}" for one in URGENCY if tally[one]]
    changed = sum(one.changed is True for one in ordered)
    unknown = sum(one.changed is None for one in ordered)
    moved = f"{changed} changed at equal wetness" if changed else "none changed at equal wetness"
    doubt = f", of {unknown} it cannot be said" if unknown else ""
    return f"{len(ordered)} insulators: {', '.join(counts)}; {moved}{doubt}."


def _decisions(facts: Facts, shown: list[InsulatorTrend]) -> Table:
    return Table(
        head=(
            "insulator", "advice", "current at equal wetness", "", "onset", "arcing",
            "peak / near", "good data", "why; decided by a person",
        ),
        rows=tuple(_row(facts, one) for one in shown),
        widths=(0.09, 0.125, 0.125, 0.15, 0.05, 0.06, 0.06, 0.06, 0.28),
        right=(4, 5, 6, 7),
        bold=(1,),
        small=True,
    )  # fmt: skip


def _row(facts: Facts, one: InsulatorTrend) -> tuple[Cell, ...]:
    standing = one.standing
    near = None if standing.highest_ma is None else standing.highest_ma / standing.near_ma
    decided = facts.decided.get(one.insulator)
    why = _why(one)
    if decided is not None:
        words = DECISION_WORDS[decided.decision]
        why = f"{why}. Decided: {words}, {decided.by}, {day_text(decided.at_us)}"
    return (
        one.insulator,
        DECISION_WORDS[one.advice.decision],
        ratio_text(one),
        ratio_drawing(one),
        _onset(one),
        number_or_dash(standing.arcing_h, 2),
        share_text(near),
        share_text(one.good_share),
        why,
    )


def _why(one: InsulatorTrend) -> str:
    """The first reason; the ratio stands beside it already, so only its nights are said again."""
    why = one.reasons[0] if one.reasons else one.rule.name
    if why.startswith("at equal wetness"):
        return f"by {one.response.nights_reference} and {one.response.nights_now} wet nights"
    return why


def _onset(one: InsulatorTrend) -> str:
    if one.onset_rh_reference is None or one.onset_rh_now is None:
        return "-"
    return f"{one.onset_rh_now - one.onset_rh_reference:+.1f}"


def _how_to_read(facts: Facts) -> str:
    trend = facts.trend
    now = days_text(trend.now.from_us, trend.now.to_us)
    reference = days_text(trend.reference.from_us, trend.reference.to_us)
    return (
        f"Current at equal wetness: film current of {now} against {reference} (UTC), with "
        f"intervals that hold the truth {trend.interval_level:.0%} of the time; the small scale "
        "reaches from 1/8 to 8, its upright is 1. Onset: shift in % RH, negative is wetter "
        "sooner. Arcing: hours in those days. Peak/near: highest peak as a share of what counts "
        "as near flashover. "
        f"Good data: of the wet hours. {BY_THE_CURRENT}"
    )


def _since(facts: Facts, ordered: list[InsulatorTrend]) -> Iterator[Block]:
    if not facts.before:
        yield Prose("There is no month before this one to compare with.", "plain")
        return
    before = month_text(facts.month.from_us - 1)
    lines = []
    for one in ordered:
        earlier = facts.before.get(one.insulator)
        if earlier is None:
            lines.append(f"{one.insulator}: new")
        elif earlier.advice.decision is not one.advice.decision:
            was, is_now = (DECISION_WORDS[x.advice.decision] for x in (earlier, one))
            lines.append(f"{one.insulator}: {was} became {is_now}")
    yield Prose("; ".join(lines) + "." if lines else f"The advice is that of {before}.", "plain")


def type_text(entry: RegisterEntry | None) -> str:
    """Type, stress and creepage of the register."""
    if entry is None:
        return "type unknown"
    parts = [entry.type.value if entry.type.value != "unknown" else "type unknown", entry.stress]
    if entry.creepage_mm_kv is not None and entry.creepage_basis is not None:
        parts.append(f"{entry.creepage_mm_kv:g} mm/kV {entry.creepage_basis.value}")
    return ", ".join(one for one in parts if one)


def is_quiet(one: InsulatorTrend) -> bool:
    """Whether nothing is advised."""
    return one.advice.decision is Decision.NONE_INDICATED


def _open_actions(facts: Facts, ordered: list[InsulatorTrend]) -> Iterator[Block]:
    """Advice or decisions that nothing was done about yet."""
    rows = []
    for one in ordered:
        decided = facts.decided.get(one.insulator)
        wanted = one.advice.decision if decided is None else decided.decision
        if wanted in (Decision.NONE_INDICATED, Decision.CANNOT_DECIDE):
            continue
        since = facts.month.from_us if decided is None else decided.at_us
        done = [line for line in facts.stories[one.insulator]
                if line.told is Told.DONE and line.at_us >= since]  # fmt: skip
        if not done:
            who = "advised; nobody has decided" if decided is None else f"decided by {decided.by}"
            order = "" if decided is None else decided.reference
            rows.append((one.insulator, DECISION_WORDS[wanted], who, day_text(since), order))
    if not rows:
        yield Prose("None: nothing is advised or decided that was not done.", "plain")
        return
    head = ("insulator", "what", "state", "since", "work order")
    yield Table(head, tuple(rows), (0.18, 0.2, 0.3, 0.14, 0.18), bold=(1,))


def _month(facts: Facts, ordered: list[InsulatorTrend]) -> str:
    """The month in a few numbers, each told at length further on."""
    grid, month = facts.site.grid, facts.month
    hours = slice(grid.place(month.from_us), grid.place(month.to_us))
    wet = int(np.sum(facts.site.wet[hours]))
    rain = grid.rain_mm[hours]
    fell = f"{np.nansum(rain):.1f} mm" if bool(np.any(np.isfinite(rain))) else "not measured"
    covers = [facts.covers[one.insulator].share for one in ordered]
    alarms = [
        one for one in facts.journal if one.what is What.ANNOUNCED and one.at_us >= month.from_us
    ]
    told = f"{len(alarms)} alarms announced" if facts.journal else "no alarm journal"
    flags = f" Weather: {', '.join(facts.trend.found)}." if facts.trend.found else ""
    return (
        f"{wet} hours wet, rain {fell}; {told}; rows cover {share_text(min(covers, default=0.0))} "
        f"to {share_text(max(covers, default=0.0))} of the month.{flags}"
    )
