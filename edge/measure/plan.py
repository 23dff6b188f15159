"""What the measure must know before the first sample: channels, ranges, calibration, limits.

Made by `edge.settings` from a settings file, or from the description of a recording alone.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from edge.quantities import WINDOW_CYCLES
from edge.samples import ChannelKind, SignalDescription


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """A dated calibration of one insulator's sensor; a newer record never overwrites an older.

    from_us: valid from this UTC [us] on. gain: multiplies the scaled current (negative: reversed
    polarity). offset_ma: added. lag_deg: angle by which the sensor delays the fundamental [deg].
    dry_ma, dry_deg: r.m.s. and angle (leading the voltage, about 90) of the dry phasor after gain;
    None where not yet known. dry_spread_ma: r.m.s. spread of the dry phasor between dry hours.
    """

    id: str
    from_us: int = 0
    gain: float = 1.0
    offset_ma: float = 0.0
    lag_deg: float = 0.0
    dry_ma: float | None = None
    dry_deg: float | None = None
    dry_spread_ma: float = 0.0


UNCALIBRATED = Calibration(id="")


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorRange:
    """One range of a sensor: the channel that carries it and its full scale [mA], None: unknown."""

    channel: str
    full_scale_ma: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class InsulatorPlan:
    """One insulator: its ranges from fine to coarse and its calibrations in order of date.

    phase: of the conductor it hangs from, as the voltage channel names it; "" unknown.
    """

    id: str
    ranges: tuple[SensorRange, ...]
    phase: str = ""
    calibrations: tuple[Calibration, ...] = ()

    def calibration_at(self, utc_us: int) -> Calibration:
        """The newest calibration valid at `utc_us`; UNCALIBRATED where there is none."""
        valid = [one for one in self.calibrations if one.from_us <= utc_us]
        return valid[-1] if valid else UNCALIBRATED


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureLimits:
    """Limits of the surface state. All are design choices; none has a published source.

    wet_peak_ma: peak of the resistive fundamental above which the surface counts as wet.
    wet_spread_factor: or that many times the spread of the dry phasor, the larger of both.
    stated_floor_ma: peak fundamental above which it counts as wet where the resistive part cannot
    be told (no voltage). severe_ma: level of an arcing half-cycle that makes ten seconds severe;
    severe_halfcycles: so many of them. gone_ma: r.m.s. fundamental under which no current flows;
    gone_ratio: or under that share of the dry phasor. de_energised_ratio: share of the nominal
    voltage (or of the voltage at the start of the tick) under which the line counts as dead.
    voltage_low_ratio, voltage_high_ratio: band of normal service around the nominal voltage.
    """

    wet_peak_ma: float = 0.3
    wet_spread_factor: float = 3.0
    stated_floor_ma: float = 0.3
    severe_ma: float = 100.0
    severe_halfcycles: int = 1
    gone_ma: float = 0.01
    gone_ratio: float = 0.2
    de_energised_ratio: float = 0.2
    voltage_low_ratio: float = 0.85
    voltage_high_ratio: float = 1.15


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurePlan:
    """Everything that `measure.step` may know besides the samples.

    nominal_hz: 50 or 60. voltage_channel: name of the reference, None: there is none.
    nominal_kv: r.m.s. phase to earth, None: unknown. flags: doubt that holds for all rows.
    """

    nominal_hz: int
    insulators: tuple[InsulatorPlan, ...]
    voltage_channel: str | None = None
    voltage_phase: str = ""
    nominal_kv: float | None = None
    limits: MeasureLimits = field(default_factory=MeasureLimits)
    flags: tuple[str, ...] = ()

    @property
    def window_cycles(self) -> int:
        """Mains cycles of one whole window."""
        return WINDOW_CYCLES[self.nominal_hz]


def nominal_frequency(declared_hz: float) -> int:
    """50 or 60 [Hz], the nearer to what a source declares."""
    return min(WINDOW_CYCLES, key=lambda nominal_hz: abs(nominal_hz - declared_hz))


def plan_from_description(
    description: SignalDescription, flags: tuple[str, ...] = ()
) -> MeasurePlan:
    """Every current channel an insulator; the only voltage, or the first, the reference."""
    currents = [c for c in description.channels if c.kind is ChannelKind.CURRENT]
    voltages = [c for c in description.channels if c.kind is ChannelKind.VOLTAGE]
    insulators = tuple(
        InsulatorPlan(id=c.name, ranges=(SensorRange(channel=c.name),), phase=c.phase)
        for c in currents
    )
    reference = voltages[0] if voltages else None
    return MeasurePlan(
        nominal_hz=nominal_frequency(description.nominal_hz),
        insulators=insulators,
        voltage_channel=reference.name if reference else None,
        voltage_phase=reference.phase if reference else "",
        flags=flags,
    )
