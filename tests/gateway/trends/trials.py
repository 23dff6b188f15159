"""Trials of the change verdict on seeded years: `python -m tests.gateway.trends.trials --trials N`.

Each line of the table is a kind of year, drawn N times; counts are of insulators that were meant to
show it. Seeds are N in a row from `--first-seed` on, so a table can be made again. Nothing is tuned
per kind.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from gateway.trends.causes import Cause
from gateway.trends.change import InsulatorTrend, SiteTrend, compare_periods
from gateway.trends.columns import HOUR_US, Action, MaintenanceRow
from tests.gateway.trends.years import FILES, HOURS, START_US, Made, Year, made, name

ALL = dict.fromkeys(range(4), 2.0)
LASTING = {1: 10.0}


@dataclass(frozen=True, slots=True)
class Kind:
    """subjects: insulators that are looked at. step: true log ratio. causes: right answers."""

    label: str
    year: Year
    subjects: tuple[int, ...]
    causes: tuple[Cause, ...]
    step: float | None = 0.0
    washed: float | None = None


BASE = Year(seed=0)
EVERY = (0, 1, 2, 3)
STEADY = (Cause.NONE,)
DEPOSIT = (Cause.DEPOSIT_SITE,)
DOUBT = (Cause.SENSOR, Cause.CANNOT_TELL)
KINDS: dict[str, Kind] = {
    "steady": Kind("steady surfaces, Miami", BASE, EVERY, STEADY),
    "steady-north": Kind(
        "steady surfaces, Sand Point", replace(BASE, file=FILES[1]), EVERY, STEADY
    ),
    "steady-carry": Kind("steady, nights resemble (0.5)", replace(BASE, carry=0.5), EVERY, STEADY),
    "steady-power": Kind("steady, power-law response", replace(BASE, shape="power"), EVERY, STEADY),
    "steady-relay": Kind("steady, salt wets 76 dries 55", replace(BASE, relay=True), EVERY, STEADY),
    "steady-gaps": Kind(
        "steady, outage and 8 % gaps",
        replace(BASE, outage_hours=200, gap_share=0.08),
        EVERY,
        STEADY,
    ),
    "probe": Kind(
        "steady, probe drifts 4 %",
        replace(BASE, probe_drift_pct=4.0),
        EVERY,
        (Cause.NONE, Cause.PROBE),
        None,
    ),
    "season": Kind("wet season after a dry one", replace(BASE, dryer_first_pct=6.0), EVERY, STEADY),
    "deposit": Kind(
        "deposit doubled at the site", replace(BASE, factor=ALL), EVERY, DEPOSIT, np.log(2.0)
    ),
    "deposit-power": Kind(
        "deposit doubled, power law",
        replace(BASE, factor=ALL, shape="power"),
        EVERY,
        DEPOSIT,
        np.log(2.0),
    ),
    "single": Kind(
        "one doubled", replace(BASE, factor={2: 2.0}), (2,), (Cause.SINGLE_UNIT,), np.log(2.0)
    ),
    "lasting": Kind(
        "onset of one lower by 10 %",
        replace(BASE, onset_drop=LASTING),
        (1,),
        (Cause.HYDROPHOBICITY_LASTING,),
    ),
    "lasting-north": Kind(
        "onset of one lower by 10 %, N",
        replace(BASE, onset_drop=LASTING, file=FILES[1]),
        (1,),
        (Cause.HYDROPHOBICITY_LASTING,),
    ),
    "reversible": Kind(
        "the same, back after 20 dry h",
        replace(BASE, onset_drop=LASTING, recovers_after_h=20.0),
        (1,),
        (Cause.HYDROPHOBICITY_REVERSIBLE,),
        None,
    ),
    "reversible-date": Kind(
        "the same, back half-way",
        replace(BASE, onset_drop=LASTING, back_hour=HOURS * 3 // 4),
        (1,),
        (Cause.HYDROPHOBICITY_REVERSIBLE,),
        None,
    ),
    "fade": Kind("sensor fades to 0.5", replace(BASE, fade={0: 0.5}), (0,), DOUBT, None),
    "dies": Kind("sensor dies", replace(BASE, dies=(0,)), (0,), DOUBT, None),
    "bypass": Kind("bypass leaves 0.5", replace(BASE, bypass={0: 0.5}), (0,), DOUBT, None),
    "wash": Kind(
        "washed: current to 0.4",
        replace(BASE, factor={0: 0.4}),
        (0,),
        (Cause.SINGLE_UNIT,),
        np.log(0.4),
        0.4,
    ),
}


def judged_year(year: Year) -> SiteTrend:
    """A drawn year through the entry point."""
    return judged(made(year))


def judged(drawn: Made) -> SiteTrend:
    return compare_periods(
        drawn.site, drawn.weather, drawn.register, drawn.reference, drawn.now, drawn.maintenance
    )


def trial(kind: Kind, seed: int) -> list[InsulatorTrend]:
    """The subjects of one drawn year."""
    year = replace(kind.year, seed=seed)
    work: tuple[MaintenanceRow, ...] = ()
    if kind.washed is not None:
        at = START_US + year.change_hour * HOUR_US
        work = (MaintenanceRow(name(0), at, Action.WASH),)
    found = {one.insulator: one for one in judged(made(year, work)).insulators}
    return [found[name(k)] for k in kind.subjects]


@dataclass(frozen=True, slots=True)
class Outcome:
    """Counts over the trials of one kind."""

    years: int
    surfaces: int
    years_flagged: int
    flagged: int
    right_cause: int
    covered: int
    compared: int
    called_better: int
    wash_covered: int
    washes: int
    causes: Counter[str]
    decisions: Counter[str]


def outcome(kind: Kind, seeds: range) -> Outcome:
    """All trials of one kind, counted."""
    years = [trial(kind, seed) for seed in seeds]
    every = [one for year in years for one in year]
    step = kind.step
    ratioed = [one for one in every if one.index_ratio is not None and step is not None]
    washes = [one.wash for one in every if one.wash is not None and one.wash.ratio is not None]
    truth = kind.washed or 1.0
    return Outcome(
        years=len(seeds),
        surfaces=len(every),
        years_flagged=sum(any(one.changed for one in year) for year in years),
        flagged=sum(bool(one.changed) for one in every),
        right_cause=sum(one.cause in kind.causes for one in every),
        covered=sum(_covers(one, float(np.exp(step or 0.0))) for one in ratioed),
        compared=len(ratioed),
        called_better=sum(_better(one) for one in every),
        wash_covered=sum((w.low or 0) <= truth <= (w.high or 0) for w in washes),
        washes=len(washes),
        causes=Counter(one.cause.value for one in every),
        decisions=Counter(one.advice.decision.value for one in every),
    )


def _covers(one: InsulatorTrend, truth: float) -> bool:
    assert one.index_ratio_low is not None and one.index_ratio_high is not None
    return one.index_ratio_low <= truth <= one.index_ratio_high


def _better(one: InsulatorTrend) -> bool:
    """Said to be better: a ratio below 1 that counts as a change, or nothing to do with it."""
    fell = one.index_ratio is not None and (one.index_ratio_high or 1.0) < 0.8
    return bool(fell and one.advice.decision.value == "none-indicated")


def line(kind: Kind, found: Outcome) -> str:
    cover = f"{found.covered}/{found.compared}" if found.compared else "-"
    wash = f" wash {found.wash_covered}/{found.washes}" if found.washes else ""
    causes = " ".join(f"{name}:{count}" for name, count in found.causes.most_common(4))
    decisions = " ".join(f"{name}:{count}" for name, count in found.decisions.most_common(3))
    return (
        f"{kind.label:30} years {found.years:3} flagged {found.years_flagged:3}; surfaces "
        f"{found.surfaces:4} flagged {found.flagged:4} right cause {found.right_cause:4} "
        f"in interval {cover:9} better {found.called_better}{wash}\n    {causes} | {decisions}"
    )


def _said(text: str) -> None:
    print(text, flush=True)


def table(seeds: range, kinds: list[str], say: Callable[[str], None] = _said) -> None:
    for key in kinds:
        say(line(KINDS[key], outcome(KINDS[key], seeds)))


if __name__ == "__main__":
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--trials", type=int, default=20)
    reader.add_argument("--first-seed", type=int, default=0)
    reader.add_argument("--kind", action="append", choices=list(KINDS))
    given = reader.parse_args()
    asked = range(given.first_seed, given.first_seed + given.trials)
    table(asked, given.kind or list(KINDS))
