"""What the gateway does for others than its console: limits, outstation, notices, heartbeat."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from edge.records import ConditionChange
from edge.settings import Settings as UnitSettings
from edge.settings import SettingsError, parse_settings
from gateway.alarms.journal import Entry
from gateway.alarms.memory import AlarmList
from gateway.books import Books
from gateway.clock import Clock, steady_s
from gateway.console.alarm_picture import AlarmsTold, alarms_told
from gateway.console.picture import Picture, picture
from gateway.console.present import around_sites
from gateway.console.rooms import Room
from gateway.console.sources import Sources
from gateway.history.store import Commit
from gateway.limits.api import limits_room
from gateway.limits.desk import Around as LimitsAround
from gateway.limits.desk import LimitsDesk
from gateway.limits.judging import judged as limits_judged
from gateway.notices.api import notices_room
from gateway.notices.desk import Around as NoticesAround
from gateway.notices.desk import NoticesDesk
from gateway.notices.facts import facts_of
from gateway.notices.judging import judged as notices_judged
from gateway.notices.texts import Facts
from gateway.outstation.api import outstation_room
from gateway.outstation.outstation import Around as OutstationAround
from gateway.outstation.outstation import Outstation
from gateway.settings import Settings
from gateway.watch.api import watch_room
from gateway.watch.heartbeat import Heart
from gateway.watch.metrics import Figures
from gateway.watch.soundness import Signs

log = logging.getLogger("seafret.gateway")

Judged = Iterable[tuple[str, ConditionChange]]


@dataclass(frozen=True, slots=True)
class Ways:
    """How the outworks reach the broker. send: to a unit's topic. beat: the retained heartbeat.
    rounds: how often each thread of the gateway has turned."""

    send: Callable[[str, bytes], None]
    beat: Callable[[bytes], None]
    rounds: Callable[[], Mapping[str, int]]


class Outworks:
    """Opened before the console, which gets its rooms; told of commits, entries and time."""

    def __init__(self, settings: Settings, sources: Sources, ways: Ways) -> None:
        """Raises what keeps a part from opening: BookFault, SettingsError, AddressFault, ..."""
        self._settings, self._sources, self._ways = settings, sources, ways
        copies = _copies(settings)
        self._books = Books(settings.data)
        try:
            self.limits = LimitsDesk(self._limits_around(copies))
            self.outstation = self._make_outstation()
            self.notices = self._make_notices()
        except BaseException:
            self._books.close()
            raise
        self.heart = Heart(settings.heartbeat, self._signs, ways.beat, Clock().utc_us, steady_s)

    def rooms(self) -> tuple[Room, ...]:
        """Routes for the console to include."""
        found = [limits_room(self.limits), watch_room(self._figures)]
        if self.outstation is not None:
            found.append(outstation_room(self.outstation))
        if self.notices is not None:
            found.append(notices_room(self.notices))
        return tuple(found)

    def _limits_around(self, copies: Mapping[str, UnitSettings]) -> LimitsAround:
        return LimitsAround(
            books=self._books,
            history=self._sources.history,
            register=self._settings.sites,
            copies=copies,
            send=self._ways.send,
            now_us=self._sources.now_us,
            records_sha=self._records_sha,
            changed=lambda: self._sources.feed.touch(["limits"]),
        )

    def _records_sha(self, unit: str) -> str:
        site = self._sources.summary().sites.get(unit.partition(".")[0])
        now = None if site is None else site.units.get(unit)
        return "" if now is None or now.health is None else now.health.settings_sha

    def _make_outstation(self) -> Outstation | None:
        if self._settings.outstation is None:
            return None
        around = OutstationAround(
            books=self._books,
            history=self._sources.history,
            register=self._settings.sites,
            picture=self._picture,
            lists=self._lists,
            now_us=self._sources.now_us,
            deaf=self._is_deaf,
            changed=lambda: self._sources.feed.touch(["outstation"]),
        )
        return Outstation(self._settings.outstation, around)

    def _make_notices(self) -> NoticesDesk | None:
        settings = self._settings.notices
        if settings is None:
            return None
        from gateway.notices.delivering import address_of, deliver  # apprise: only where it is used

        addresses = {one.name: address_of(one) for one in settings.recipients}
        sites = self._settings.sites
        around = NoticesAround(
            books=self._books,
            lists=self._lists,
            facts=self._facts,
            titles={name: site.title or name for name, site in sites.items()},
            recent=lambda site, since_us: self._sources.desk().journal(site, 0, since_us),
            watched=self._watched,
            now_us=self._sources.now_us,
            changed=lambda: self._sources.feed.touch(["notices"]),
        )
        return NoticesDesk(settings, addresses, deliver, around)

    def _lists(self) -> Mapping[str, AlarmList]:
        return self._sources.desk().lists()

    def _picture(self) -> Picture:
        sources = self._sources
        return picture(
            sources.summary(), sources.register, sources.now_us(), sources.stale_after_us
        )

    def _alarms(self, seen: Picture) -> AlarmsTold:
        return alarms_told(self._lists(), around_sites(seen), seen.now_us)

    def _facts(self, site: str, occurrence: int) -> Facts | None:
        seen, wanted = self._picture(), f"{site}.{occurrence}"
        told = next((one for one in self._alarms(seen).alarms if one.id == wanted), None)
        place = next((one for one in seen.sites if one.site == site), None)
        if told is None or place is None:
            return None
        registered = self._settings.sites[site]
        return facts_of(told, registered, place, self._lists()[site], seen.now_us)

    def _watched(self) -> str:
        sites = self._picture().sites
        watched = sum(one.watched for one in sites)
        return f"{watched} of {sum(one.insulators for one in sites)} watched"

    def _is_deaf(self) -> bool:
        standing = self._sources.standing()
        return not standing.broker_connected or bool(standing.store_fault)

    def _signs(self) -> Signs:
        standing = self._sources.standing()
        return Signs(standing.broker_connected, standing.store_fault, dict(self._ways.rounds()))

    def judge(self, site: str, held: AlarmList, now_us: int) -> Judged:
        """Conditions that the alarm list is told: limits not in force, notices that fail."""
        units = self.limits.units_of(site)
        yield from limits_judged(held, ((one, self.limits.fault(one)) for one in units), now_us)
        if self.notices is not None and site == min(self._settings.sites):
            yield from notices_judged(held, self.notices.failing(), now_us)

    def on_entries(self, site: str, entries: Sequence[Entry]) -> None:
        """The alarm journal has grown."""
        if self.outstation is not None:
            self.outstation.on_entries(site, entries)
        if self.notices is not None:
            self.notices.on_entries(site, entries)

    def on_commit(self, site: str, commit: Commit) -> None:
        """A commit is in the history, and in the summary."""
        self.limits.on_commit(site, commit)
        if self.outstation is not None:
            self.outstation.on_commit(site, commit)

    def tick(self) -> None:
        """Time goes on."""
        self.limits.tick()
        if self.outstation is not None:
            self.outstation.tick()
        if self.notices is not None:
            self.notices.tick()

    def start(self) -> None:
        """Once the alarm desk is there. Raises ListenFault."""
        if self.outstation is not None:
            self.outstation.start()
        if self.notices is not None:
            self.notices.start()
        self.heart.start()

    def stop(self) -> None:
        """Before the alarm desk goes."""
        self.heart.stop()
        if self.notices is not None:
            self.notices.stop()
        if self.outstation is not None:
            self.outstation.stop()
        self._books.close()

    def check_threads(self) -> None:
        """Raises what ended a thread of the outworks."""
        server = None if self.outstation is None else self.outstation.server
        for part in (self.heart, self.notices, server):
            if part is not None and part.failure is not None:
                raise part.failure

    def _figures(self) -> Figures:
        seen, summary = self._picture(), self._sources.summary()
        return Figures(
            picture=seen,
            alarms=self._alarms(seen),
            standing=self._sources.standing(),
            refused=summary.refused,
            noticed=summary.noticed,
            beats=self.heart.beats,
            extra=tuple(self._extra()),
        )

    def _extra(self) -> Iterator[tuple[str, str, dict[str, str], float]]:
        for unit in self.limits.units():
            text = "Whether approved limits are not in force on a unit."
            yield "limits_fault", text, {"unit": unit}, float(self.limits.fault(unit) is not None)
        if self.outstation is not None:
            told = self.outstation.told()
            yield "outstation_masters", "Connected masters.", {}, told.masters
            yield "outstation_waiting", "Events that no master has confirmed.", {}, told.waiting
        if self.notices is not None:
            planned = self.notices.planned
            yield "notices_waiting", "Notices not delivered yet.", {}, len(planned.waiting)
            yield "notices_failing", "Recipients not reached.", {}, len(planned.failing)


def _copies(settings: Settings) -> dict[str, UnitSettings]:
    """Copies of units' settings files. Raises SettingsError naming the unit and its file."""
    found: dict[str, UnitSettings] = {}
    for site, of in settings.sites.items():
        for monitor, unit in of.units.items():
            if unit.settings is None:
                continue
            name, where = f"{site}.{monitor}", f"sites.{site}.units.{monitor}.settings"
            try:
                text = unit.settings.read_text(encoding="utf-8")
            except (OSError, UnicodeDecodeError) as fault:
                raise SettingsError(f"{where} {unit.settings}: {fault}") from fault
            copy = parse_settings(text, str(unit.settings))
            if copy.unit.id != name:
                raise SettingsError(f"{where}: it is a copy of {copy.unit.id}'s, and not {name}'s")
            found[name] = copy
    return found
