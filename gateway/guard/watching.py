"""The guard of a running gateway: broker's log and certificates to security events."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from pathlib import Path

from gateway.guard import certificates
from gateway.guard.broker_log import Denial
from gateway.guard.certificates import LOOK_S, Ending
from gateway.guard.following import LogFollower
from gateway.guard.service_manager import Rounds, hanging, looked, notify
from gateway.history.store import GATEWAY_SITE, History, SecurityEvent
from gateway.settings import Settings

log = logging.getLogger("seafret.guard")

EVENT_ENDING = "certificate-ending"
EVENT_LOG_LOST = "log-lost"
FROM_LOG = "broker-"


class Guard:
    """rounds: of each thread, how often it has come round. tell: takes what was noticed."""

    def __init__(
        self,
        settings: Settings,
        after_s: int,
        now_us: Callable[[], int],
        rounds: Callable[[], Mapping[str, int]],
        tell: Callable[[SecurityEvent], None],
    ) -> None:
        """after_s: what the broker's log tells of no later a time was told before."""
        self._files, self._now_us = watched_files(settings), now_us
        self._count_rounds, self._tell = rounds, tell
        self._rounds = Rounds()
        self._hanging: tuple[str, ...] = ()
        self._told: dict[Path, Ending] = {}
        self._looked_s: float | None = None
        self._follower: LogFollower | None = None
        broker = settings.broker
        if broker.log_command:
            own = frozenset((broker.client_id, broker.username or broker.client_id))
            self._follower = LogFollower(
                broker.log_command, own, after_s, self._on_denial, self._on_loss
            )

    def start(self) -> None:
        """Follow the log."""
        if self._follower is not None:
            self._follower.start()

    def stop(self) -> None:
        """Ends the thread, if there is one."""
        if self._follower is not None:
            self._follower.stop()

    def look(self, now_s: float) -> None:
        """To be called a few times a second by the main thread; `now_s` of a steady real clock."""
        self._rounds = looked(self._rounds, self._count_rounds(), now_s)
        hang = hanging(self._rounds, now_s)
        if hang and hang != self._hanging:
            log.error("no sign of life from %s; the watchdog is not fed", ", ".join(hang))
        self._hanging = hang
        if not hang:
            notify("WATCHDOG=1")
        self._look_at_certificates(now_s)

    def _look_at_certificates(self, now_s: float) -> None:
        if self._looked_s is not None and now_s - self._looked_s < LOOK_S:
            return
        self._looked_s = now_s
        now_us = self._now_us()
        endings = certificates.look(self._files, now_us)
        fresh = certificates.news(self._told, endings)
        self._told = {one.path: one for one in endings}
        for one in fresh:
            log.warning("%s", one.said)
        if fresh:
            said = "; ".join(one.said for one in fresh)
            self._tell(SecurityEvent(now_us, "", EVENT_ENDING, said, len(fresh)))

    def _on_denial(self, denial: Denial) -> None:
        at_us = self._now_us() if denial.at_s is None else denial.at_s * 1_000_000
        self._tell(SecurityEvent(at_us, denial.unit, denial.event, denial.detail))

    def _on_loss(self, why: str) -> None:
        log.warning("the broker's log cannot be followed: %s", why)
        self._tell(SecurityEvent(self._now_us(), "", EVENT_LOG_LOST, why))


def watched_files(settings: Settings) -> tuple[Path, ...]:
    """The certificates that the gateway uses, and those that it is shown."""
    tls, console = settings.broker.tls, settings.console
    used = () if tls is None else (tls.ca, tls.cert)
    shown = () if console.tls_cert is None else (console.tls_cert,)
    return (*used, *shown, *settings.watch.certificates)


def told_until_s(history: History) -> int:
    """When the last thing happened that is kept of the broker's log; 0 where nothing is."""
    reader = history.reader(GATEWAY_SITE)
    try:
        kept = [one.at_us for one in reader.security_events() if one.event.startswith(FROM_LOG)]
    finally:
        reader.close()
    return max(kept, default=0) // 1_000_000
