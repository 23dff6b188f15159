"""The alarm list as a page shows it: tabs with counts, and each row with what a sleepy reader
needs in the first ten seconds. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from edge.records import WeatherRow
from gateway.alarms.messages import MessageClass
from gateway.alarms.states import Shown
from gateway.console.alarm_picture import AlarmTold
from gateway.console.fleet import ARCING, IN_SIGHT
from gateway.console.present import Told

TABS: dict[str, tuple[Shown, ...]] = {
    "active": IN_SIGHT,
    "shelved": (Shown.SHELVED,),
    "suppressed": (Shown.SUPPRESSED,),
    "out-of-service": (Shown.OUT_OF_SERVICE,),
}
"""Word in the address, and which states it shows."""

ROWS_MAX = 200
"""So many rows stand on one page, the first in order; how many more there are is said."""


@dataclass(frozen=True, slots=True)
class Surroundings:
    """One or many, and the weather. arcing: of the site's watched insulators."""

    arcing: int
    installed: int
    watched: int
    weather: WeatherRow | None


@dataclass(frozen=True, slots=True)
class Row:
    """An alarm and what is around it. spoken_for: the insulator whose trend tells of it, or ""."""

    told: AlarmTold
    around: Surroundings
    spoken_for: str

    @property
    def full(self) -> bool:
        """Whether it is shown with all that the first ten seconds need: not what is put aside,
        which would push those that call off the screen."""
        told = self.told
        return told.priority <= 2 and told.standing and told.shown in IN_SIGHT


@dataclass(frozen=True, slots=True)
class Listed:
    """One tab. more: rows that are not shown. hidden: words for what a filter leaves out."""

    tab: str
    counts: Mapping[str, int]
    rows: tuple[Row, ...]
    more: int


def listed(told: Told, tab: str, site: str | None, message: MessageClass) -> Listed:
    """Alarms, or tasks, of one tab."""
    own = [one for one in told.alarms.alarms if one.message is message and site in (None, one.site)]
    around = surroundings(told)
    chosen = [one for one in own if one.shown in TABS[tab]]
    rows = tuple(row_of(one, around) for one in chosen[:ROWS_MAX])
    counts = {name: sum(one.shown in states for one in own) for name, states in TABS.items()}
    return Listed(tab, counts, rows, max(0, len(chosen) - ROWS_MAX))


def surroundings(told: Told) -> dict[str, Surroundings]:
    """Of every site."""
    arcing: dict[str, int] = {}
    for one in told.picture.insulators:
        if one.watched and one.row is not None and one.row.state in ARCING:
            arcing[one.site] = arcing.get(one.site, 0) + 1
    return {
        one.site: Surroundings(arcing.get(one.site, 0), one.insulators, one.watched, one.weather)
        for one in told.picture.sites
    }


def row_of(told: AlarmTold, around: Mapping[str, Surroundings]) -> Row:
    """An alarm as a row."""
    spoken_for = told.named[0] if told.named else told.subject
    return Row(told, around[told.site], spoken_for)


def weather_words(weather: WeatherRow | None) -> str:
    """Humidity, fog, rain and wind in a few words; "" where nothing is measured."""
    if weather is None:
        return ""
    found: list[str] = []
    if weather.rh_cpct is not None:
        found.append(f"RH {weather.rh_cpct / 100:.0f} %")
        if _is_fog(weather):
            found.append("fog or dew likely")
    if weather.rain_um:
        found.append(f"rain {weather.rain_um / 1000:.1f} mm")
    if weather.wind_mm_s is not None:
        found.append(f"wind {weather.wind_mm_s / 1000:.0f} m/s")
    return ", ".join(found)


FOG_CPCT = 9_700
"""From here on fog or dew is likely (common practice: a probe in fog reads 97 to 100 %)."""


def _is_fog(weather: WeatherRow) -> bool:
    return weather.rh_cpct is not None and weather.rh_cpct >= FOG_CPCT and not weather.rain_um


def trend_word(peaks: Sequence[float]) -> str:
    """Whether the last third of peaks lies above, below or about the middle one; "" for too few."""
    known = [one for one in peaks if one == one]
    third = len(known) // 3
    if third < 2:
        return ""
    before, last = known[third : 2 * third], known[-third:]
    earlier, later = sum(before) / len(before), sum(last) / len(last)
    if max(earlier, later) <= 0:
        return "steady"
    if later > 1.25 * earlier:
        return "rising"
    return "falling" if later < 0.8 * earlier else "steady"
