"""The register of the two invented sites: what an installer would write down about them.

Sites, insulators, names and dates are invented. The dry phasor of each insulator is worked out from
the capacitances of its plan, as a commissioning measurement in dry air would find it.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

from edge.sense.virtual_site import SITES, InsulatorPlan, SitePlan
from edge.sense.virtual_site.mains import capacitive_weights, voltage_weights
from edge.sense.virtual_site.plan import PHASES

CALIBRATED = "2026-10-02T11:00:00Z"
INSTALLED = {
    "GH1": "1994-05-10",
    "GH2": "2006-09-21",
    "GH3": "2012-03-15",
    "GH4": "2025-08-30",
    "TS1": "1988-06-02",
    "TS2": "2001-04-11",
    "TS3": "2015-10-19",
    "TS4": "2026-05-05",
}

DRY_SPREAD_MA = 0.01
"""What wind and neighbours move the dry current by (design choice)."""

ARCING_SHARE = 0.42
"""Arcing distance against creepage distance of the invented insulators (design choice)."""


@dataclass(frozen=True, slots=True)
class Told:
    """What a site is for a reader. title: its name. lies: where, in a few words. class_kv: the
    highest voltage between phases of its line."""

    title: str
    lies: str
    class_kv: float


TOLD = {
    "gullhaven": Told("Gullhaven", "open to the west, rough; 22 kV line", 24.0),
    "tarnholm-spit": Told("Tarnholm Spit", "sheltered, but foggy; 33 kV line", 36.0),
}

TYPES = {
    "GH1": ("ceramic", "line post, deep ribs"),
    "GH2": ("composite", "long rod, alternating sheds"),
    "GH3": ("coated-ceramic", "line post"),
    "GH4": ("composite", "long rod, alternating sheds"),
    "TS1": ("ceramic", "pin"),
    "TS2": ("glass", "cap and pin, three discs"),
    "TS3": ("coated-ceramic", "line post"),
    "TS4": ("composite", "long rod, alternating sheds"),
}
"""Type and profile by the first part of the insulator's name."""

SURFACES = {
    "ceramic": "plain ceramic",
    "glass": "plain glass",
    "coated-ceramic": "coated ceramic",
    "composite": "silicone rubber",
}
"""Types as the summary names them."""


@dataclass(frozen=True, slots=True)
class Dry:
    """The dry phasor: r.m.s. [mA], lead before the own phase's voltage [deg], the sensor's lag."""

    rms_ma: float
    lead_deg: float
    lag_deg: float


def dry_phasors(plan: SitePlan) -> dict[str, Dry]:
    """By insulator: from the plan's capacitances and the corner of the sensor's low-pass."""
    currents, volts = capacitive_weights(plan), voltage_weights(plan)
    tilt = plan.nominal_hz / plan.sensor_lowpass_hz
    found = {}
    for row, unit in enumerate(plan.insulators):
        own = PHASES.index(unit.phase)
        current = complex(currents[row, 1], currents[row, 0])
        lead = cmath.phase(current / complex(volts[own, 1], volts[own, 0]))
        found[unit.name] = Dry(
            rms_ma=1_000.0 * abs(current) / math.sqrt(2.0) / math.hypot(1.0, tilt),
            lead_deg=math.degrees(lead),
            lag_deg=math.degrees(math.atan(tilt)),
        )
    return found


def type_of(insulator: str) -> tuple[str, str]:
    """(type, profile) of an insulator by its name."""
    return TYPES[insulator.partition("-")[0]]


def installed_on(unit: InsulatorPlan) -> str:
    return INSTALLED[unit.name.partition("-")[0]]


def surface_of(insulator: str) -> str:
    """The surface in words, for a reader."""
    return SURFACES[type_of(insulator)[0]]


def unit_of(plan: SitePlan) -> str:
    """The unit that watches a site."""
    return f"{plan.name}.{plan.monitor}"


assert all(plan.name in TOLD for plan in SITES)
assert all(unit.name.partition("-")[0] in TYPES for plan in SITES for unit in plan.insulators)
