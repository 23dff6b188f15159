"""The rule of truth: which half-cycles count as arcing, which as doubtful, which as harmless.

It looks at what nature did (the arc's branch alone, which no detector sees) and at what the sensor
could at best deliver of it. It was written before the detector under test saw a recording of this
generator. One change came later, after a careless twin's first run and a look at the waveforms,
still before that detector: the cube in point 2.

1. No arc: its branch carried less than `PRESENT_C`. Label harmless (or corona, where spikes flew).
2. Arcing: the arc carried at least `SURE_C` and `SURE_SHARE` of the half-cycle's charge; as the
   sensor delivers it, it crests at `SURE_CREST_MA`; and its *unlikeness*, the r.m.s. of what is
   left of it after the best a u + b u^3 of the voltage is taken away (a film, even one that
   conducts better at the crest, explains any such), stands `SURE_OVER_NOISE` times over the noise
   (white, pick-up, quantising) and over `SURE_OVER_FILM` of the film's r.m.s.; without a voltage
   reference also over the part of the film current that the supply's own distortion makes, for
   which nobody could tell it apart.
3. Everything between, and any arc of which samples are lost or cut off by an end: doubtful.

All limits are design choices.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.families.labelled import Bools, Floats, Label, Marks

PRESENT_C = 0.3e-6
"""An arc's branch below this charge a half-cycle is no arc (the afterglow of the one before)."""

SURE_C = 2e-6
"""About 0.6 mA over a third of a half-cycle; below it an arc is doubtful."""

SURE_SHARE = 0.04
"""An arc with less of the half-cycle's charge than this is doubtful."""

SURE_CREST_MA = 0.5
"""An arc that the sensor delivers with a lower crest is doubtful."""

SURE_OVER_NOISE = 5.0
"""Unlikeness over the r.m.s. noise below which an arc is doubtful."""

SURE_OVER_FILM = 0.02
"""Unlikeness over the film's r.m.s. below which an arc is doubtful (sensors' own errors)."""


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """What the rule looks at, one entry a half-cycle.

    arc_c, charge_c: charge of the arc and of everything [C]. crest_ma: the arc as delivered.
    unlike_ma: r.m.s. of the delivered arc that no film a u + b u^3 explains.
    noise_ma: r.m.s. film_ma: r.m.s. of the film current. torn: samples lost, or cut by an end.
    spiky: corona pulses flew. distortion: of the supply, r.m.s. to its fundamental, one number.
    """

    arc_c: Floats
    charge_c: Floats
    crest_ma: Floats
    unlike_ma: Floats
    noise_ma: Floats
    film_ma: Floats
    torn: Bools
    spiky: Bools
    distortion: float
    reference: bool


def unlikeness(arc: Floats, volts: Floats, home: np.ndarray, count: int) -> Floats:
    """R.m.s. of arc - (a u + b u^3) in each half-cycle, a and b the best; home: of a sample."""

    def total(of: Floats) -> Floats:
        return np.bincount(home, of, count)[:count]

    u = volts / max(float(np.abs(volts).max()), 1e-12)
    cube = u**3
    uu, uc, cc = total(u * u), total(u * cube), total(cube * cube)
    au, ac = total(arc * u), total(arc * cube)
    whole = uu * cc - uc**2
    both = (cc * au**2 - 2 * uc * au * ac + uu * ac**2) / np.where(whole > 0, whole, 1)
    alone = au**2 / np.where(uu > 0, uu, 1)
    taken = np.where(whole > 1e-9 * uu * cc, both, alone)
    rest = total(arc * arc) - taken
    return np.sqrt(np.maximum(rest, 0) / np.maximum(total(np.ones(len(arc))), 1))


def labels(of: Evidence) -> Marks:
    """The label of each half-cycle."""
    rival = SURE_OVER_FILM if of.reference else max(SURE_OVER_FILM, of.distortion)
    sure = (of.arc_c >= SURE_C) & (of.arc_c >= SURE_SHARE * of.charge_c)
    sure &= (of.crest_ma >= SURE_CREST_MA) & (of.unlike_ma >= SURE_OVER_NOISE * of.noise_ma)
    sure &= (of.unlike_ma >= rival * of.film_ma) & ~of.torn
    quiet = np.where(of.spiky, Label.CORONA_SPIKE, Label.HARMLESS)
    loud = np.where(sure, Label.ARCING, Label.DOUBTFUL)
    return np.where(of.arc_c < PRESENT_C, quiet, loud).astype(np.int8)
