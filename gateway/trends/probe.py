"""Whether the humidity probe moved, not the surfaces: all share it, and in fog it must read full.

A probe that reads wrong shifts the response of every insulator by the same reading and changes
nothing else. So two witnesses are heard: the currents (does one shift of the reading, alone, do as
well as surfaces that moved each by themselves?) and the fog (in which a sound probe reads 97 to
100 %; common practice): readings that are too low no longer reach it, readings that are too high
pile up at the probe's end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from gateway.trends.columns import Bools, Floats
from gateway.trends.hours import SiteHours
from gateway.trends.model import Fit

FOG_QUANTILE = 0.995
FOG_READS_PCT = 97.0
FOG_MOVED_PCT = 2.0
"""The highest readings moved when their FOG_QUANTILE did by so much; without fog they tell
nothing."""
END_PCT = 0.6
"""Readings so close to the highest ones are at the probe's end."""
PILED_BY, PILED_LEAST = 2.0, 0.01
"""They pile up when their share grew so many fold, to so much of the hours at least."""
READING_LEAST_PCT = 3.0
"""A smaller shift is within what a probe may drift (+-3 % RH, common practice)."""
ALIKE_PCT = 2.5
ALIKE_SHARE = 0.75
"""So many insulators must ask for the same shift of the reading, within so much."""
LIKELIER_BY = 2.0
"""With such a gain (log likelihood of witnesses; the median insulator) the currents alone say that
it was the reading; with as great a loss, that it was not."""
SIBLINGS_LEAST = 3
"""Fewer insulators cannot tell a probe from a surface by their currents."""


class Fog(StrEnum):
    """What the highest readings of the two periods say of the probe."""

    NONE = "none"  # no fog in the reference: they say nothing
    STOOD = "stood"
    LOWER = "lower"
    HIGHER = "higher"


class Probe(StrEnum):
    """Whether the reading moved."""

    SOUND = "sound"
    MOVED = "moved"
    DOUBTED = "doubted"  # the reading or all surfaces: it cannot be told


@dataclass(frozen=True, slots=True)
class ProbeCheck:
    """by_pct: how much too low it reads in the later period [% RH], 0.0 where it is sound."""

    verdict: Probe
    fog: Fog
    by_pct: float


def fog_of(grid: SiteHours, earlier: Bools, later: Bools) -> Fog:
    """The highest readings, in fog if there was any, of both periods."""
    readings = [grid.rh_pct[one & np.isfinite(grid.rh_pct)] for one in (earlier, later)]
    if min(one.size for one in readings) == 0:
        return Fog.NONE
    first, second = (float(np.quantile(one, FOG_QUANTILE)) for one in readings)
    end = max(float(np.max(one)) for one in readings) - END_PCT
    shares = [float(np.mean(one >= end)) for one in readings]
    if max(first, second) < FOG_READS_PCT:
        return Fog.NONE
    if second <= first - FOG_MOVED_PCT:
        return Fog.LOWER
    piled = shares[1] >= max(PILED_BY * shares[0], PILED_LEAST)
    if second >= first + FOG_MOVED_PCT or piled:
        return Fog.HIGHER
    return Fog.STOOD


def check_probe(fits: Sequence[Fit], fog: Fog) -> ProbeCheck:
    """The verdict over all insulators of a site that could be compared."""
    sound = ProbeCheck(Probe.SOUND, fog, 0.0)
    known = [one for one in fits if np.isfinite(one.reading_gain)]
    if len(known) < SIBLINGS_LEAST or 2 * len(known) < len(fits):
        return sound
    shifts: Floats = np.array([one.reading_pct for one in known])
    shift = float(np.median(shifts))
    alike = float(np.mean(np.abs(shifts - shift) <= ALIKE_PCT))
    if abs(shift) < READING_LEAST_PCT or alike < ALIKE_SHARE:
        return sound
    gain = float(np.median([one.reading_gain for one in known]))
    agrees = fog is (Fog.LOWER if shift > 0 else Fog.HIGHER)
    if (agrees and gain > -LIKELIER_BY) or (fog is Fog.NONE and gain >= LIKELIER_BY):
        return ProbeCheck(Probe.MOVED, fog, shift)
    if gain >= LIKELIER_BY or (fog is Fog.NONE and gain > -LIKELIER_BY):
        return ProbeCheck(Probe.DOUBTED, fog, shift)
    return sound
