"""The third generator's table: `python -m tests.third_physics.table --judge MODULE:FUNCTION`.

Figures, limits and printing are the first generator's; only the recordings are others.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable
from typing import Protocol, TypeVar

from tests.families.labelled import Kind, Labelled
from tests.families.outcome import Judge
from tests.families.scoring import Score, score
from tests.families.table import failures, head, line, loaded, pooled
from tests.third_physics.families import FAMILIES, SECONDS, recording_of


class Named(Protocol):
    """What the table needs of a family, of whichever generator."""

    @property
    def name(self) -> str: ...

    @property
    def kind(self) -> Kind: ...


FamilyT = TypeVar("FamilyT", bound=Named)
Recorder = Callable[[FamilyT, int, float], Labelled]


def judged(
    judge: Judge,
    families: Iterable[FamilyT],
    seeds: Iterable[int],
    seconds: float = SECONDS,
    told: Callable[[str], object] = lambda text: None,
    recorder: Recorder[FamilyT] = recording_of,  # type: ignore[assignment]
) -> dict[str, Score]:
    """Scores by family; `told` gets each finished line; `recorder` makes a family's recording."""
    numbers, scores = tuple(seeds), {}
    for family in families:
        recordings = (recorder(family, seed, seconds) for seed in numbers)
        scores[family.name] = pooled(score(one, judge(one.recording)) for one in recordings)
        told(line(family.name, scores[family.name]))
    return scores


def summary(scores: dict[str, Score], families: Iterable[Named] = FAMILIES) -> list[str]:
    """The lines below the table."""
    every = tuple(families)
    everything = pooled(scores.values())
    lines = [line("all", everything)]
    for kind in Kind:
        of_kind = [scores[f.name] for f in every if f.kind is kind and f.name in scores]
        lines.append(line(kind.value, pooled(of_kind)))
    share = everything.excused / max(everything.said, 1)
    lines.append(
        f"{everything.recordings} recordings, {everything.said} half-cycles judged, "
        f"{everything.excused} ({share:.2%}) undecided by the criterion, not scored"
    )
    worst = max(scores, key=lambda name: scores[name].excused / max(scores[name].said, 1))
    of = scores[worst]
    lines.append(f"most undecided: {worst}, {of.excused / max(of.said, 1):.2%}")
    lines.append(f"corona half-cycles {everything.spikes_true}, said {everything.spikes_said}")
    rate = everything.false_per_million
    if rate is not None:
        lines.append(
            f"false arcing windows: {everything.false_windows} in {everything.harmless} harmless "
            f"half-cycles = {rate[0]:.3g} per million, upper bound (95 %) {rate[1]:.3g}"
        )
    return lines


def seeds_of(text: str) -> tuple[int, ...]:
    """`1-3` or `4`."""
    first, _, last = text.partition("-")
    return tuple(range(int(first), int(last or first) + 1))


def run(
    program: str,
    every: tuple[FamilyT, ...],
    recorder: Recorder[FamilyT],
    seconds: float,
    arguments: list[str] | None,
) -> int:
    """Prints a generator's table; 0 where every limit holds, 10 where one is missed."""
    parser = argparse.ArgumentParser(prog=program)
    parser.add_argument("--judge", default="tests.families.twins:amplitude_5ma")
    parser.add_argument("--seeds", type=seeds_of, default=(1, 2, 3), help="as 1-3, or one")
    parser.add_argument("--seconds", type=float, default=seconds, help="of each recording")
    parser.add_argument("--only", default="", help="part of a family's name, or a kind")
    chosen = parser.parse_args(arguments)
    families = [f for f in every if chosen.only in f.name or chosen.only == f.kind.value]
    if not families:
        parser.error(f"--only {chosen.only!r}: no family and no kind is called so")
    print(head())
    judge = loaded(chosen.judge)
    scores = judged(
        judge, families, chosen.seeds, chosen.seconds, lambda t: print(t, flush=True), recorder
    )
    print("\n".join(summary(scores, every)))
    missed = failures(scores)
    print(f"{len(missed)} figures miss their limit")
    for text in missed:
        print(f"  {text}")
    return 10 if missed else 0


def main(arguments: list[str] | None = None) -> int:
    """The third generator's table."""
    return run("python -m tests.third_physics.table", FAMILIES, recording_of, SECONDS, arguments)


if __name__ == "__main__":
    sys.exit(main())
