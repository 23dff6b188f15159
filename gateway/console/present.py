"""The present, worked out once for all who look: the picture and the alarms as they are told.

A picture is good for as long as nothing was committed, and at most for a short while: what becomes
old with time alone must be seen to.
"""

from __future__ import annotations

import threading
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass

from gateway.console.alarm_picture import AlarmsTold, SiteAround, alarms_told
from gateway.console.picture import Liveliness, Picture, picture
from gateway.console.sources import Sources

GOOD_FOR_S = 1.0
"""A picture that nothing has changed is looked at anew after this."""


@dataclass(frozen=True, slots=True)
class Told:
    """Both, of one moment. number: of the feed, before which everything is in it."""

    number: int
    picture: Picture
    alarms: AlarmsTold


class Present:
    """steady_s: seconds that never go back."""

    def __init__(self, sources: Sources, steady_s: Callable[[], float] = time.monotonic) -> None:
        self._sources = sources
        self._steady_s = steady_s
        self._one_at_a_time = threading.Lock()
        self._held: Told | None = None
        self._held_s = 0.0

    def told(self) -> Told:
        """The present; asked for by many threads, worked out by one."""
        with self._one_at_a_time:
            held, now_s = self._held, self._steady_s()
            fresh = held is not None and held.number == self._sources.feed.number
            if held is None or not fresh or now_s - self._held_s > GOOD_FOR_S:
                held = self._look()
                self._held, self._held_s = held, now_s
            return held

    def _look(self) -> Told:
        sources = self._sources
        number = sources.feed.number
        seen = picture(
            sources.summary(), sources.register, sources.now_us(), sources.stale_after_us
        )
        alarms = alarms_told(sources.desk().lists(), around_sites(seen), seen.now_us)
        return Told(number, seen, alarms)


def around_sites(seen: Picture) -> dict[str, SiteAround]:
    """What is known of each site beside its alarms."""
    live: dict[str, set[str]] = defaultdict(set)
    peaks_ua: dict[str, dict[str, int]] = defaultdict(dict)
    for unit in seen.units:
        if unit.liveliness is Liveliness.LIVE:
            live[unit.site].add(unit.unit)
    for one in seen.insulators:
        if one.row is not None and one.watched:
            peaks_ua[one.site][one.insulator] = one.row.arcing_peak_ua
    return {
        one.site: SiteAround(
            one.insulators, one.watched, frozenset(live[one.site]), peaks_ua[one.site]
        )
        for one in seen.sites
    }
