"""Settings of a unit: TOML text in, frozen and checked settings out.

Checked once, here. Every fault is one line: file and key, what was found, what is allowed.
"""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Mapping
from datetime import UTC
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError, model_validator

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import (
    DecisionPlan,
    SpecificCreepage,
    WatchedInsulator,
    bind,
)
from edge.decide.definitions import Adjustment, Alarm, DefinitionFault, adjusted
from edge.measure.plan import (
    Calibration,
    InsulatorPlan,
    MeasureLimits,
    MeasurePlan,
    SensorRange,
)
from edge.register import InsulatorPart, Part, Positive, Word
from edge.samples import ChannelKind, SignalDescription
from edge.source_settings import SourcePart, WeatherPart
from edge.wire import UNIT_PATTERN

ABSENT_DOES_NOT_COUNT = (("", "weather"), ("source", "iio"))
"""(table, key) of what settings written before had no word for."""


class SettingsError(ValueError):
    """The installer's settings are not acceptable; one line for each fault."""


class UnitPart(Part):
    """Who this unit is: `<site>.<monitor>`, also the common name of its certificate."""

    id: Annotated[str, Field(pattern=UNIT_PATTERN)]


class SitePart(Part):
    """The place. coast_bearing_deg: direction from the site to the sea, clockwise from north."""

    name: Word
    nominal_hz: Literal[50, 60]
    nominal_kv: Positive | None = None
    coast_bearing_deg: Annotated[float, Field(ge=0, lt=360, strict=False)]
    latitude_deg: Annotated[float, Field(ge=-90, le=90, strict=False)] | None = None
    longitude_deg: Annotated[float, Field(ge=-180, le=180, strict=False)] | None = None
    line_status_input: bool = False


class StorePart(Part):
    """The durable file and how large it may grow."""

    folder: Word
    quota_mb: Annotated[int, Field(ge=16, le=1_000_000)] = 2_000


class BrokerPart(Part):
    """The MQTT broker. Without `ca` the link is plain and only loopback is allowed."""

    host: Word
    port: Annotated[int, Field(ge=1, le=65_535)] = 8883
    ca: Word | None = None
    certificate: Word | None = None
    key: Word | None = None

    @model_validator(mode="after")
    def _protected(self) -> BrokerPart:
        tls = [self.ca, self.certificate, self.key]
        if any(tls) and not all(tls):
            raise ValueError("ca, certificate and key belong together: give all three")
        if not any(tls) and self.host not in ("127.0.0.1", "::1", "localhost"):
            raise ValueError(
                f'host = "{self.host}" without ca, certificate and key; '
                "only loopback may go without TLS"
            )
        return self


class LimitsPart(Part):
    """Limits of the surface state; see edge.measure.plan for their meaning."""

    wet_peak_ma: Positive = 0.3
    wet_spread_factor: Positive = 3.0
    stated_floor_ma: Positive = 0.3
    severe_ma: Literal[5, 20, 50, 100, 200] = 100
    severe_halfcycles: Annotated[int, Field(ge=1, le=1200)] = 1
    gone_ma: Positive = 0.01
    gone_ratio: Annotated[float, Field(gt=0, lt=1, strict=False)] = 0.2
    de_energised_ratio: Annotated[float, Field(gt=0, lt=1, strict=False)] = 0.2
    voltage_low_ratio: Annotated[float, Field(gt=0, lt=1, strict=False)] = 0.85
    voltage_high_ratio: Annotated[float, Field(gt=1, lt=2, strict=False)] = 1.15

    @model_validator(mode="after")
    def _consistent(self) -> LimitsPart:
        if self.de_energised_ratio >= self.voltage_low_ratio:
            raise ValueError("de_energised_ratio must be below voltage_low_ratio")
        if self.stated_floor_ma < self.wet_peak_ma:
            raise ValueError("stated_floor_ma must not be below wet_peak_ma")
        if self.gone_ma >= self.wet_peak_ma:
            raise ValueError("gone_ma must be below wet_peak_ma: a wet surface carries a current")
        return self


class AlarmPart(Part):
    """What a site sets differently for one alarm; owner and reason are required."""

    owner: Word
    reason: Word
    limits: dict[str, int] = Field(default_factory=dict)
    on_delay_s: Annotated[int, Field(ge=0)] | None = None
    off_delay_s: Annotated[int, Field(ge=0)] | None = None
    priority: Annotated[int, Field(ge=1, le=3)] | None = None


class Settings(Part):
    """All settings of one unit."""

    unit: UnitPart
    site: SitePart
    source: SourcePart
    weather: WeatherPart | None = None
    insulator: Annotated[tuple[InsulatorPart, ...], Field(min_length=1, strict=False)]
    limits: LimitsPart = LimitsPart()
    alarms: dict[str, AlarmPart] = Field(default_factory=dict)
    store: StorePart | None = None
    broker: BrokerPart | None = None

    @model_validator(mode="after")
    def _distinct(self) -> Settings:
        ids = [one.id for one in self.insulator]
        for one in ids:
            if ids.count(one) > 1:
                raise ValueError(f"insulator id {one!r} is used twice; each needs its own")
        if self.weather is not None and self.source.kind not in ("link", "iio"):
            raise ValueError(f'[weather] stands beside live sensors, not "{self.source.kind}"')
        known = [alarm.value for alarm in Alarm]
        for name in self.alarms:
            if name not in known:
                raise ValueError(f"alarms.{name} is unknown; there are {', '.join(known)}")
        return self

    @property
    def sha(self) -> str:
        """SHA-256 over the settings' canonical JSON, hex, first 16 digits.

        A table that came with a later version does not count while it is absent, so that the same
        settings keep their name through an upgrade.
        """
        plain = self.model_dump(mode="json")
        for table, key in ABSENT_DOES_NOT_COUNT:
            if (held := plain if not table else plain[table]).get(key, 0) is None:
                del held[key]
        text = json.dumps(plain, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()[:16]


def parse_settings(text: str, where: str) -> Settings:
    """The settings of a TOML text; `where` names it in faults. Raises SettingsError."""
    try:
        plain = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise SettingsError(f"{where}: {fault}; mend the TOML") from fault
    try:
        settings = Settings.model_validate(plain)
        adjusted(DEFAULT_ALARMS, adjustments(settings.alarms))
    except ValidationError as fault:
        faults = [dict(one) for one in fault.errors()]
        lines = [_fault_line(where, one) for one in faults if not _follows(one, faults)]
        raise SettingsError("\n".join(lines)) from fault
    except DefinitionFault as fault:
        raise SettingsError(f"{where}: {fault}") from fault
    return settings


def _follows(fault: dict[str, Any], faults: list[dict[str, Any]]) -> bool:
    """Whether a list is called too short only because an entry of it is at fault."""
    loc = fault["loc"]
    return fault["type"] == "too_short" and any(
        len(one["loc"]) > len(loc) and one["loc"][: len(loc)] == loc for one in faults
    )


def _fault_line(where: str, fault: dict[str, Any]) -> str:
    key = ".".join(str(part) for part in fault["loc"]) or "settings"
    message = str(fault["msg"]).removeprefix("Value error, ")
    if fault["type"] == "extra_forbidden":
        return f"{where}: {key} is no key of this version; remove it or mend its spelling"
    if fault["type"] == "missing":
        return f"{where}: {key} is missing; add it"
    found = fault.get("input")
    shown = f" is {found!r}" if isinstance(found, str | int | float | bool) else ""
    return f"{where}: {key}{shown}: {message}"


def adjustments(alarms: Mapping[str, AlarmPart]) -> list[Adjustment]:
    """What a site sets differently, in the form that definitions are adjusted by."""
    return [
        Adjustment(
            alarm=Alarm(name),
            owner=part.owner,
            reason=part.reason,
            limits_at=dict(part.limits),
            on_delay_s=part.on_delay_s,
            off_delay_s=part.off_delay_s,
            priority=part.priority,
        )
        for name, part in sorted(alarms.items())
    ]


def measure_plan(
    settings: Settings, description: SignalDescription, flags: tuple[str, ...] = ()
) -> MeasurePlan:
    """The measure's plan; every channel that the settings name must be in the source.

    Raises SettingsError, naming the channels that there are.
    """
    names = {c.name: c for c in description.channels}
    for insulator in settings.insulator:
        for one in insulator.ranges:
            channel = names.get(one.channel)
            if channel is None or channel.kind is not ChannelKind.CURRENT:
                currents = [c.name for c in names.values() if c.kind is ChannelKind.CURRENT]
                raise SettingsError(
                    f"insulator {insulator.id}: the source has no current channel "
                    f"{one.channel!r}; it has {', '.join(currents) or 'none'}"
                )
    voltages = [c for c in description.channels if c.kind is ChannelKind.VOLTAGE]
    wanted = settings.source.voltage_channel
    if wanted is not None and wanted not in [c.name for c in voltages]:
        raise SettingsError(
            f"source.voltage_channel: the source has no voltage channel {wanted!r}; "
            f"it has {', '.join(c.name for c in voltages) or 'none'}"
        )
    reference = next((c for c in voltages if wanted in (None, c.name)), None)
    return MeasurePlan(
        nominal_hz=settings.site.nominal_hz,
        insulators=tuple(_insulator_plan(one) for one in settings.insulator),
        voltage_channel=reference.name if reference else None,
        voltage_phase=reference.phase if reference else "",
        nominal_kv=settings.site.nominal_kv,
        limits=MeasureLimits(**settings.limits.model_dump()),
        flags=flags,
    )


def _insulator_plan(part: InsulatorPart) -> InsulatorPlan:
    return InsulatorPlan(
        id=part.id,
        phase=part.phase,
        ranges=tuple(
            SensorRange(channel=one.channel, full_scale_ma=one.full_scale_ma) for one in part.ranges
        ),
        calibrations=tuple(
            Calibration(
                from_us=round(one.valid_from.astimezone(UTC).timestamp() * 1e6),
                **one.model_dump(exclude={"valid_from"}),
            )
            for one in part.calibrations
        ),
    )


def decision_plan(settings: Settings, rate_hz: float | None) -> DecisionPlan:
    """The decision's plan. Raises SettingsError where a limit cannot work with a sensor.

    rate_hz: None where it is not known; then gaps are told by UTC.
    """
    watched = [
        WatchedInsulator(
            id=one.id,
            creepage=SpecificCreepage(
                round(one.specific_creepage_mm_kv * 1000), one.creepage_basis
            ),
            full_scale_ua=None
            if one.ranges[-1].full_scale_ma is None
            else round(one.ranges[-1].full_scale_ma * 1000),
        )
        for one in settings.insulator
    ]
    try:
        return bind(
            adjusted(DEFAULT_ALARMS, adjustments(settings.alarms)), watched, settings.sha, rate_hz
        )
    except DefinitionFault as fault:
        raise SettingsError(str(fault)) from fault
