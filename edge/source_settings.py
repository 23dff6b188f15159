"""Settings of what is sensed: where the samples come from, and where the weather comes from.

Kept apart from `edge.settings` because every kind of source has a table of its own here.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, model_validator

from edge.quantities import BY_COLUMN
from edge.register import Number, Part, Positive, Word
from edge.samples import RATE_HZ_MAX, RATE_HZ_MIN

ELEMENT = r"^in_(voltage|current)[0-9]+(-voltage[0-9]+)?(_[a-z0-9]+)?$"
"""A scan element of the kernel's naming: `in_voltage0`, `in_voltage0-voltage1`, `in_current2`."""

DEVICE = r"^[A-Za-z0-9][A-Za-z0-9:._+-]{0,62}$"

DEVICE_ID_MAX = 247
"""Highest address of a device on a Modbus line (as recalled)."""


class IioChannelPart(Part):
    """One element of the converter's scan.

    ma_per_mv, kv_per_mv: what one millivolt at the converter's input stands for at primary; of an
    element `in_current*`, ma_per_ma. Which one is given says what the channel carries. A negative
    figure turns the polarity.
    """

    name: Word
    element: Annotated[str, Field(pattern=ELEMENT)]
    phase: Annotated[str, Field(max_length=8)] = ""
    ma_per_mv: Number | None = None
    kv_per_mv: Number | None = None
    ma_per_ma: Number | None = None

    @model_validator(mode="after")
    def _one_figure(self) -> IioChannelPart:
        figures = {"ma_per_mv": self.ma_per_mv, "kv_per_mv": self.kv_per_mv}
        figures["ma_per_ma"] = self.ma_per_ma
        given = {key: figure for key, figure in figures.items() if figure is not None}
        if len(given) != 1:
            raise ValueError("give exactly one of ma_per_mv, kv_per_mv and ma_per_ma")
        (key, figure) = next(iter(given.items()))
        if figure == 0:
            raise ValueError(f"{key} is 0; it must be what one unit at the input stands for")
        if self.element.startswith("in_current") != (key == "ma_per_ma"):
            raise ValueError(
                f"{key} does not belong to {self.element}: mv of in_voltage, ma of in_current"
            )
        return self


class IioPart(Part):
    """A converter of the Linux IIO subsystem with a buffer.

    device: its `name` or its number as `iio:device0`. root: where /sys and /dev begin. rate_hz: set
    on the device, or on the trigger that is named here. buffer_s: how much the kernel may hold
    while this computer is busy. watermark_s: how much it gathers before it wakes us.
    """

    device: Annotated[str, Field(pattern=DEVICE)]
    rate_hz: Annotated[float, Field(ge=RATE_HZ_MIN, le=RATE_HZ_MAX, strict=False)]
    channel: Annotated[tuple[IioChannelPart, ...], Field(min_length=1, max_length=16, strict=False)]
    trigger: Word | None = None
    buffer_s: Annotated[float, Field(ge=0.1, le=60, strict=False)] = 2.0
    watermark_s: Annotated[float, Field(ge=0.001, le=1, strict=False)] = 0.05
    root: Word = "/"

    @model_validator(mode="after")
    def _distinct(self) -> IioPart:
        for key in ("name", "element"):
            named = [getattr(one, key) for one in self.channel]
            if twice := next((one for one in named if named.count(one) > 1), None):
                raise ValueError(f"channel {key} {twice!r} is used twice; each needs its own")
        if self.watermark_s > self.buffer_s / 2:
            raise ValueError("watermark_s must be at most half of buffer_s, or samples are lost")
        return self


class SourcePart(Part):
    """Where samples come from: the firmware link on a serial port, a converter of this computer,
    stored recordings, or a simulated site, whose plan may be told in a night of another length."""

    kind: Literal["link", "iio", "recordings", "virtual-site"]
    port: Word | None = None
    baud: Annotated[int, Field(ge=9600, le=12_000_000)] = 3_000_000
    path: Word | None = None
    plan: Word | None = None
    seed: Annotated[int, Field(ge=0)] = 0
    night_minutes: Annotated[int, Field(ge=15, le=1_440)] | None = None
    voltage_channel: Word | None = None
    iio: IioPart | None = None

    @model_validator(mode="after")
    def _complete(self) -> SourcePart:
        needed = {"link": "port", "iio": "iio", "recordings": "path", "virtual-site": "plan"}
        if getattr(self, needed[self.kind]) is None:
            shown = "a table [source.iio]" if self.kind == "iio" else needed[self.kind]
            raise ValueError(f'kind = "{self.kind}" needs {shown}')
        if self.iio is not None and self.kind != "iio":
            raise ValueError(f'[source.iio] belongs to kind = "iio", not to "{self.kind}"')
        return self


class RegisterKind(StrEnum):
    """How a reading lies in registers of 16 bits."""

    U16 = "u16"
    S16 = "s16"
    U32 = "u32"
    S32 = "s32"
    F32 = "f32"


class RegisterPart(Part):
    """One reading of a Modbus station: number in the register, times `scale`, plus `offset`, in the
    unit that the column's name ends with. address: as on the line, from 0. total: the station
    counts up (a rain gauge); what is kept is the growth since the minute before."""

    column: Literal[
        "rh_pct", "air_c", "dew_point_c", "rain_mm", "wind_m_s", "wind_from_deg", "uv_w_m2"
    ]
    address: Annotated[int, Field(ge=0, le=65_535)]
    table: Literal["input", "holding"] = "input"
    type: Annotated[RegisterKind, Field(strict=False)] = RegisterKind.S16
    low_word_first: bool = False
    scale: Number = 1.0
    offset: Number = 0.0
    total: bool = False

    @model_validator(mode="after")
    def _sensible(self) -> RegisterPart:
        if self.scale == 0:
            raise ValueError("scale is 0; it must be what one unit of the register stands for")
        if self.total and self.column != "rain_mm":
            raise ValueError(f"total belongs to rain_mm; {self.column} does not count up")
        return self


class WeatherPart(Part):
    """A weather station on a Modbus RTU line, or humidity and temperature chips of this computer.

    With it, weather that the source itself tells is passed over. device: of kind "iio", a `name` or
    `iio:deviceN` in the tree under `root`. every_s: between two readings.
    """

    kind: Literal["modbus-rtu", "iio"]
    every_s: Annotated[float, Field(ge=0.2, le=60, strict=False)] = 10.0
    port: Word | None = None
    baud: Annotated[int, Field(ge=1200, le=115_200)] = 9_600
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: Literal[1, 2] = 1
    device_id: Annotated[int, Field(ge=1, le=DEVICE_ID_MAX)] = 1
    timeout_s: Annotated[Positive, Field(le=10)] = 1.0
    reading: Annotated[tuple[RegisterPart, ...], Field(strict=False)] = ()
    device: Annotated[str, Field(pattern=DEVICE)] | None = None
    root: Word = "/"

    @model_validator(mode="after")
    def _complete(self) -> WeatherPart:
        if self.kind == "iio":
            if self.device is None:
                raise ValueError('kind = "iio" needs device')
            if self.reading or self.port:
                raise ValueError('port and reading belong to kind = "modbus-rtu"')
            return self
        if self.port is None or not self.reading:
            raise ValueError('kind = "modbus-rtu" needs port and at least one [[weather.reading]]')
        columns = [one.column for one in self.reading]
        if twice := next((one for one in columns if columns.count(one) > 1), None):
            raise ValueError(f"column {twice!r} has two registers; leave one out")
        return self


def in_units(column: str, figure: float) -> int:
    """A figure in a column's unit as the glossary's whole number."""
    return round(figure * float(10 ** BY_COLUMN[column].decimals))
