"""Whether the weather station answers, with what it says."""

from __future__ import annotations

from collections.abc import Iterator

from edge.checking.finding import Finding, fault
from edge.quantities import BY_NAME
from edge.sense.weather import StationFault, open_station
from edge.settings import Settings


def weather_findings(settings: Settings) -> Iterator[Finding]:
    """One line where the settings name a station, none where they do not."""
    if settings.weather is None:
        return
    try:
        station = open_station(settings.weather)
        try:
            reading = station.read()
        finally:
            station.close()
    except StationFault as cause:
        yield fault("weather", str(cause), "mend what it says, then check again")
        return
    told = {**reading.now, **reading.totals}
    if odd := [name for name, units in told.items() if not _is_possible(name, units)]:
        yield fault(
            "weather",
            _shown(told),
            f"{BY_NAME[odd[0]].column} cannot be: check type, scale and offset of its register",
        )
        return
    yield Finding("weather", _shown(told))


def _is_possible(name: str, units: int) -> bool:
    return name == "rain_um" or BY_NAME[name].low <= units <= BY_NAME[name].high


def _shown(told: dict[str, int]) -> str:
    rows = [(BY_NAME[name], units) for name, units in told.items()]
    return ", ".join(f"{q.column} {units / 10**q.decimals:g}" for q, units in rows)
