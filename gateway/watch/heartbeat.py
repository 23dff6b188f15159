"""The heartbeat: asked for and said at a steady pace, and only while the gateway is sound."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass

from gateway.outward_settings import Heartbeat as Settings
from gateway.watch.soundness import Signs, Turns, beat_payload, turned, unsound

log = logging.getLogger("seafret.watch")

PING_S_MAX = 10.0
"""A watching service that has not answered by then has missed a beat, which is what it is for."""


@dataclass(frozen=True, slots=True)
class Beats:
    """How the heart has beaten. pinged_us: last ping that was answered; ping_fault: why the last
    one was not, "" where it was. why_not: what keeps it from beating now."""

    number: int = 0
    pings: int = 0
    pinged_us: int = 0
    ping_fault: str = ""
    why_not: tuple[str, ...] = ()


class Heart:
    """A thread of its own, from `start` to `stop`. say: a retained message to the broker."""

    def __init__(
        self,
        settings: Settings,
        signs: Callable[[], Signs],
        say: Callable[[bytes], None],
        now_us: Callable[[], int],
        now_s: Callable[[], float],
    ) -> None:
        """now_us: real time. now_s: a steady clock."""
        self._settings, self._signs, self._say = settings, signs, say
        self._now_us, self._now_s = now_us, now_s
        self._turns: Turns = {}
        self._asked_to_stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="heartbeat", daemon=True)
        self.beats = Beats()
        self.failure: BaseException | None = None

    def start(self) -> None:
        """The first beat comes after one pause."""
        self._thread.start()

    def stop(self) -> None:
        """After the beat at hand."""
        self._asked_to_stop.set()
        if self._thread.ident is not None:
            self._thread.join()

    def _run(self) -> None:
        try:
            while not self._asked_to_stop.wait(self._settings.ping_every_s):
                self.beat()
        except BaseException as fault:
            self.failure = fault
            raise

    def beat(self) -> None:
        """One look at the signs, and what follows from it."""
        signs, now_s = self._signs(), self._now_s()
        self._turns = turned(self._turns, signs.rounds, now_s)
        why_not = unsound(signs, self._turns, now_s)
        number, now_us = self.beats.number + 1, self._now_us()
        pinged_us, fault, pings = self.beats.pinged_us, "", self.beats.pings
        if why_not:
            log.warning("no heartbeat: %s", "; ".join(why_not))
        elif self._settings.ping_url is not None:
            fault = ping(self._settings.ping_url)
            pings += not fault
            pinged_us = pinged_us if fault else now_us
        if self._settings.mqtt:
            self._say(beat_payload(number, now_us, why_not, self._settings.ping_every_s))
        self.beats = Beats(number, pings, pinged_us, fault, why_not)


def ping(url: str) -> str:
    """Asks the watching service; "" where it answered well, else why not."""
    import httpx  # 5 MB that a gateway without a watching service never needs

    try:
        answer = httpx.get(url, timeout=PING_S_MAX, follow_redirects=False)
        return "" if answer.is_success else f"it answered {answer.status_code}"
    except (httpx.HTTPError, httpx.InvalidURL) as fault:
        return f"{type(fault).__name__}: {fault}"[:200]
