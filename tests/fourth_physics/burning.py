"""Arcing families."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tests.families.labelled import Kind
from tests.fourth_physics import intrusions
from tests.fourth_physics.arcs import ArcStyle, arcs
from tests.fourth_physics.case import (
    Bend,
    Family,
    Paint,
    Rng,
    Span,
    bent,
    between,
    film_by_chance,
    parts,
    plain,
)
from tests.fourth_physics.quiet import EARTH_FAULT
from tests.fourth_physics.scene import Parts
from tests.fourth_physics.spoilt import gaps, lost, spoilt
from tests.fourth_physics.stage import Stage

Draw = Callable[[Rng], tuple[ArcStyle, ...]]
USUAL: Span = (5.0, 60.0)


def arcing(draw: Draw, beside: Span) -> Paint:
    """Arcs of the drawn styles over a film; beside: its crest to the first style's, evenly."""

    def paint(stage: Stage, rng: Rng) -> Parts:
        styles = draw(rng)
        crest = styles[0].crest_ma * rng.uniform(*beside)
        return parts(stage, film_by_chance(stage, crest, rng), arcs(stage, styles, rng))

    return paint


def one(crest: Span = USUAL, spans: dict[str, Span] | None = None, **fixed: object) -> Draw:
    """One path: crest evenly by logarithm, some fields evenly between two ends, some fixed."""

    def draw(rng: Rng) -> tuple[ArcStyle, ...]:
        usual = {"level": rng.uniform(0.4, 0.75), "burn": rng.uniform(0.1, 0.45)}
        usual |= {name: rng.uniform(*span) for name, span in (spans or {}).items()}
        style = ArcStyle(between(rng, crest), **usual)
        return (replace(style, **fixed),)  # type: ignore[arg-type]

    return draw


def _several(rng: Rng) -> tuple[ArcStyle, ...]:
    return tuple(
        one((4, 25), {"share": (0.3, 1)}, bands=int(rng.integers(1, 6)))(rng)[0]
        for _ in range(rng.integers(2, 5))
    )


def _one_sided(rng: Rng) -> tuple[ArcStyle, ...]:
    return one(USUAL, {"share": (0.3, 1)}, polarity=int(rng.choice([-1, 1])))(rng)


def _sloppy(rng: Rng) -> tuple[ArcStyle, ...]:
    law = str(rng.choice(["constant", "thermal"]))
    spans = {"share": (0.5, 1), "rise_s": (0, 1e-3), "lag": (0, 0.08)}
    loose = {"crest_spread": 0.5, "weibull": 4.0, "end": 0.85, "end_spread": 0.06}
    return one((8, 60), spans, law=law, restrike=0.2, growth=0.02, **loose)(rng)


def _with_corona(stage: Stage, rng: Rng) -> Parts:
    found = arcing(one(USUAL, {"share": (0.1, 0.6)}), (0.0, 1.0))(stage, rng)
    flown, spiky = intrusions.corona(stage, 0.4, 2, 15.0, 0, rng)
    return replace(found, other=flown, spiky=spiky)


def _to_the_trip(stage: Stage, rng: Rng) -> Parts:
    climb = np.interp(stage.t_s / stage.setting.seconds, [0, stage.setting.trip_at], [1, 20])
    found = arcing(one((20, 45), growth=0.01, crest_spread=0.1), (0.0, 0.3))(stage, rng)
    return replace(found, arc=found.arc * climb)


def _family(name: str, case: str, draw: Draw | Paint, beside: Span, bend: Bend = plain) -> Family:
    return Family(name, Kind.ARCING, case, arcing(draw, beside), bend)  # type: ignore[arg-type]


def _own(name: str, case: str, paint: Paint, bend: Bend = plain) -> Family:
    return Family(name, Kind.ARCING, case, paint, bend)


STILL = {"weibull": 0.0, "crest_spread": 0.0}
SMOOTH = {"rise_s": (3e-4, 3e-3)}
HALF = {"share": (0.2, 0.8)}
LONE = {"share": (0.01, 0.03)}
THIN = {"burn": (0.03, 0.12), "share": (0.4, 1)}
PLAINLY = arcing(one(USUAL, HALF), (0.0, 1.0))

BURNING: tuple[Family, ...] = (
    _family("lone_arcs", "1 to 3 % of half-cycles, far apart", one(USUAL, LONE), (0, 1)),
    _family("sparse_arcs", "3 to 20 %", one(USUAL, {"share": (0.03, 0.2)}), (0, 2)),
    _family("half_on", "20 to 80 % by coin tossing", one(USUAL, HALF), (0, 1)),
    _family("always_on", "every half-cycle", one(USUAL, level=0.5), (0, 1)),
    _family("faint", "3 to 6 mA over some 1 mA of film", one((3, 6), HALF), (0.15, 0.4)),
    _family("small_on_large", "3 to 10 times the film", one((5, 20), HALF), (3, 10)),
    _family("glow", "smooth rises", one((5, 40), SMOOTH | HALF, level=0.3), (0, 1)),
    _family("glow_always", "smooth, no scatter", one((5, 40), SMOOTH, level=0.3, **STILL), (0, 2)),
    _family("metronome", "no scatter from half-cycle to half-cycle", one(USUAL, **STILL), (0, 2)),
    _family("metronome_gaps", "no scatter, but some fail", one(USUAL, HALF, **STILL), (0, 2)),
    _family("several_bands", "two to four paths, each by itself", _several, (0, 2)),
    _family("restrike", "pauses within", one(USUAL, HALF, restrike=0.7, level=0.4), (0, 1)),
    _family("late", "after the crest", one((8, 60), HALF, lag=0.2, level=0.8), (0, 1)),
    _family(
        "early_end", "dies before or at the crest", one(USUAL, HALF, end=0.5, level=0.4), (0, 1)
    ),
    _family("one_sided", "one polarity", _one_sided, (0, 1)),
    _family("with_memory", "bursts", one(USUAL, HALF, memory=0.93), (0, 1)),
    _family("growing", "length walks", one(USUAL, HALF, growth=0.03), (0, 1)),
    _family("hyperbolic", "takes P / i", one(USUAL, THIN, law="hyperbolic"), (0, 1)),
    _family(
        "thermal",
        "conductance lags",
        one(USUAL, HALF | {"tau_s": (1e-4, 4e-4)}, law="thermal"),
        (0, 1),
    ),
    _own("sloppy", "each different", arcing(_sloppy, (0, 1))),
    _own(
        "to_the_trip", "20 to 900 mA, then a dead line", _to_the_trip, bent({"trip_at": (0.6, 0.8)})
    ),
    _family(
        "clip_fine",
        "beyond 5 mA of the fine range",
        one((6, 40), HALF),
        (0, 0.5),
        bent(full_ma=(5.0, 250.0), bits=16),
    ),
    _family(
        "clip_250",
        "beyond 250 mA",
        one((260, 800), HALF),
        (0, 0.05),
        bent(full_ma=(250.0,), bits=14),
    ),
    _family(
        "under_flat_top",
        "the supply's crest is cut",
        one(USUAL, HALF),
        (0, 1),
        bent({"flat": (0.1, 0.3)}),
    ),
    _family(
        "under_ripple",
        "a tone, notches",
        one(USUAL, HALF),
        (0, 1),
        bent(tone=0.03, tone_hz=383.0, notch=0.2),
    ),
    _family("under_earth_fault", "raised voltage", one(USUAL, HALF), (0, 1), bent(EARTH_FAULT)),
    _own("beside_corona", "corona flies too", _with_corona),
    _own("through_gaps", "stretches are lost", spoilt(PLAINLY, gaps)),
    _own("through_losses", "single samples are absent", spoilt(PLAINLY, lost)),
    _own("reversed_arcs", "polarity reversed", PLAINLY, bent(reversed=True, known=False)),
)
