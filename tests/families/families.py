"""The registry: every family of labelled recordings by name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests.families import arcing, closed, disturbances, harmless, instrument, severe
from tests.families.labelled import Kind, Labelled
from tests.families.scene import Stage, Take, finish

RATES_HZ = (4_800.0, 6_400.0, 10_000.0, 12_800.0, 25_600.0)
MAINS_HZ = (50.0, 60.0)


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
        rng = np.random.default_rng([seed, *self.name.encode()])
        stage = Stage(rng, rate_hz, mains_hz, with_voltage, seconds or self.seconds)
        return finish(self.name, self.kind, seed, stage, self.compose(stage))


_H, _I, _A = Kind.HARMLESS, Kind.INSTRUMENT, Kind.ARCING

FAMILIES: tuple[Family, ...] = (
    Family("wet-sinusoid", _H, harmless.wet_sinusoid),
    Family("wet-distorted", _H, harmless.wet_distorted),
    Family("dry-capacitive", _H, harmless.dry_capacitive),
    Family("third-harmonic", _H, harmless.third_harmonic),
    Family("surge-arrester", _H, harmless.surge_arrester),
    Family("direct-current", _H, harmless.direct_current),
    Family("film-heating", _H, harmless.film_heating),
    Family("film-changing", _H, harmless.film_changing),
    Family("earth-fault", _H, harmless.earth_fault),
    Family("small-in-noise", _H, harmless.small_in_noise),
    Family("corona-spikes", _H, disturbances.corona_spikes),
    Family("droplet-spikes", _H, disturbances.droplet_spikes),
    Family("radio-noise", _H, disturbances.radio_noise),
    Family("switching", _H, disturbances.switching),
    Family("lightning", _H, disturbances.lightning),
    Family("inrush", _H, disturbances.inrush),
    Family("distorted-reference", _I, instrument.distorted_reference),
    Family("dead-sensor", _I, instrument.dead_sensor),
    Family("lead-off", _I, instrument.lead_off),
    Family("bypassed-collector", _I, instrument.bypassed_collector),
    Family("reversed-polarity", _I, instrument.reversed_polarity),
    Family("lost-samples", _I, instrument.lost_samples),
    Family("gaps", _I, instrument.gaps),
    Family("de-energised", _I, instrument.de_energised),
    Family("wet-clipped", _I, instrument.wet_clipped),
    Family("coarse-converter", _I, instrument.coarse_converter),
    Family("two-ranges-wet", _I, instrument.two_ranges_wet),
    Family("dry-band", _A, arcing.dry_band),
    Family("far-apart", _A, arcing.far_apart, 60.0),
    Family("faint", _A, arcing.faint),
    Family("small-on-large", _A, arcing.small_on_large),
    Family("glow", _A, arcing.glow),
    Family("several-bands", _A, arcing.several_bands),
    Family("reignition", _A, arcing.reignition),
    Family("late-ignition", _A, arcing.late_ignition),
    Family("early-extinction", _A, arcing.early_extinction),
    Family("one-polarity", _A, arcing.one_polarity),
    Family("bursts", _A, arcing.bursts),
    Family("under-distortion", _A, arcing.under_distortion),
    Family("to-flashover", _A, severe.to_flashover),
    Family("to-flashover-clipped", _A, severe.to_flashover_clipped),
    Family("clipped-fine", _A, severe.clipped_fine),
    Family("clipped-coarse", _A, severe.clipped_coarse),
    Family("two-ranges", _A, severe.two_ranges),
    Family("beside-arrester", _A, severe.beside_arrester),
    Family("amid-spikes", _A, severe.amid_spikes),
    Family("with-direct-current", _A, severe.with_direct_current),
    Family("reversed-arcs", _A, severe.reversed_arcs),
    Family("with-gaps", _A, severe.with_gaps),
    Family("steady-dead-band", _A, closed.steady_dead_band),
    Family("steady-delayed", _A, closed.steady_delayed),
    Family("steady-gap", _A, closed.steady_gap),
    Family("flat-topped", _H, closed.flat_topped),
    Family("square-or-triangle", _H, closed.square_or_triangle),
)

BY_NAME: dict[str, Family] = {family.name: family for family in FAMILIES}
assert len(BY_NAME) == len(FAMILIES)

_CONDITIONS = [
    (rate, mains, voltage) for rate in RATES_HZ for mains in MAINS_HZ for voltage in (1, 0)
]


def conditions(family: Family, seed: int) -> tuple[float, float, bool]:
    """Rate, mains and voltage of a seed: twenty consecutive seeds go through all combinations."""
    place = FAMILIES.index(family)
    rate, mains, voltage = _CONDITIONS[(seed * 7 + place * 3) % len(_CONDITIONS)]
    return rate, mains, bool(voltage)


def recording_of(family: Family, seed: int, seconds: float | None = None) -> Labelled:
    """The recording of a seed under the conditions that fall to it."""
    return family(seed, *conditions(family, seed), seconds)
