"""The second table of years: `python -m tests.second_years.table [--sites N] [--first-seed S]`.

For each scenario N sites on each of three coasts, two years each; then evenings of the forecast.
Prints counts beside what is required of them; 0 where all holds, 10 where something fails.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable
from pathlib import Path

from tests.second_years.climate import COASTS
from tests.second_years.evenings import Evening, evenings
from tests.second_years.figures import Figure, of_evenings, of_trials
from tests.second_years.judging import Trial, trials
from tests.second_years.scenarios import SCENARIOS

SITES = 6
EVERY_DAYS = 9
HUMIDITY_SD_PCT = 4.0
SHARE_OF_SITES = {"steady": 2.0, "all currents zero": 0.2, "no weather": 0.2}
"""Of `--sites`, where a scenario needs more or fewer than the others."""


def judged(names: Iterable[str], seeds: range, out: Path | None = None) -> list[Trial]:
    """All trials of these scenarios; each is also written to `out`, a line each."""
    done: list[Trial] = []
    for name in names:
        sites = max(1, round(len(seeds) * SHARE_OF_SITES.get(name, 1.0)))
        for seed in range(seeds.start, seeds.start + sites):
            for coast in range(len(COASTS)):
                done += trials(name, seed, coast)
        print(f"{name}: done", file=sys.stderr, flush=True)
    if out is not None:
        out.write_text("".join(trial.line() + "\n" for trial in done), encoding="utf-8")
    return done


def asked(seeds: range, sd_pct: float) -> list[Evening]:
    """The evenings of these seeds on every coast."""
    return [
        evening
        for seed in seeds
        for coast in range(len(COASTS))
        for evening in evenings(seed, coast, EVERY_DAYS, sd_pct)
    ]


def said(figures: Iterable[Figure]) -> int:
    """Prints the figures; how many fail."""
    failed = 0
    for figure in figures:
        failed += not figure.holds
        print(figure.line(), flush=True)
    return failed


def main(arguments: list[str] | None = None) -> int:
    """Prints the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.second_years.table")
    parser.add_argument("--sites", type=int, default=SITES, help="of each scenario on each coast")
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--only", default="", help="part of a scenario's name, or 'evenings'")
    parser.add_argument("--out", type=Path, default=None, help="a file for the single trials")
    chosen = parser.parse_args(arguments)
    names = [name for name in SCENARIOS if chosen.only in name]
    seeds = range(chosen.first_seed, chosen.first_seed + chosen.sites)
    failed = said(of_trials(judged(names, seeds, chosen.out))) if names else 0
    if chosen.only in "evenings":
        few = range(chosen.first_seed, chosen.first_seed + max(1, chosen.sites // 3))
        failed += said(of_evenings("forecast, humidity known", asked(few, 0.0)))
        failed += said(of_evenings("forecast, humidity 4 % off", asked(few, HUMIDITY_SD_PCT)))
    print(f"{failed} figures fail")
    return 10 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
