"""A virtual site as a source: the items that any sensor delivers, and apart from them the truth."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.samples import (
    BLOCK_SAMPLES_MAX,
    RATE_HZ_MAX,
    RATE_HZ_MIN,
    AnchorSource,
    Channel,
    ChannelKind,
    SampleBlock,
    SignalDescription,
    SlowReading,
    SourceItem,
    StreamEnd,
    TimeAnchor,
)
from edge.sense.virtual_site.arc_law import RECALLED_LAW, ArcLaw
from edge.sense.virtual_site.fixture import SiteState, dice_of, fixture_of, state_at_dusk
from edge.sense.virtual_site.plan import PHASES, SitePlan
from edge.sense.virtual_site.second import Second, step_second
from edge.sense.virtual_site.truth import HalfCycleTruth, joined, truth_of
from edge.sense.virtual_site.weather import MINUTE_S, Air, Night, air_at, night_weather
from edge.sense.virtual_site.wetting import dew_point_c

ANCHOR_S = 600
ANCHOR_ERROR_NS = 1_000_000
"""Half-width that a virtual anchor claims; its UTC is exact (design choice)."""


@dataclass(frozen=True, slots=True)
class Told:
    """One second told in full: what the sensors give, what really happened, the air, the state."""

    second: Second
    air: Air
    state: SiteState


@dataclass(frozen=True, slots=True)
class VirtualSite:
    """A plan and a seed: all that it ever delivers follows from these two (and the rate).

    Raises ValueError where the asked rate or block length cannot be.
    """

    plan: SitePlan
    seed: int
    law: ArcLaw = RECALLED_LAW

    def description(self, rate_hz: int = 4_800) -> SignalDescription:
        """Channels: each insulator's current, then the fine ranges, then the three voltages."""
        _check_rate(rate_hz)
        coarse = [
            self._current(unit.name, unit.phase, unit.full_scale_ma)
            for unit in self.plan.insulators
        ]
        fine = [
            self._current(f"{unit.name} fine", unit.phase, unit.fine_full_scale_ma)
            for unit in self.plan.insulators
            if unit.fine_full_scale_ma is not None
        ]
        return SignalDescription(
            rate_hz=float(rate_hz),
            nominal_hz=self.plan.nominal_hz,
            channels=(*coarse, *fine, *(self._voltage(phase) for phase in PHASES)),
        )

    def source(
        self,
        start_utc_ns: int,
        rate_hz: int = 4_800,
        block_samples: int = 4_800,
        seconds: int | None = None,
    ) -> Iterator[SourceItem]:
        """The feed: at the start and each ten minutes an anchor, weather at the start and each
        minute, sample blocks between, and an end after `seconds` (None: never ends).

        The first sample is taken at `start_utc_ns`. Weather carries the rain of the minute before.
        Anchors and weather come before the block that holds their sample; they never cut blocks.
        """
        _check_rate(rate_hz)
        if not 1 <= block_samples <= BLOCK_SAMPLES_MAX:
            raise ValueError(
                f"block_samples is {block_samples}; it must lie between 1 and {BLOCK_SAMPLES_MAX}"
            )
        stock: list[npt.NDArray[np.int16]] = []
        counter = held = 0
        for told in self.told(rate_hz, seconds):
            yield from self._beside(told, start_utc_ns, rate_hz)
            stock.append(told.second.codes)
            held += rate_hz
            if held >= block_samples:
                joint = stock[0] if len(stock) == 1 else np.concatenate(stock)
                whole = held - held % block_samples
                for low in range(0, whole, block_samples):
                    yield SampleBlock(counter + low, joint[low : low + block_samples])
                counter, held, stock = counter + whole, held - whole, [joint[whole:]]
        if held:
            yield SampleBlock(counter, np.concatenate(stock))
        yield StreamEnd(counter + held, "the virtual night is over")

    def told(self, rate_hz: int = 4_800, seconds: int | None = None) -> Iterator[Told]:
        """Second by second, with the truth."""
        _check_rate(rate_hz)
        dice = dice_of(self.seed)
        fixture = fixture_of(self.plan, rate_hz, dice.story, self.law)
        state = state_at_dusk(fixture, dice.story)
        climate = self.plan.climate
        night, number = night_weather(climate, self.seed, 0), 0
        while seconds is None or state.second < seconds:
            elapsed, minute = divmod(state.second / MINUTE_S, climate.night_minutes)
            if int(elapsed) != number:
                number = int(elapsed)
                night = night_weather(climate, self.seed, number)
            air = air_at(climate, night, minute)
            state, second = step_second(fixture, state, air, dice)
            yield Told(second, air, state)

    def truth(self, seconds: int, rate_hz: int = 4_800) -> dict[str, HalfCycleTruth]:
        """What happened, by insulator: the night is simulated again, to the same end."""
        story = [told.second.happened for told in self.told(rate_hz, seconds)]
        return {
            unit.name: joined([truth_of(happened, row) for happened in story])
            for row, unit in enumerate(self.plan.insulators)
        }

    def night(self, number: int = 0) -> Night:
        """The weather of one night."""
        return night_weather(self.plan.climate, self.seed, number)

    def _beside(self, told: Told, start_utc_ns: int, rate_hz: int) -> Iterator[SourceItem]:
        """The anchor and the weather due at the start of this second."""
        counter = told.second.counter
        at_s = counter // rate_hz
        if at_s % ANCHOR_S == 0:
            utc_ns = start_utc_ns + at_s * 1_000_000_000
            yield TimeAnchor(counter, utc_ns, ANCHOR_ERROR_NS, AnchorSource.GNSS)
        if at_s % MINUTE_S == 0:
            yield SlowReading(counter, self._readings(told.air, at_s))

    def _readings(self, air: Air, at_s: int) -> dict[str, int]:
        rain_um = round(air.rain_mm_h * 1_000.0 / 60.0) if at_s else 0
        return {
            "rh_cpct": round(100.0 * air.rh_pct),
            "air_cdegc": round(100.0 * air.air_c),
            "dew_point_cdegc": round(100.0 * dew_point_c(air.air_c, air.rh_pct)),
            "rain_um": rain_um,
            "wind_mm_s": round(1_000.0 * air.wind_m_s),
            "wind_from_cdeg": round(100.0 * air.wind_from_deg) % 36_000,
        }

    def _current(self, name: str, phase: str, full_scale_ma: float) -> Channel:
        most = self.plan.code_most
        return Channel(
            name=name,
            kind=ChannelKind.CURRENT,
            phase=phase,
            gain=full_scale_ma / most,
            raw_min=float(-most - 1),
            raw_max=float(most),
        )

    def _voltage(self, phase: str) -> Channel:
        most = self.plan.code_most
        return Channel(
            name=f"U{phase}",
            kind=ChannelKind.VOLTAGE,
            phase=phase,
            gain=self.plan.voltage_full_scale_kv / most,
            raw_min=float(-most - 1),
            raw_max=float(most),
        )


def _check_rate(rate_hz: int) -> None:
    if rate_hz != int(rate_hz) or not RATE_HZ_MIN <= rate_hz <= RATE_HZ_MAX:
        raise ValueError(
            f"rate_hz is {rate_hz}; a virtual site samples at a whole number of hertz between "
            f"{RATE_HZ_MIN:.0f} and {RATE_HZ_MAX:.0f}"
        )
