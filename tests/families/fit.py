"""Fits the weights of `edge.measure.arc_model`: `python -m tests.families.fit --seeds 100`.

Short recordings of every family of three generators are measured; each half-cycle's figures and its
true label make one example. Doubtful ones and those below the noise limit are left out. One hidden
layer is fitted by maximum likelihood with a penalty on the squares of the weights, so that the
output is a probability; a fifth of the seeds is held back and reported. Writes the module
`edge/measure/arc_weights.py`; look at the table of cases before committing it.
"""

from __future__ import annotations

import argparse
import textwrap
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

from edge.measure import arc_weights
from edge.measure.arc_model import CLIP
from edge.measure.shape import FIGURES
from tests.families import families as first
from tests.families.judging import heard_and_tables
from tests.families.labelled import Bools, Floats, Label, Labelled
from tests.families.matching import paired
from tests.families.outcome import HalfcycleOutcome
from tests.second_physics import families as second
from tests.third_physics import families as third

TARGET = Path(arc_weights.__file__)
HIDDEN = 16
PENALTY = 3e-5
ITERATIONS = 250
HELD_BACK = 5
"""Every so many-th seed is not fitted to."""

NOISE_RATIO_LEAST = 2.0
"""Half-cycles with less residual over the noise are judged by that alone."""


@dataclass(frozen=True, slots=True, eq=False)
class Examples:
    """figures: (n, figures); arcing: the truth; seed: of the recording."""

    figures: Floats
    arcing: Bools
    seed: Floats


def examples_of(labelled: Labelled) -> Examples:
    """One example a half-cycle that can be told."""
    heard, _ = heard_and_tables(labelled.recording)
    halves = [(one, one.usable) for one in heard if one.figures.size]
    if not halves:
        return Examples(np.zeros((0, len(FIGURES))), np.zeros(0, np.bool_), np.zeros(0))
    flat = [
        np.concatenate([getattr(h, name)[use].ravel() for h, use in halves])
        for name in ("start", "end", "polarity")
    ]
    figures = np.concatenate([h.figures[use].reshape(-1, len(FIGURES)) for h, use in halves])
    none = np.zeros(len(figures))
    said = HalfcycleOutcome(flat[0], flat[1], none, none.astype(np.int8), flat[2].astype(np.int8))
    pair = paired(labelled, said)
    label = labelled.truth.label[np.maximum(pair, 0)]
    told = (pair >= 0) & (label != Label.DOUBTFUL) & ~labelled.truth.lost[np.maximum(pair, 0)]
    told &= figures[:, 0] > np.log(NOISE_RATIO_LEAST)
    return Examples(
        figures[told].astype(np.float32),
        label[told] == Label.ARCING,
        np.full(int(told.sum()), float(labelled.seed)),
    )


def _task(asked: tuple[str, str, int, float]) -> Examples:
    generator, name, seed, seconds = asked
    return examples_of(_made(generator, name, seed, seconds))


def _made(generator: str, name: str, seed: int, seconds: float) -> Labelled:
    if generator == "first":
        return first.recording_of(first.BY_NAME[name], seed, seconds)
    if generator == "second":
        return second.recording_of(second.BY_NAME[name], seed, seconds)
    return third.recording_of(third.BY_NAME[name], seed, seconds)


def collected(seeds: Iterable[int], seconds: float, processes: int) -> Examples:
    """Examples of all families of the three generators."""
    generators = {"first": first.BY_NAME, "second": second.BY_NAME, "third": third.BY_NAME}
    kinds = [(one, name) for one, families in generators.items() for name in families]
    asked = [
        (generator, name, seed, seconds)
        for seed in seeds
        for generator, name in kinds
        if name != "with-gaps"
    ]
    with ProcessPoolExecutor(processes) as pool:
        found = list(pool.map(_task, asked, chunksize=16))
    return Examples(
        np.concatenate([one.figures for one in found]),
        np.concatenate([one.arcing for one in found]),
        np.concatenate([one.seed for one in found]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Model:
    """Centre and scale of the figures, and all weights in one vector."""

    centre: Floats
    scale: Floats
    weights: Floats

    def parts(self) -> tuple[Floats, Floats, Floats, float]:
        """(hidden weights, offsets, outer weights, bias)."""
        inner = len(self.centre) * HIDDEN
        return (
            self.weights[:inner].reshape(-1, HIDDEN),
            self.weights[inner : inner + HIDDEN],
            self.weights[inner + HIDDEN : -1],
            float(self.weights[-1]),
        )

    def scaled(self, figures: Floats) -> Floats:
        """Figures as the model takes them."""
        return np.clip((figures.astype(np.float64) - self.centre) / self.scale, -CLIP, CLIP)

    def probability(self, figures: Floats) -> Floats:
        """Probability of an arc."""
        hidden, offsets, outer, bias = self.parts()
        odds = np.tanh(self.scaled(figures) @ hidden + offsets) @ outer + bias
        return np.asarray(1.0 / (1.0 + np.exp(-np.clip(odds, -40.0, 40.0))), np.float64)


def fitted(examples: Examples, seed: int = 0) -> Model:
    """The model of greatest penalised likelihood."""
    wide = examples.figures.astype(np.float64)
    start = Model(wide.mean(axis=0), wide.std(axis=0) + 1e-3, np.zeros(0))
    scaled, truth = start.scaled(wide), examples.arcing.astype(np.float64)
    rng = np.random.default_rng(seed)
    inner = scaled.shape[1] * HIDDEN
    first = np.concatenate(
        [
            rng.standard_normal(inner) / np.sqrt(scaled.shape[1]),
            np.zeros(HIDDEN),
            rng.standard_normal(HIDDEN) / np.sqrt(HIDDEN),
            [0.0],
        ]
    )
    penal = np.ones_like(first)
    penal[inner : inner + HIDDEN] = penal[-1] = 0.0

    def loss(weights: Floats) -> tuple[float, Floats]:
        hidden, offsets, outer, bias = Model(start.centre, start.scale, weights).parts()
        layer = np.tanh(scaled @ hidden + offsets)
        odds = layer @ outer + bias
        wrong = (1.0 / (1.0 + np.exp(-np.clip(odds, -40, 40))) - truth) / len(truth)
        back = wrong[:, None] * outer * (1.0 - layer * layer)
        slope = np.concatenate(
            [(scaled.T @ back).ravel(), back.sum(0), layer.T @ wrong, [wrong.sum()]]
        )
        missed = float(np.mean(np.logaddexp(0.0, odds) - truth * odds))
        return (
            missed + PENALTY * float(np.sum(penal * weights * weights)),
            slope + 2 * PENALTY * penal * weights,
        )

    options = {"maxiter": ITERATIONS, "maxcor": 20}
    best = minimize(loss, first, jac=True, method="L-BFGS-B", options=options)
    return Model(start.centre, start.scale, best.x)


def module_text(model: Model, note: str) -> str:
    """The source of `edge.measure.arc_weights`."""
    hidden, offsets, outer, bias = model.parts()

    def row(numbers: Floats, indent: str) -> str:
        plain = ", ".join(f"{number:.4g}" for number in numbers)
        return f"\n{indent}".join(textwrap.wrap(plain, 92))

    rows = "\n".join(f"    ({row(numbers, '     ')})," for numbers in hidden)
    lines = [
        '"""Weights of `arc_model`, written by `python -m tests.families.fit`; never by hand.',
        "",
        note,
        '"""',
        "",
        "# fmt: off",
        *(
            f"{name} = (\n    {row(numbers, '    ')},\n)"
            for name, numbers in (("CENTRE", model.centre), ("SCALE", model.scale))
        ),
        f"HIDDEN = (\n{rows}\n)",
        *(
            f"{name} = (\n    {row(numbers, '    ')},\n)"
            for name, numbers in (("OFFSETS", offsets), ("OUT", outer))
        ),
        f"BIAS = {bias:.5g}",
    ]
    return "\n".join(lines) + "\n"


def report(title: str, model: Model, examples: Examples) -> str:
    """Precision and recall of half-cycles at even odds."""
    said = model.probability(examples.figures) >= 0.5
    right = int(np.sum(said & examples.arcing))
    return (
        f"{title}: {len(said)} half-cycles, precision {right / max(1, int(said.sum())):.4f}, "
        f"recall {right / max(1, int(examples.arcing.sum())):.4f}, "
        f"wrongly said {int(np.sum(said & ~examples.arcing))}"
    )


def main() -> None:
    """Collects, fits, reports, writes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=120)
    parser.add_argument("--first-seed", type=int, default=1000)
    parser.add_argument("--seconds", type=float, default=1.6)
    parser.add_argument("--processes", type=int, default=2)
    asked = parser.parse_args()
    seeds = range(asked.first_seed, asked.first_seed + asked.seeds)
    examples = collected(seeds, asked.seconds, asked.processes)
    back = examples.seed % HELD_BACK == 0
    kept = Examples(examples.figures[~back], examples.arcing[~back], examples.seed[~back])
    held = Examples(examples.figures[back], examples.arcing[back], examples.seed[back])
    model = fitted(kept)
    print(report("fitted to", model, kept))
    print(report("held back", model, held))
    note = (
        f"Seeds {seeds.start} to {seeds.stop - 1} of the three generators, {asked.seconds} s each,"
        f"\nevery {HELD_BACK}th held back: {report('held back', model, held)}."
    )
    TARGET.write_text(module_text(model, note), encoding="utf-8")


if __name__ == "__main__":
    main()
