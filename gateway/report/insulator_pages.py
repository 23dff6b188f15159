"""Half a page or more for each insulator: decision, reasons, figures, ledger, history."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from edge.quantities import PULSE_LEVELS_MA
from gateway.report.blocks import Block, Counter, Figures, Heading, Prose, Table
from gateway.report.facts import Facts
from gateway.report.front_page import type_text
from gateway.report.insulator_charts import (
    exposure_figure,
    maxima_figure,
    nights_figure,
    response_figure,
    waveform_figure,
)
from gateway.report.wording import DECISION_WORDS, day_text, number_or_dash, ratio_text, share_text
from gateway.trends.change import InsulatorTrend
from gateway.trends.columns import Period
from gateway.trends.exposure import Entry
from gateway.trends.wetness import is_time_of_wetness

STORY_LINES_MOST = 12
"""The newest lines of an insulator's story."""


def insulator_pages(facts: Facts, ordered: list[InsulatorTrend], count: Counter) -> Iterator[Block]:
    """Each insulator, the most urgent first."""
    entries = facts.register.entries()
    yield Heading("Insulators", 1, new_page=True)
    for one in ordered:
        words = DECISION_WORDS[one.advice.decision]
        yield Heading(f"{one.insulator}: {words}", 3)
        yield Prose(type_text(entries.get(one.insulator)), "note")
        yield Prose(_judgement(one), "plain")
        yield Figures((response_figure(facts, one, count), nights_figure(facts, one, count)))
        yield Figures((exposure_figure(facts, one, count), maxima_figure(facts, one, count)))
        if one.insulator in facts.waveforms:
            yield Figures((waveform_figure(facts.waveforms[one.insulator], count),))
        yield _ledger(facts, one)
        yield from _margin(one)
        yield from _clock(one)
        yield from _story(facts, one)


def _judgement(one: InsulatorTrend) -> str:
    changed = {True: "changed", False: "unchanged", None: "cannot be told"}[one.changed]
    since = "" if one.changed_us is None else f", since about {day_text(one.changed_us)}"
    reasons = "; ".join(one.reasons) or one.rule.name
    said = one.index_ratio is None or "at equal wetness" in reasons
    index = "" if said else f" At equal wetness {ratio_text(one)} times the current."
    flags = f" Data: {', '.join(one.found)}." if one.found else ""
    return (
        f"{changed.capitalize()}{since}; cause {one.cause.value} (rules {one.rule.name}, "
        f"{one.advice.name}).{index} Because: {reasons}. Would change it: {one.advice.change}. "
        f"Good data in {share_text(one.good_share)} of the wet hours.{flags}"
    )


def _ledger(facts: Facts, one: InsulatorTrend) -> Table:
    ledger = facts.ledgers[one.insulator]
    months = [entry for entry in ledger.months if entry.from_us == facts.month.from_us]
    judged = _sum_of([day for day in ledger.days if day.from_us >= facts.trend.now.from_us])
    parts = (
        ("this month", months[0] if months else None),
        ("days judged", judged),
        ("whole history", ledger.life),
    )
    levels = [f"to {level}" for level in PULSE_LEVELS_MA] + [f"over {PULSE_LEVELS_MA[-1]}"]
    head = (
        "exposure", "arcing half-cycles", *(f"{one} mA" for one in levels), "charge C",
        "arcing C", "A2s", "arcing A2s", "energy J", "wet h",
    )  # fmt: skip
    rows = [(name, *_ledger_row(facts, entry)) for name, entry in parts]
    kept = [k for k in range(len(head)) if k == 0 or any(row[k] != "-" for row in rows)]
    head = tuple(head[k] for k in kept)
    lines = tuple(tuple(row[k] for k in kept) for row in rows)
    widths = tuple(
        max(6, *(len(line[k]) for line in lines), *(len(word) for word in head[k].split())) + 1.5
        for k in range(len(head))
    )
    return Table(head, lines, widths, right=tuple(range(1, len(head))), small=True)


def _sum_of(days: list[Entry]) -> Entry | None:
    if not days:
        return None
    sums = {
        name: None if days[0].sums[name] is None else sum(day.sums[name] or 0 for day in days)
        for name in days[0].sums
    }
    levels = [sum(column) for column in zip(*(day.by_level for day in days), strict=True)]
    rows = sum(day.rows for day in days)
    return Entry(days[0].from_us, days[-1].to_us, rows, sums, tuple(levels))


def _ledger_row(facts: Facts, entry: Entry | None) -> list[str]:
    if entry is None:
        return ["-"] * (len(PULSE_LEVELS_MA) + 8)
    levels = [f"{one:,}" for one in entry.by_level] or ["-"] * (len(PULSE_LEVELS_MA) + 1)
    sums = entry.sums
    scaled = (
        ("charge_nc", 1e-9, 1), ("arcing_charge_nc", 1e-9, 3), ("i2t_pa2s", 1e-12, 3),
        ("arcing_i2t_pa2s", 1e-12, 4), ("energy_uj", 1e-6, 0),
    )  # fmt: skip
    return [
        number_or_dash(sums["arcing_halfcycles"], 0),
        *levels,
        *(_scaled(sums, name, step, places) for name, step, places in scaled),
        f"{_wet_hours(facts, Period(entry.from_us, entry.to_us)):,}",
    ]


def _scaled(sums: Mapping[str, int | None], name: str, step: float, places: int) -> str:
    found = sums[name]
    return "-" if found is None else f"{found * step:,.{places}f}"


def _wet_hours(facts: Facts, span: Period) -> int:
    grid = facts.site.grid
    return int(np.sum(facts.site.wet[grid.place(span.from_us) : grid.place(span.to_us)]))


def _margin(one: InsulatorTrend) -> Iterator[Block]:
    standing = one.standing
    if standing.highest_ma is None:
        yield Prose("Margin: no peaks were measured.", "note")
        return
    text = f"Margin: highest peak of the days judged {standing.highest_ma:.1f} mA"
    if standing.limit_ma is None or standing.limit_earth_ma is None:
        text += "; the creepage is not in the register, so there is no I_max"
    else:
        text += (
            f", {standing.highest_ma / standing.limit_ma:.1%} of I_max {standing.limit_ma:,.0f} mA "
            f"(phase-to-phase reading; {standing.limit_earth_ma:,.0f} mA on phase-to-earth)"
        )
    for name, fit in (("Gumbel", standing.next_year), ("peaks over a threshold",
                                                        standing.next_year_peaks)):  # fmt: skip
        if fit is not None:
            text += (
                f"; next year's highest by {name} {fit.level:.1f} mA ({fit.low:.1f} to "
                f"{fit.high:.1f}, from {fit.fitted})"
            )
    yield Prose(f"{text}. A margin, never a promise.", "note")


def _clock(one: InsulatorTrend) -> Iterator[Block]:
    if not one.clock:
        return
    bands = [
        f"after {band.from_h} to {band.to_h or 'more'} dry h {np.exp(band.log_mean):.2f} "
        f"({np.exp(band.log_low):.2f} to {np.exp(band.log_high):.2f}, {band.nights} nights)"
        for band in one.clock
    ]
    text = "; ".join(bands)
    yield Prose(
        f"Recovery clock, film current at equal wetness against all nights: {text}.", "note"
    )


def _story(facts: Facts, one: InsulatorTrend) -> Iterator[Block]:
    lines = [line for line in facts.stories[one.insulator] if line.at_us < facts.month.to_us]
    if one.wash is not None:
        effect = one.wash
        ratio = (
            "not enough wet hours"
            if effect.ratio is None
            else f"{effect.ratio:.2f} ({effect.low:.2f} to {effect.high:.2f}) times the current"
        )
        said = f"Wash of {day_text(effect.at_us)}: {effect.verdict.value}; {ratio}."
        yield Prose(said, "plain")
    if not lines:
        yield Prose("Nothing was decided, done or found on record.", "note")
        return
    rows = tuple(
        (day_text(line.at_us), line.told.value, line.text, *_exposure_at(facts, one, line.at_us))
        for line in lines[-STORY_LINES_MOST:]
    )
    head = ("date", "", "advised, decided, done and found", "wet h", "ISO h", "UV MJ/m2",
            "arcing half-cycles")  # fmt: skip
    widths = (0.09, 0.07, 0.47, 0.08, 0.08, 0.09, 0.12)
    yield Table(head, rows, widths, right=(3, 4, 5, 6), small=True)


def _exposure_at(facts: Facts, one: InsulatorTrend, at_us: int) -> tuple[str, str, str, str]:
    """What the surface had borne by then, since the history began."""
    grid = facts.site.grid
    upto = slice(0, grid.place(at_us))
    wet = int(np.sum(facts.site.wet[upto]))
    iso = int(np.sum(is_time_of_wetness(grid.rh_pct[upto], grid.air_c[upto])))
    uv = grid.uv_w_m2[upto]
    dose = f"{np.nansum(uv) * 3600 / 1e6:,.1f}" if bool(np.any(np.isfinite(uv))) else "-"
    days = [day for day in facts.ledgers[one.insulator].days if day.to_us <= at_us]
    arcing = sum(day.sums["arcing_halfcycles"] or 0 for day in days)
    return f"{wet:,}", f"{iso:,}", dose, f"{arcing:,}"
