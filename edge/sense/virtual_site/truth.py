"""What really happened: the side channel that lets a detector be judged, never part of a feed."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from edge.sense.virtual_site.arcs import HalfCycles
from edge.sense.virtual_site.line import Line


@dataclass(frozen=True, slots=True, eq=False)
class HalfCycleTruth:
    """One insulator's mains half-cycles in order of time; every array has an entry for each.

    start_counter: first sample at or after the zero of its phase voltage's fundamental.
    positive: polarity of that voltage, hence of any arc. arcing: a dry-band arc or glow burned.
    charge_c: charge of arc and glow alone, before sensor and converter, unsigned [C].
    energy_j: energy of arc and film in series with it [J]. spikes: droplet corona occurred.
    energised: the voltage of its phase was there at the crest. flashover: the arc had bridged it.
    """

    start_counter: npt.NDArray[np.int64]
    positive: npt.NDArray[np.bool_]
    arcing: npt.NDArray[np.bool_]
    charge_c: npt.NDArray[np.float64]
    energy_j: npt.NDArray[np.float64]
    spikes: npt.NDArray[np.bool_]
    energised: npt.NDArray[np.bool_]
    flashover: npt.NDArray[np.bool_]


ARC_LEAST_C = 1e-7
"""A half-cycle with less arc charge than this is no arcing half-cycle: 0.01 mA over a half-cycle,
the order of a sensor's noise (design choice)."""


def joined(parts: list[HalfCycleTruth]) -> HalfCycleTruth:
    """Truths of consecutive stretches as one."""
    return HalfCycleTruth(
        **{
            each.name: np.concatenate([getattr(part, each.name) for part in parts])
            for each in fields(HalfCycleTruth)
        }
    )


@dataclass(frozen=True, slots=True, eq=False)
class Happened:
    """What one second's simulation knows, from which the truth of each insulator is made on demand.

    counter: of the second's first sample. charge_c, energy_j: of the discharges; sparked: droplet
    corona; live: voltage against normal; each of shape (insulators, most), a half-cycle an entry.
    """

    counter: int
    rate_hz: int
    nominal_hz: float
    cycles: HalfCycles
    charge_c: npt.NDArray[np.float64]
    energy_j: npt.NDArray[np.float64]
    sparked: npt.NDArray[np.bool_]
    live: npt.NDArray[np.float64]
    line: Line


def truth_of(happened: Happened, row: int) -> HalfCycleTruth:
    """The truth of the insulator in this row."""
    real = happened.cycles.real[row]
    place, charge = happened.cycles.place[row, real], happened.charge_c[row, real]
    crest_s = (happened.counter + place) / happened.rate_hz + 0.25 / happened.nominal_hz + 1e-6
    line = happened.line
    over = (crest_s >= line.flash_s) & (crest_s < line.trip_s) & (line.flashed == row)
    return HalfCycleTruth(
        start_counter=happened.counter + np.ceil(place).astype(np.int64),
        positive=happened.cycles.positive[row, real],
        arcing=(charge > ARC_LEAST_C) | over,
        charge_c=charge,
        energy_j=happened.energy_j[row, real],
        spikes=happened.sparked[row, real],
        energised=happened.live[row, real] > 0.5,
        flashover=over,
    )
