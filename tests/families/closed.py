"""Closed forms: waves that repeat exactly, as a textbook draws them.

Real arcs scatter; these do not, so that a detector cannot live on scatter alone. Dead bands,
delayed firing and a gap that only a part of the voltage bridges are arcs of 3 to 200 mA; clipped
sines, squares and triangles have no dark around the voltage's zero and are none.
"""

from __future__ import annotations

from math import pi

import numpy as np

from tests.families.harmless import dry_current, film, sensor_for, wet, with_current
from tests.families.labelled import Floats
from tests.families.mains import Mains
from tests.families.scene import Stage, Take
from tests.families.surface import capacitive, uniform


def _sine(mains: Mains) -> Floats:
    return np.imag(mains.turn)


def _angle(mains: Mains) -> Floats:
    """Angle from the voltage's last zero, 0 to pi."""
    return np.mod(np.angle(mains.turn), pi)


def _arcing(stage: Stage, mains: Mains, shape: Floats) -> Take:
    dry = dry_current(stage, 0.03, 0.3)
    base, crest = film(stage, mains, 0.35, 2.0)
    if stage.rng.random() < 0.5:
        base, crest = base * 0.0, crest * 0.0
    arcs = shape * uniform(stage.rng, 3.0, 200.0)
    quiet = base + capacitive(mains, dry)
    sensor = sensor_for(stage.rng, float(np.max(np.abs(quiet + arcs))) / 1.4)
    known = bool(stage.rng.random() < 0.5)
    return Take(mains, quiet, crest, dry, (sensor,), arcs_ma=arcs, calibrated=known)


def steady_dead_band(stage: Stage) -> Take:
    """A sine with nothing for 25 to 65 degrees on either side of each zero."""
    mains = stage.supply(0.02)
    dark = stage.rng.uniform(np.radians(25), np.radians(65))
    angle = _angle(mains)
    return _arcing(stage, mains, np.where((angle > dark) & (angle < pi - dark), _sine(mains), 0.0))


def steady_delayed(stage: Stage) -> Take:
    """A sine that begins 35 to 110 degrees after each zero and lasts to 160 to 180."""
    mains = stage.supply(0.02)
    begin = stage.rng.uniform(np.radians(35), np.radians(110))
    end = stage.rng.uniform(np.radians(160), pi)
    angle = _angle(mains)
    return _arcing(stage, mains, np.where((angle > begin) & (angle < end), _sine(mains), 0.0))


def steady_gap(stage: Stage) -> Take:
    """What is left of a sine above 0.4 to 0.7 of its crest; at 12 mA or more no arrester's."""
    mains = stage.supply(0.02)
    gap = stage.rng.uniform(0.4, 0.7)
    sine = _sine(mains)
    shape = np.copysign(np.maximum(np.abs(sine) - gap, 0.0), sine) / (1 - gap)
    take = _arcing(stage, mains, shape)
    assert take.arcs_ma is not None
    least = max(1.0, 12.0 / float(np.max(np.abs(take.arcs_ma))))
    arcs = take.arcs_ma * least
    sensor = sensor_for(stage.rng, float(np.max(np.abs(take.quiet_ma + arcs))) / 1.4)
    return Take(
        mains,
        take.quiet_ma,
        take.film_peak_ma,
        take.dry_ma,
        (sensor,),
        arcs_ma=arcs,
        calibrated=take.calibrated,
    )


def flat_topped(stage: Stage) -> Take:
    """A wet film's sine cut at 0.4 to 0.95 of its crest: what a clipping amplifier leaves."""
    take = wet(stage, stage.supply(0.04), 1.0, 40.0)
    limit = stage.rng.uniform(0.4, 0.95) * float(np.median(take.film_peak_ma))
    return with_current(stage, take, np.clip(take.quiet_ma, -limit, limit) - take.quiet_ma)


def square_or_triangle(stage: Stage) -> Take:
    """A square or a triangle in phase with the voltage, over a film."""
    take = wet(stage, stage.supply(0.02), 1.0, 20.0)
    sine = _sine(take.mains)
    shape = np.sign(sine) if stage.rng.random() < 0.5 else np.arcsin(sine) * (2 / pi)
    return with_current(stage, take, shape * uniform(stage.rng, 1.0, 20.0))
