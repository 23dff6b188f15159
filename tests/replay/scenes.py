"""Scenes of the recordings: parts of families, moments of a virtual night, some of their own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from edge.sense.virtual_site import GULLHAVEN
from tests.families.labelled import Kind, Labelled
from tests.replay import from_virtual_site
from tests.replay.stretches import Stretch, excerpt
from tests.second_physics.burning import plain_band
from tests.second_physics.deliver import labelled
from tests.second_physics.families import BY_NAME as SECOND
from tests.second_physics.families import SALT
from tests.second_physics.quiet import filmed
from tests.second_physics.stage import Stage, Take, take_of

DUSK_UTC_NS = 1_775_066_400_000_000_000
"""2026-04-01T18:00:00Z: dusk of the virtual nights."""

CLOCK_STEP_NS = 2_500_000_000
FILM_40_MA = 40.0
HOLDOVER_QUALITY = "A"  # within 1 s, as the recorder says itself


NIGHT_ROWS = 2_064
"""0.43 s: two windows and a short one."""


def alone(told: Labelled) -> tuple[Stretch, ...]:
    return (Stretch(told, told.recording.start_utc_ns),)


@dataclass(frozen=True, slots=True)
class Drawn:
    """A part of a family's recording. family: of either generator. whole_s: what is generated.

    from_s, to_s: what of it is kept.
    """

    family: Callable[..., Labelled]
    seed: int
    nominal_hz: float
    whole_s: float
    from_s: float = 0.0
    to_s: float | None = None
    rate_hz: float = 4_800.0
    with_voltage: bool = True

    def __call__(self) -> tuple[Stretch, ...]:
        """The recording of the seed, cut to the part."""
        whole = self.family(
            self.seed, self.rate_hz, self.nominal_hz, self.with_voltage, self.whole_s
        )
        first = round(self.from_s * self.rate_hz)
        end = round((self.to_s or self.whole_s) * self.rate_hz)
        start_ns = whole.recording.start_utc_ns + round(first / self.rate_hz * 1e9)
        return (Stretch(excerpt(whole, first, end), start_ns),)


def composed(
    name: str, kind: Kind, seed: int, seconds: float, compose: Callable[[Stage], Take]
) -> Labelled:
    """A situation composed from the second generator's parts, 50 Hz, 4.8 kS/s."""
    rng = np.random.default_rng([SALT, seed, *name.encode()])
    stage = Stage(rng, 4_800.0, 50.0, True, seconds)
    return labelled(name, kind, seed, stage, compose(stage))


def night(seed: int, insulator: str, at_s: tuple[int, ...], rows: int) -> tuple[Stretch, ...]:
    return from_virtual_site.stretches(GULLHAVEN, seed, insulator, 4_800, at_s, rows, DUSK_UTC_NS)


def forty_ma(stage: Stage) -> Take:
    supply = stage.supply()
    film = filmed(stage, supply, FILM_40_MA)
    return take_of(stage, supply, stage.chain(1.2 * FILM_40_MA), film)


def with_a_gap(stage: Stage) -> Take:
    return replace(plain_band(stage), gaps_s=((1.0, 1.37),), losses_s=((0.42, 0.45),))


def clock_step() -> tuple[Stretch, ...]:
    """One signal without a break; its clock was in holdover and is set right half way."""
    (whole,) = Drawn(SECOND["wet-sinusoid"], 4, 50.0, 1.8)()
    told, half = whole.labelled, len(whole.labelled.recording.samples) // 2
    later_ns = round(half / told.recording.description.rate_hz * 1e9)
    return (
        Stretch(excerpt(told, 0, half), whole.start_utc_ns, HOLDOVER_QUALITY),
        Stretch(excerpt(told, half, 2 * half), whole.start_utc_ns + later_ns + CLOCK_STEP_NS),
    )
