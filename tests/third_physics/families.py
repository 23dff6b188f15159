"""The cases, and the conditions of each seed."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests.families.labelled import Kind, Labelled, Recording
from tests.third_physics import burning, quiet
from tests.third_physics.chain import delivered
from tests.third_physics.course import course_of
from tests.third_physics.scene import Frame, Scene
from tests.third_physics.truth import truth_of

RATES_HZ = (4_800.0, 6_400.0, 10_000.0, 12_800.0, 25_600.0)
MAINS_HZ = (50.0, 60.0)
START_UTC_NS = 1_790_000_000_000_000_000
SECONDS = 5.0


@dataclass(frozen=True, slots=True)
class Family:
    """Name, kind, and what composes its scenes. seconds_factor: longer by so much."""

    name: str
    kind: Kind
    compose: Callable[[Frame], Scene]
    seconds_factor: float = 1.0

    def __call__(
        self, seed: int, rate_hz: float, mains_hz: float, with_voltage: bool, seconds: float
    ) -> Labelled:
        """The recording of a seed under given conditions."""
        rng = np.random.default_rng([3, zlib.crc32(self.name.encode()), seed])
        length = seconds * self.seconds_factor
        return labelled(self, seed, Frame(rng, rate_hz, mains_hz, with_voltage, length))


def labelled(family: Family, seed: int, frame: Frame) -> Labelled:
    """Composed, integrated, delivered, labelled."""
    scene = family.compose(frame)
    flow = course_of(frame, scene)
    held = delivered(frame, scene, flow)
    truth = truth_of(frame, scene, flow, held)
    ranges = len(held.description.channels) - frame.with_voltage
    noise = 1 + 0.005 * complex(*frame.rng.normal(size=2))
    recording = Recording(
        held.description,
        held.samples,
        START_UTC_NS,
        tuple(range(ranges)),
        ranges if frame.with_voltage else None,
        truth.dry_phasor_ma * noise if scene.sensor.calibrated else None,
        held.missing,
        held.gaps,
    )
    return Labelled(family.name, family.kind, seed, recording, truth)


def _rows(kind: Kind, *composers: Callable[[Frame], Scene]) -> tuple[Family, ...]:
    return tuple(Family(one.__name__.replace("_", "-"), kind, one) for one in composers)


FAMILIES: tuple[Family, ...] = (
    *_rows(
        Kind.HARMLESS,
        quiet.wet,
        quiet.drying,
        quiet.third_harmonic,
        quiet.surge_arrester,
        quiet.capacitive,
        quiet.distorted_dry,
        quiet.direct_current,
        quiet.corona,
        quiet.droplets,
        quiet.radio,
        quiet.switching,
        quiet.lightning,
        quiet.inrush,
        quiet.earth_fault,
    ),
    *_rows(
        Kind.INSTRUMENT,
        quiet.bent_reference,
        quiet.dead_sensor,
        quiet.lead_off,
        quiet.reversed_leads,
        quiet.lost_samples,
        quiet.gaps,
        quiet.de_energised,
        quiet.wet_clipped,
        quiet.ten_bits,
        quiet.noisy,
    ),
    *_rows(Kind.ARCING, burning.dry_band, burning.slow_arcs),
    Family("far-apart", Kind.ARCING, burning.far_apart, 3.0),
    *_rows(
        Kind.ARCING,
        burning.faint,
        burning.small_on_large,
        burning.glow,
        burning.several_bands,
        burning.reignition,
        burning.late_ignition,
        burning.early_extinction,
        burning.one_polarity,
        burning.bursts,
        burning.self_made,
        burning.under_distortion,
        burning.amid_corona,
        burning.beside_arrester,
        burning.with_direct_current,
        burning.reversed_arcs,
        burning.with_gaps,
        burning.clipped_fine,
        burning.two_ranges,
        burning.clipped_coarse,
        burning.to_flashover,
    ),
)

BY_NAME: dict[str, Family] = {family.name: family for family in FAMILIES}
assert len(BY_NAME) == len(FAMILIES)

_CONDITIONS = [(rate, hertz, volts) for rate in RATES_HZ for hertz in MAINS_HZ for volts in (1, 0)]


def conditions(family: Family, seed: int) -> tuple[float, float, bool]:
    """Rate, mains and voltage of a seed: twenty seeds in a row go through all of them."""
    place = FAMILIES.index(family)
    rate, mains, voltage = _CONDITIONS[(seed * 7 + place * 3) % len(_CONDITIONS)]
    return rate, mains, bool(voltage)


def recording_of(family: Family, seed: int, seconds: float = SECONDS) -> Labelled:
    """The recording of a seed under the conditions that fall to it."""
    return family(seed, *conditions(family, seed), seconds)
