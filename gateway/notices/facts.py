"""The facts of a notice, from the alarm as the list tells it. Pure."""

from __future__ import annotations

from collections.abc import Mapping

from gateway.alarms.memory import AlarmList
from gateway.console.alarm_picture import AlarmTold
from gateway.console.picture import SiteTold
from gateway.notices.planning import Occurrence, Standing, Told
from gateway.notices.texts import Facts
from gateway.settings import Site


def facts_of(told: AlarmTold, site: Site, seen: SiteTold, roll: AlarmList, at_us: int) -> Facts:
    """What a notice says of an alarm. roll: the list that it is of, for the count of a roll-up."""
    counted, worst = "", tuple[str, ...]()
    if not told.subject and not told.unit and roll.roll.counts:
        counts = roll.roll.counts
        counted = f"{counts['arcing']} of {counts['installed']}"
        worst = roll.roll.named
    return Facts(
        id=told.id,
        title=site.title or told.site,
        alarm=told.alarm,
        place=told.subject or told.unit.partition(".")[2],
        priority=told.priority,
        trust=told.data,
        at_us=at_us,
        since_us=told.since_us,
        counted=counted,
        worst=worst,
        peak_ua=told.deciding.get("arcing_peak_ua", 0),
        call=site.call,
        text=told.rationale.text,
        action=told.rationale.action,
        safety=told.rationale.safety,
        cause=told.rationale.cause,
        watched=f"{seen.watched} of {seen.insulators} insulators watched.",
        weather=_weather(seen),
        position=site.position,
        held_by=told.acknowledged_by,
    )


def _weather(seen: SiteTold) -> str:
    if seen.weather is None or seen.weather.rh_cpct is None:
        return "Humidity not known."
    return f"RH {seen.weather.rh_cpct / 100:.0f} %."


def standings(
    told: Mapping[Occurrence, Told], lists: Mapping[str, AlarmList]
) -> dict[Occurrence, Standing]:
    """How the occurrences that somebody was told of stand now. Those of a site that is not there
    any more are over."""
    found: dict[Occurrence, Standing] = {}
    for site, number in told:
        held = lists.get(site)
        kept = next(
            (one for one in (held.kept.values() if held else ()) if one.occurrence == number), None
        )
        if kept is None:
            found[site, number] = Standing(True, True)
        else:
            over = not kept.core.is_in and not kept.core.latched
            found[site, number] = Standing(over, kept.core.acknowledged)
    return found
