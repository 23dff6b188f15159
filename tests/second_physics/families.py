"""The registry of the second generator: every family by name, with the first one's signature."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests.families.labelled import Kind, Labelled
from tests.second_physics import burning, harder, quiet, spoilt
from tests.second_physics.deliver import labelled
from tests.second_physics.stage import Stage, Take

RATES_HZ = (4_800.0, 6_400.0, 10_000.0, 12_800.0, 25_600.0)
MAINS_HZ = (50.0, 60.0)

SALT = 20_260
"""Keeps this generator's chances apart from any other's."""


@dataclass(frozen=True, slots=True)
class Family:
    """One row: a name, what it tries, how it is composed, how long a recording is."""

    name: str
    kind: Kind
    compose: Callable[[Stage], Take]
    seconds: float = 20.0

    def __call__(
        self,
        seed: int,
        rate_hz: float,
        mains_hz: float,
        with_voltage: bool,
        seconds: float | None = None,
    ) -> Labelled:
        """The recording of a seed; the same for the same arguments, whatever was made before."""
        rng = np.random.default_rng([SALT, seed, *self.name.encode()])
        stage = Stage(rng, rate_hz, mains_hz, with_voltage, seconds or self.seconds)
        return labelled(self.name, self.kind, seed, stage, self.compose(stage))


_H, _I, _A = Kind.HARMLESS, Kind.INSTRUMENT, Kind.ARCING

FAMILIES: tuple[Family, ...] = (
    Family("wet-sinusoid", _H, quiet.wet_sine),
    Family("wet-distorted", _H, quiet.wet_under_distortion),
    Family("flicker-and-tones", _H, quiet.flicker_and_tones),
    Family("third-harmonic", _H, quiet.injected_third),
    Family("surge-arrester", _H, quiet.surge_arrester),
    Family("dry-capacitive", _H, quiet.dry_coupled),
    Family("direct-current", _H, quiet.direct_current),
    Family("film-drying", _H, quiet.film_drying),
    Family("small-in-noise", _H, quiet.small_in_noise),
    Family("droplet-spikes", _H, quiet.droplets),
    Family("corona-on-film", _H, quiet.corona_on_film),
    Family("radio-noise", _H, quiet.radio_bursts),
    Family("switching", _H, quiet.switching),
    Family("lightning", _H, quiet.lightning),
    Family("inrush", _H, quiet.inrush),
    Family("earth-fault", _H, quiet.earth_fault),
    Family("distorted-reference", _I, spoilt.distorted_reference),
    Family("dead-sensor", _I, spoilt.dead_sensor),
    Family("lead-off", _I, spoilt.lead_off),
    Family("reversed-polarity", _I, spoilt.reversed_leads),
    Family("lost-samples", _I, spoilt.lost_samples),
    Family("gaps", _I, spoilt.gaps),
    Family("de-energised", _I, spoilt.de_energised),
    Family("wet-clipped", _I, spoilt.wet_clipped),
    Family("two-ranges-wet", _I, spoilt.wet_in_two_ranges),
    Family("ten-bits", _I, spoilt.ten_bits),
    Family("dry-band", _A, burning.plain_band),
    Family("slow-columns", _A, burning.slow_columns),
    Family("far-apart", _A, burning.single_far_apart, 60.0),
    Family("faint", _A, burning.faint),
    Family("small-on-large", _A, burning.small_on_large),
    Family("glow", _A, burning.glow),
    Family("several-bands", _A, burning.several_bands),
    Family("reignition", _A, burning.reignition),
    Family("late-ignition", _A, burning.late_ignition),
    Family("early-extinction", _A, burning.early_extinction),
    Family("one-polarity", _A, burning.one_polarity),
    Family("bursts", _A, burning.bursts),
    Family("under-distortion", _A, burning.under_distortion),
    Family("to-flashover", _A, harder.to_flashover),
    Family("to-flashover-clipped", _A, harder.to_flashover_clipped),
    Family("clipped-fine", _A, harder.clipped_fine),
    Family("clipped-coarse", _A, harder.clipped_coarse),
    Family("two-ranges", _A, harder.two_ranges),
    Family("beside-arrester", _A, harder.beside_arrester),
    Family("amid-corona", _A, harder.amid_corona),
    Family("with-direct-current", _A, harder.with_direct_current),
    Family("reversed-arcs", _A, harder.reversed_arcs),
    Family("with-gaps", _A, harder.with_gaps),
)

BY_NAME: dict[str, Family] = {family.name: family for family in FAMILIES}
assert len(BY_NAME) == len(FAMILIES)

_CONDITIONS = [
    (rate, mains, voltage) for rate in RATES_HZ for mains in MAINS_HZ for voltage in (1, 0)
]


def conditions(family: Family, seed: int) -> tuple[float, float, bool]:
    """Rate, mains and voltage of a seed: twenty consecutive seeds go through all combinations."""
    place = FAMILIES.index(family)
    rate, mains, voltage = _CONDITIONS[(seed * 11 + place * 7) % len(_CONDITIONS)]
    return rate, mains, bool(voltage)


def recording_of(family: Family, seed: int, seconds: float | None = None) -> Labelled:
    """The recording of a seed under the conditions that fall to it."""
    return family(seed, *conditions(family, seed), seconds)
