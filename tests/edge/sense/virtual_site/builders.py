"""Small sites, airs and surfaces for the tests of the virtual site."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from edge.sense.virtual_site.arc_law import RECALLED_LAW
from edge.sense.virtual_site.fixture import (
    Fixture,
    SiteState,
    dice_of,
    fixture_of,
    state_at_dusk,
)
from edge.sense.virtual_site.plan import ClimatePlan, InsulatorPlan, SitePlan, SurfaceKind
from edge.sense.virtual_site.second import Second, step_second
from edge.sense.virtual_site.surface import Surface
from edge.sense.virtual_site.weather import Air

RATE_HZ = 10_000

DRY_AIR = Air(
    rh_pct=55.0,
    air_c=15.0,
    wind_m_s=3.0,
    wind_from_deg=90.0,
    onshore_m_s=0.0,
    fog_g_m3=0.0,
    rain_mm_h=0.0,
)
FOG = replace(DRY_AIR, rh_pct=98.0, wind_m_s=1.5, fog_g_m3=0.3)
RAIN = replace(DRY_AIR, rh_pct=97.0, rain_mm_h=10.0)
DRIZZLE = replace(DRY_AIR, rh_pct=97.0, rain_mm_h=0.6)


def insulator(**changes: object) -> InsulatorPlan:
    """A plain ceramic post on phase A, moderately salted."""
    plain = InsulatorPlan(
        name="post",
        kind=SurfaceKind.CERAMIC,
        phase="A",
        creepage_cm=40.0,
        form_factor=1.6,
        exposure=1.0,
        salt_mg_cm2=0.03,
        hydrophobicity=0.0,
        hydrophobicity_most=0.0,
        own_pf=25.0,
        neighbour_pf=(0.0, 0.0),
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def rubber(**changes: object) -> InsulatorPlan:
    """New silicone rubber."""
    changes = {"kind": SurfaceKind.COMPOSITE, "hydrophobicity": 0.95, **changes}
    return insulator(hydrophobicity_most=0.95, **changes)


def site_plan(*insulators: InsulatorPlan, **changes: object) -> SitePlan:
    """A site of 12.7 kV with an undistorted, steady voltage and nearly noiseless sensors."""
    plain = SitePlan(
        name="test-shore",
        monitor="pole-1",
        climate=ClimatePlan(coast_faces_deg=90.0, night_minutes=15),
        insulators=insulators or (insulator(),),
        voltage_kv=12.7,
        harmonics=(),
        frequency_wander_hz=0.0,
        noise_ua=0.1,
        voltage_noise_v=0.1,
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def wet(state: SiteState, water_um: float, waist_um: float) -> SiteState:
    """The same state with brine films of these thicknesses."""
    count = state.surface.water_um.shape[0]
    surface: Surface = replace(
        state.surface,
        water_um=np.full(count, water_um),
        waist_um=np.full(count, waist_um),
        dissolved=np.ones(count, dtype=bool),
    )
    return replace(state, surface=surface)


class Run:
    """Seconds of one site under a steady air, from a state of one's own."""

    def __init__(self, plan: SitePlan, seed: int = 1, rate_hz: int = RATE_HZ) -> None:
        self.dice = dice_of(seed)
        self.fixture: Fixture = fixture_of(plan, rate_hz, self.dice.story, RECALLED_LAW)
        self.state = state_at_dusk(self.fixture, self.dice.story)
        self.plan = plan

    def seconds(self, air: Air, count: int) -> list[Second]:
        """Steps on and returns what was told."""
        told = []
        for _ in range(count):
            self.state, second = step_second(self.fixture, self.state, air, self.dice)
            told.append(second)
        return told

    def current_ma(self, seconds: list[Second], row: int = 0) -> np.ndarray:
        """The sensed current of one insulator [mA]."""
        codes = np.concatenate([second.codes[:, row] for second in seconds])
        return codes * self.plan.insulators[row].full_scale_ma / self.plan.code_most

    def volts_kv(self, seconds: list[Second], phase: str = "A") -> np.ndarray:
        """The sensed voltage of one phase [kV]."""
        column = seconds[0].codes.shape[1] - 3 + "ABC".index(phase)
        codes = np.concatenate([second.codes[:, column] for second in seconds])
        return codes * self.plan.voltage_full_scale_kv / self.plan.code_most


def phasor(signal: np.ndarray, hz: float = 50.0, rate_hz: int = RATE_HZ) -> complex:
    """Amplitude and angle of one frequency over a whole number of its periods."""
    turn = np.exp(-2j * np.pi * hz * np.arange(signal.shape[0]) / rate_hz)
    return complex(2.0 * np.mean(signal * turn))


def lead_deg(current: np.ndarray, volts: np.ndarray) -> float:
    """By how much the current's fundamental leads the voltage's."""
    return float(np.degrees(np.angle(phasor(current) / phasor(volts))))
