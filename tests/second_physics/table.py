"""The second generator's table: `python -m tests.second_physics.table --judge MODULE:FUNCTION`.

Figures, limits and printing are the first generator's; only the recordings are others.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable

from tests.families.labelled import Kind
from tests.families.outcome import Judge
from tests.families.scoring import Score, score
from tests.families.table import failures, head, line, loaded, miscounted, pooled
from tests.second_physics.families import FAMILIES, Family, recording_of


def judged(
    judge: Judge,
    families: Iterable[Family],
    seeds: Iterable[int],
    seconds: float | None = None,
    told: Callable[[str], object] = lambda text: None,
) -> dict[str, Score]:
    """Scores by family; `told` gets each finished line."""
    numbers, scores = tuple(seeds), {}
    for family in families:
        recordings = (recording_of(family, seed, seconds) for seed in numbers)
        scores[family.name] = pooled(score(one, judge(one.recording)) for one in recordings)
        told(line(family.name, scores[family.name]))
    return scores


def summary(scores: dict[str, Score]) -> list[str]:
    """The lines below the table."""
    everything = pooled(scores.values())
    lines = [line("all", everything)]
    for kind in Kind:
        of_kind = [scores[f.name] for f in FAMILIES if f.kind is kind and f.name in scores]
        lines.append(line(kind.value, pooled(of_kind)))
    lines.append(
        f"{everything.recordings} recordings, {everything.said} half-cycles judged, "
        f"{everything.excused} doubtful by physics (not scored)"
    )
    lines.append(miscounted(everything))
    lines.append(f"corona half-cycles {everything.spikes_true}, said {everything.spikes_said}")
    rate = everything.false_per_million
    if rate is not None:
        lines.append(
            f"false arcing windows: {everything.false_windows} in {everything.harmless} harmless "
            f"half-cycles = {rate[0]:.3g} per million, upper bound (95 %) {rate[1]:.3g}"
        )
    return lines


def main(arguments: list[str] | None = None) -> int:
    """Prints the table; 0 where every limit holds, 10 where one is missed."""
    parser = argparse.ArgumentParser(prog="python -m tests.second_physics.table")
    parser.add_argument("--judge", default="tests.families.twins:amplitude_5ma")
    parser.add_argument("--seeds", type=int, default=20, help="recordings a family")
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--seconds", type=float, default=None, help="length of each recording")
    parser.add_argument("--only", default="", help="part of a family's name, or a kind")
    chosen = parser.parse_args(arguments)
    families = [f for f in FAMILIES if chosen.only in f.name or chosen.only == f.kind.value]
    seeds = range(chosen.first_seed, chosen.first_seed + chosen.seeds)
    print(head())
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
