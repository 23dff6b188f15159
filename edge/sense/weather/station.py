"""What a weather station is to the daemon: asked now and then, it says what it measures."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

from edge.source_settings import WeatherPart


class StationFault(OSError):
    """The station does not answer, or not as the settings say: line, wiring, settings."""


@dataclass(frozen=True, slots=True)
class Reading:
    """now: by glossary name, in its units. totals: of counters that only grow, likewise."""

    now: dict[str, int] = field(default_factory=dict)
    totals: dict[str, int] = field(default_factory=dict)


class Station(Protocol):
    """A station. read: raises StationFault. close: twice does no harm."""

    def read(self) -> Reading: ...

    def close(self) -> None: ...


def open_station(part: WeatherPart) -> Station:
    """The station that the settings name. Raises StationFault where it can never answer."""
    if part.kind == "iio":
        from edge.sense.weather.iio_nodes import IioNodes

        return IioNodes(part)
    from edge.sense.weather.modbus import ModbusStation

    return ModbusStation(part)
