"""Arcing families: what burns, in which half-cycles, beside which film."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.families.labelled import Bools, Floats
from tests.second_physics.bands import Style, arcs_of, crests, visits
from tests.second_physics.chain import Chain
from tests.second_physics.film import Drift, band_life
from tests.second_physics.quiet import filmed
from tests.second_physics.stage import Stage, Take, take_of
from tests.second_physics.supply import Supply


def arcing_take(
    stage: Stage,
    supply: Supply,
    present: Bools,
    crest_ma: Floats,
    style: Style,
    beside_ma: float,
    bridged_ma: float = 0.0,
    chain: Chain | None = None,
    strength: Floats | None = None,
) -> Take:
    """Arcs where bands are present, beside a film of parallel streams.

    bridged_ma: film current of the arc's own path in half-cycles without a band.
    """
    film = filmed(stage, supply, beside_ma)
    if bridged_ma > 0:
        film += filmed(stage, supply, bridged_ma) * ~present[:, None]
    top = max(1.6 * float(crest_ma.max()), bridged_ma) + beside_ma
    take = take_of(stage, supply, chain or stage.chain(top), film)
    arcs = arcs_of(stage, supply, present, crest_ma, style, strength)
    return replace(take, arcs=arcs)


def usual(stage: Stage, style: Style, share: float = 0.4, memory: float = 0.5) -> Take:
    """Arcs of 3 to 60 mA in a share of half-cycles, beside a smaller film."""
    supply = stage.supply()
    count, middle = len(supply.lanes), stage.spread(3.0, 60.0)
    present = visits(stage, count, share, memory)
    bridged = middle * stage.uniform(0.2, 0.8) if stage.chance(0.5) else 0.0
    beside = stage.uniform(0.05, 0.5) * min(middle, 10.0)
    return arcing_take(stage, supply, present, crests(stage, count, middle), style, beside, bridged)


def plain_band(stage: Stage) -> Take:
    """Arcs by any law between Mayr's and Cassie's."""
    return usual(stage, Style(exponent=(0.0, 0.9)), stage.uniform(0.2, 0.9))


def slow_columns(stage: Stage) -> Take:
    """Columns that take 0.3 to 1 ms to grow and to die."""
    return usual(stage, Style(exponent=(0.4, 1.0), tau_s=(3e-4, 1e-3), drop=(0.08, 0.3)))


def single_far_apart(stage: Stage) -> Take:
    """Single half-cycles, seconds apart."""
    supply = stage.supply()
    count, middle = len(supply.lanes), stage.spread(3.0, 30.0)
    present = visits(stage, count, 0.006)
    present[stage.rng.integers(count // 4, 3 * count // 4)] = True
    beside = stage.uniform(0.3, 2.0)
    bridged = middle * stage.uniform(0.1, 0.6) if stage.chance(0.5) else 0.0
    style = Style(strength=(0.4, 0.7))
    return arcing_take(stage, supply, present, crests(stage, count, middle), style, beside, bridged)


def faint(stage: Stage) -> Take:
    """Arcs of 3 to 6 mA over 1 mA of film."""
    supply = stage.supply()
    count = len(supply.lanes)
    present = visits(stage, count, stage.uniform(0.05, 0.5), stage.uniform(0.0, 0.8))
    middle = crests(stage, count, stage.uniform(3.4, 5.4), 0.1).clip(3.0, 6.0)
    return arcing_take(stage, supply, present, middle, Style(), stage.uniform(0.8, 1.2))


def small_on_large(stage: Stage) -> Take:
    """Small arcs in one stream while others carry 8 to 40 mA."""
    supply = stage.supply()
    count, film = len(supply.lanes), stage.spread(8.0, 40.0)
    present = visits(stage, count, stage.uniform(0.05, 0.4), 0.4)
    middle = film * stage.uniform(0.12, 0.4)
    style = Style(strength=(0.5, 0.85))
    bridged = middle * stage.uniform(0.3, 0.9) if stage.chance(0.3) else 0.0
    return arcing_take(stage, supply, present, crests(stage, count, middle), style, film, bridged)


def glow(stage: Stage) -> Take:
    """A glow: a constant drop, no step, smooth growth."""
    style = Style(exponent=(1.0, 1.0), drop=(0.25, 0.55), glow=True, tau_s=(3e-5, 2e-4))
    return usual(stage, style, stage.uniform(0.3, 0.9), 0.8)


def several_bands(stage: Stage) -> Take:
    """Two or three bands in series: breakdown moves from one to the next."""
    style = Style(bands=int(stage.rng.integers(2, 4)), leak=(1e-4, 3e-3), lag_s=(5e-5, 6e-4))
    return usual(stage, style, stage.uniform(0.2, 0.8))


def reignition(stage: Stage) -> Take:
    """The column is drawn out, dies and strikes again within the half-cycle."""
    style = Style(
        blown=stage.uniform(0.4, 0.9),
        tau_s=(2e-5, 8e-5),
        strength=(0.4, 0.6),
        recovery_s=(2e-4, 1.5e-3),
        weakened=(0.3, 0.7),
    )
    return usual(stage, style)


def late_ignition(stage: Stage) -> Take:
    """Breakdown near the crest, or behind it after a lag."""
    style = Style(strength=(0.9, 0.97), jitter=0.02, lag_s=(0.0, 8e-4), polar=(0.98, 1.02))
    if stage.chance(0.5):
        style = Style(strength=(0.6, 0.75), lag_s=(2.2e-3, 3.6e-3), drop=(0.03, 0.07))
    return usual(stage, style, stage.uniform(0.3, 0.8))


def early_extinction(stage: Stage) -> Take:
    """A column by Mayr's equation that needs much of the voltage, and does not strike again."""
    style = Style(
        exponent=(0.0, 0.1),
        drop=(0.1, 0.18),
        strength=(0.7, 0.85),
        weakened=(0.0, 0.05),
        recovery_s=(2e-5, 6e-5),
        tau_s=(2e-5, 8e-5),
    )
    return usual(stage, style)


def one_polarity(stage: Stage) -> Take:
    """The band breaks down in half-cycles of one sign; in the others the path is interrupted."""
    supply = stage.supply()
    count, middle = len(supply.lanes), stage.spread(3.0, 60.0)
    present = visits(stage, count, stage.uniform(0.3, 0.9), 0.9)
    burns = supply.lanes.signs == stage.rng.choice((-1.0, 1.0))
    base = stage.uniform(0.45, 0.8)
    strength = np.where(burns, base * np.exp(0.05 * stage.rng.normal(size=count)), 1.8)
    return arcing_take(
        stage,
        supply,
        present,
        crests(stage, count, middle),
        Style(),
        stage.uniform(0.3, 3.0),
        bridged_ma=middle * 0.4 * stage.chance(0.5),
        strength=strength,
    )


def bursts(stage: Stage) -> Take:
    """A band that burns wide, falls silent, is wetted and burns again; or closes."""
    supply = stage.supply()
    count, middle = len(supply.lanes), stage.spread(3.0, 60.0)
    drift = Drift(
        stage.spread(0.4, 4.0),
        stage.spread(0.1, 0.6),
        stage.uniform(0.02, 0.08),
        stage.spread(0.1, 0.8),
        stage.uniform(0.1, 0.3),
        stage.spread(0.03, 0.2),
    )
    present, strength = band_life(stage.rng, supply.lanes.spans_s, drift)
    if not present.any():
        present[count // 3], strength[count // 3] = True, 0.6
    return arcing_take(
        stage,
        supply,
        present,
        crests(stage, count, middle),
        Style(),
        stage.uniform(0.2, 2.0),
        bridged_ma=middle * stage.uniform(0.2, 0.9),
        strength=strength,
    )


def under_distortion(stage: Stage) -> Take:
    """Arcs while the supply is distorted by 4 to 8 %."""
    supply = stage.supply(0.04, 0.08)
    count, middle = len(supply.lanes), stage.spread(3.0, 40.0)
    present = visits(stage, count, 0.3, 0.6)
    beside = stage.uniform(0.3, 0.8) * middle
    return arcing_take(stage, supply, present, crests(stage, count, middle), Style(), beside)
