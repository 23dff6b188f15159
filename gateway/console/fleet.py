"""The fleet, one row a site, worst first: is anything wrong anywhere, am I blind anywhere. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from edge.quantities import State
from edge.records import WeatherRow
from gateway.alarms.messages import MessageClass
from gateway.alarms.states import Shown
from gateway.console.alarm_picture import AlarmTold
from gateway.console.picture import InsulatorTold, SiteTold
from gateway.console.present import Told

ARCING = (State.ARCING_SPARSE, State.ARCING_DENSE)

IN_SIGHT = (Shown.NEW, Shown.LATCHED_NEW, Shown.CLEARED, Shown.ACKNOWLEDGED, Shown.LATCHED)


@dataclass(frozen=True, slots=True)
class FleetRow:
    """worst: the alarm that comes first, None where none is in sight. worst_insulator: the highest
    arcing peak of the watched. newest_us: end of the site's newest row, 0 for none."""

    site: SiteTold
    worst: AlarmTold | None
    in_sight: int
    suppressed: int
    tasks: int
    arcing: int
    worst_insulator: InsulatorTold | None
    newest_us: int

    @property
    def peak_ua(self) -> int:
        """Of the worst insulator; 0 where nothing arcs."""
        one = self.worst_insulator
        return one.row.arcing_peak_ua if one is not None and one.row is not None else 0

    @property
    def blind(self) -> int:
        """Insulators that nobody watches."""
        return self.site.insulators - self.site.watched

    @property
    def weather(self) -> WeatherRow | None:
        """The site's last weather."""
        return self.site.weather


def fleet_rows(told: Told) -> list[FleetRow]:
    """All sites: those with alarms by their alarms' order, then the blind, then by name."""
    alarms: dict[str, list[AlarmTold]] = defaultdict(list)
    for one in told.alarms.alarms:
        alarms[one.site].append(one)
    insulators: dict[str, list[InsulatorTold]] = defaultdict(list)
    for seen in told.picture.insulators:
        insulators[seen.site].append(seen)
    newest_us: dict[str, int] = defaultdict(int)
    for unit in told.picture.units:
        if unit.data_age_us is not None:
            end_us = told.picture.now_us - unit.data_age_us
            newest_us[unit.site] = max(newest_us[unit.site], end_us)
    rows = [
        _row(site, alarms[site.site], insulators[site.site], newest_us[site.site])
        for site in told.picture.sites
    ]
    place = {one.id: number for number, one in enumerate(told.alarms.alarms)}
    return sorted(rows, key=lambda row: _order(row, place))


def _order(row: FleetRow, place: dict[str, int]) -> tuple[int, int, str]:
    worst = place[row.worst.id] if row.worst is not None else len(place)
    return (worst, -row.blind, row.site.title or row.site.site)


def _row(
    site: SiteTold, alarms: Sequence[AlarmTold], insulators: Sequence[InsulatorTold], newest_us: int
) -> FleetRow:
    meant = [one for one in alarms if one.message is MessageClass.ALARM]
    in_sight = [one for one in meant if one.shown in IN_SIGHT]
    arcing = [
        one for one in insulators if one.watched and one.row is not None and one.row.state in ARCING
    ]
    peaks = [(one.row.arcing_peak_ua, one) for one in arcing if one.row is not None]
    return FleetRow(
        site,
        in_sight[0] if in_sight else None,
        len(in_sight),
        sum(one.shown is Shown.SUPPRESSED for one in meant),
        sum(one.message is MessageClass.TASK for one in alarms),
        len(arcing),
        max(peaks, key=lambda pair: pair[0])[1] if peaks else None,
        newest_us,
    )
