"""Harmless families in which the sensor, the reference or the record is at fault."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tests.families.labelled import Kind
from tests.fourth_physics.case import Bend, Family, Paint, Rng, bent, between, plain
from tests.fourth_physics.quiet import filmed
from tests.fourth_physics.scene import Parts
from tests.fourth_physics.setting import Setting
from tests.fourth_physics.stage import Stage

WETTISH = filmed((0.1, 20))


def spoilt(paint: Paint, fault: Callable[[Rng], dict[str, float | int]]) -> Paint:
    """The same currents, and what befalls the record."""
    return lambda stage, rng: replace(paint(stage, rng), **fault(rng))  # type: ignore[arg-type]


def _other_phase(setting: Setting, rng: Rng) -> Setting:
    turned = float(rng.choice([-1.0, 1.0])) * 2 * np.pi / 3
    return replace(setting, reference=True, reference_shift_rad=turned, known=False)


def _clipped(stage: Stage, rng: Rng) -> Parts:
    return filmed((6, 40))(stage, rng)


def lost(rng: Rng) -> dict[str, float | int]:
    """Single samples absent."""
    return {"lost": between(rng, (1, 30))}


def gaps(rng: Rng) -> dict[str, float | int]:
    """A few gaps."""
    return {"gaps": int(rng.integers(1, 5))}


def _lead(rng: Rng) -> dict[str, float | int]:
    return {"lead_off_at": float(rng.uniform(0.2, 0.7))}


def _dead(rng: Rng) -> dict[str, float | int]:
    return {"dead_at": float(rng.uniform(0.0, 0.7))}


def _family(name: str, case: str, paint: Paint, bend: Bend = plain) -> Family:
    return Family(name, Kind.INSTRUMENT, case, paint, bend)


FALSE_REFERENCE = {"reference_distortion": (0.03, 0.08)}
REVERSED = bent(reversed=True, known=False)

SPOILT: tuple[Family, ...] = (
    _family(
        "distorted_reference",
        "harmonics in the reference alone",
        WETTISH,
        bent(FALSE_REFERENCE, reference=True),
    ),
    _family("other_phase", "the reference is another phase, and says so", WETTISH, _other_phase),
    _family("dead_sensor", "codes stand still", spoilt(WETTISH, _dead)),
    _family("lead_off", "only pick-up is left", spoilt(WETTISH, _lead), bent(bias_ma=0.0)),
    _family("reversed", "the sensor's polarity is reversed", WETTISH, REVERSED),
    _family("lost_samples", "single samples are absent", spoilt(WETTISH, lost)),
    _family("gaps", "stretches are lost", spoilt(WETTISH, gaps)),
    _family("clipped_film", "a film beyond the fine range", _clipped, bent(full_ma=(5.0, 50.0))),
    _family("clipped_alone", "a film beyond the only range", _clipped, bent(full_ma=(5.0,))),
)
