"""The table of cases and figures: `python -m tests.families.table --judge MODULE:FUNCTION`.

Per family and pooled; sums are pooled, errors never cancel, and the worst recording stands beside
the mean where one is held to a limit. A figure beyond its limit carries a `!`.
"""

from __future__ import annotations

import argparse
import importlib
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import cast

from tests.families.families import FAMILIES, Family, recording_of
from tests.families.labelled import Kind
from tests.families.outcome import Judge
from tests.families.scoring import Score, score


@dataclass(frozen=True, slots=True)
class Figure:
    """One column: title, how it is read from a score, its limit, and how it is printed."""

    title: str
    read: Callable[[Score], float | None]
    least: float | None = None
    most: float | None = None
    scale: float = 1.0
    places: int = 4

    def fails(self, of: Score) -> bool:
        """Whether the figure can be said and misses its limit."""
        found = self.read(of)
        if found is None:
            return False
        low = self.least is not None and found < self.least
        return low or (self.most is not None and found > self.most)

    def text(self, of: Score) -> str:
        """Eight characters: the figure, `-` where it cannot be said, `!` where it fails."""
        found = self.read(of)
        if found is None:
            return f"{'-':>7} "
        figure = f"{found * self.scale:.{self.places}f}"
        return f"{figure if len(figure) <= 7 else '>9999':>7}{'!' if self.fails(of) else ' '}"


def _worst(errors: tuple[float, ...]) -> float | None:
    return max(errors) if errors else None


def _false(of: Score) -> float | None:
    return float(of.false_windows) if of.harmless else None


COUNT_ERROR_MOST = 0.02
"""A recording whose count is further off misses the requirement."""

FIGURES = (
    Figure("win P", lambda s: s.windows.precision, least=0.99),
    Figure("win R", lambda s: s.windows.recall, least=0.99),
    Figure("half P", lambda s: s.halfcycles.precision, least=0.98),
    Figure("half R", lambda s: s.halfcycles.recall, least=0.98),
    Figure("state", lambda s: s.state_share, least=0.98),
    Figure("count%", lambda s: _worst(s.count_errors), most=COUNT_ERROR_MOST, scale=100, places=2),
    Figure("chrg%", lambda s: s.charge_error, most=0.05, scale=100, places=2),
    Figure("calib", lambda s: s.calibration, most=0.02),
    Figure("doubt%", lambda s: s.doubtful_share, most=0.02, scale=100, places=2),
    Figure("false", _false, most=0.0, places=0),
)
"""Limits are the requirement's. count%: the worst recording with a hundred arcs or more."""

NAME_WIDTH = 20


def head() -> str:
    """The table's first line."""
    return f"{'family':<{NAME_WIDTH}}" + "".join(f"{f.title:>7} " for f in FIGURES).rstrip()


def line(name: str, of: Score) -> str:
    """One line of the table, at most 100 columns."""
    return f"{name:<{NAME_WIDTH}}" + "".join(figure.text(of) for figure in FIGURES).rstrip()


def failures(scores: dict[str, Score]) -> list[str]:
    """`family: figure` for each that misses its limit, pooled ones included."""
    everything = scores | {"all": pooled(scores.values())}
    return [
        f"{name}: {figure.title}"
        for name, of in everything.items()
        for figure in FIGURES
        if figure.fails(of)
    ]


def pooled(scores: Iterable[Score]) -> Score:
    """All sums together."""
    return sum(scores, Score())


def judged(
    judge: Judge,
    families: Iterable[Family],
    seeds: Iterable[int],
    seconds: float | None = None,
    told: Callable[[str], object] | None = None,
) -> dict[str, Score]:
    """Scores by family; `told` gets each finished line."""
    numbers, scores = tuple(seeds), {}
    for family in families:
        total = Score()
        for seed in numbers:
            labelled = recording_of(family, seed, seconds)
            total = total + score(labelled, judge(labelled.recording))
        scores[family.name] = total
        if told is not None:
            told(line(family.name, total))
    return scores


def miscounted(of: Score) -> str:
    """How many recordings are held to their count, and how many of them miss it."""
    missed = sum(error > COUNT_ERROR_MOST for error in of.count_errors)
    return (
        f"count off by more than {COUNT_ERROR_MOST:.0%} in {missed} of {len(of.count_errors)} "
        "recordings with a hundred arcs or more"
    )


def summary(scores: dict[str, Score]) -> list[str]:
    """The lines below the table."""
    everything = pooled(scores.values())
    lines = [line("all", everything)]
    lines += [
        line(
            kind.value,
            pooled(scores[f.name] for f in FAMILIES if f.kind is kind and f.name in scores),
        )
        for kind in Kind
    ]
    lines.append(
        f"{everything.recordings} recordings, {everything.said} half-cycles judged, "
        f"{everything.excused} doubtful by physics (not scored)"
    )
    lines.append(miscounted(everything))
    lines.append(f"corona half-cycles {everything.spikes_true}, said {everything.spikes_said}")
    if everything.calibration_between is not None:
        between = int(everything.bins[0, 1:-1].sum())
        lines.append(
            f"calibration between 0.1 and 0.9: {everything.calibration_between:.4f} "
            f"over {between} half-cycles"
        )
    if everything.charge_errors:
        lines.append(
            f"arcing charge, worst whole recording: {100 * max(everything.charge_errors):.2f} %"
        )
    rate = everything.false_per_million
    if rate is not None:
        lines.append(
            f"false arcing windows: {everything.false_windows} in {everything.harmless} harmless "
            f"half-cycles = {rate[0]:.3g} per million, upper bound (95 %) {rate[1]:.3g}"
        )
    return lines


def loaded(name: str) -> Judge:
    """The judge MODULE:FUNCTION."""
    module, _, function = name.partition(":")
    if not function:
        raise SystemExit(f"--judge is {name!r}; it must be MODULE:FUNCTION")
    return cast(Judge, getattr(importlib.import_module(module), function))


def main(arguments: list[str] | None = None) -> int:
    """Prints the table; 0 where every limit holds, 10 where one is missed."""
    parser = argparse.ArgumentParser(prog="python -m tests.families.table")
    parser.add_argument("--judge", default="tests.families.twins:amplitude_5ma")
    parser.add_argument(
        "--seeds", type=int, default=20, help="recordings a family (20: all conditions)"
    )
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--seconds", type=float, default=None, help="length of each recording")
    parser.add_argument("--only", default="", help="part of a family's name, or a kind")
    chosen = parser.parse_args(arguments)
    families = [f for f in FAMILIES if chosen.only in f.name or chosen.only == f.kind.value]
    print(head())
    seeds = range(chosen.first_seed, chosen.first_seed + chosen.seeds)
    scores = judged(
        loaded(chosen.judge), families, seeds, chosen.seconds, lambda text: print(text, flush=True)
    )
    print("\n".join(summary(scores)))
    missed = failures(scores)
    print(f"{len(missed)} figures miss their limit")
    for text in missed:
        print(f"  {text}")
    return 10 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
