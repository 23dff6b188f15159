"""The summary again after a restart, from the newest records of the history."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from edge.records import Record
from gateway.console.summary import Summary, UnitNow, fold_records
from gateway.history.store import History, Of, SiteReader

WEATHER_LOOKED_BACK_US = 24 * 3_600_000_000
"""Older weather is not shown as the present one."""


def recall(history: History, sites: Iterable[str], now_us: int) -> Summary:
    """The summary of the sites that have a history. Raises HistoryFault."""
    summary = Summary()
    for site in sorted(set(sites) & set(history.sites())):
        reader = history.reader(site)
        try:
            summary = _recall_site(summary, site, reader, now_us)
        finally:
            reader.close()
    return summary


def _recall_site(summary: Summary, site: str, reader: SiteReader, now_us: int) -> Summary:
    records: list[Of[Record]] = [*reader.latest_intervals(), *reader.latest_health()]
    records += reader.latest_conditions()
    records += reader.weather(now_us - WEATHER_LOOKED_BACK_US, now_us)[-1:]
    folded = fold_records(summary, site, records, heard_us=0)
    now = folded.sites[site]
    units = dict(now.units)
    for key, mark in reader.marks().items():
        unit = units.get(key.unit, UnitNow())
        units[key.unit] = replace(unit, heard_us=max(unit.heard_us, mark.received_us))
    return replace(folded, sites={**folded.sites, site: replace(now, units=units)})
