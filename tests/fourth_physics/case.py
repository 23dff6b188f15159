"""What a family is made of: a sentence, a bend of the setting, a painter of currents."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from tests.families.labelled import Floats, Kind
from tests.fourth_physics import films
from tests.fourth_physics.scene import Parts
from tests.fourth_physics.setting import Setting
from tests.fourth_physics.stage import Stage

Rng = np.random.Generator
Bend = Callable[[Setting, Rng], Setting]
Paint = Callable[[Stage, Rng], Parts]
Span = tuple[float, float]


def plain(setting: Setting, rng: Rng) -> Setting:
    """The setting as drawn."""
    return setting


@dataclass(frozen=True, slots=True)
class Family:
    """name: of the table's line. case: what it tries, one sentence."""

    name: str
    kind: Kind
    case: str
    paint: Paint
    bend: Bend = plain


def _fixed(setting: Setting, rng: Rng, spans: dict[str, Span], fixed: dict[str, object]) -> Setting:
    chance = {name: float(rng.uniform(*span)) for name, span in spans.items()}
    return replace(setting, **chance, **fixed)  # type: ignore[arg-type]


def bent(spans: dict[str, Span] | None = None, **fixed: object) -> Bend:
    """A bend: some fields evenly between two ends, some fixed."""
    return partial(_fixed, spans=spans or {}, fixed=fixed)


def between(rng: Rng, span: Span) -> float:
    """Evenly by logarithm between two positive ends."""
    return float(np.exp(rng.uniform(np.log(span[0]), np.log(span[1]))))


def parts(
    stage: Stage,
    film: Floats | float = 0.0,
    arc: Floats | float = 0.0,
    other: Floats | float = 0.0,
    standing: Floats | float = 0.0,
) -> Parts:
    """The currents given, beside the bare surface's capacitive one."""
    none = np.zeros(len(stage.t_s))
    bare = films.capacitive(stage, stage.setting.capacity_ma)
    return Parts(bare + standing, none + film, none + arc, none + other)


def film_by_chance(stage: Stage, crest_ma: float, rng: Rng) -> Floats:
    """One of the films: steady, walking, heated within the half-cycle."""
    kind = rng.integers(3)
    if kind == 0:
        return films.ohmic(stage, crest_ma)
    if kind == 1:
        sigma, tau_s = rng.uniform(0.1, 0.5), rng.uniform(0.5, 5)
        return films.ohmic(stage, crest_ma, films.walk(stage, sigma, tau_s, rng))
    return films.heated(stage, crest_ma, rng.uniform(-0.1, 0.25), rng.uniform(1e-3, 2e-2))
