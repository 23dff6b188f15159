"""Is the daemon alive? What the service manager is told, and what ends the process.

The watchdog is fed only if samples advance (or the source itself says why none come: a restart
would not mend a broken lead, and would hide it), if a commit has succeeded lately and if the thread
of the uplink turns. A thread that has died or hangs ends the process: the service manager starts
it anew, and the durable file goes on from its last commit.
"""

from __future__ import annotations

import logging
import os
import socket
from dataclasses import dataclass

log = logging.getLogger("seafret.edge")

THREAD_NS_MAX = 25_000_000_000
"""A thread that has shown no life for so long is taken for dead."""

COMMIT_NS_MAX = 180_000_000_000
"""Every minute has a health record, so a commit is never three minutes old in a sound daemon."""

SAMPLES_NS_MAX = 30_000_000_000
"""So long without samples, and without a word why, the source is taken to hang."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pulse:
    """What the threads show. *_ns: steady times. silence: the source's own word; "" while it says
    that samples come. uplink_ns: None where there is no uplink."""

    source_ns: int
    keeper_ns: int
    committed_ns: int
    samples_ns: int
    uplink_ns: int | None
    silence: str
    over: bool


def silent_thread(pulse: Pulse, now_ns: int) -> str:
    """Which thread has shown no life for too long; "" while all do."""
    threads = {"keeper": pulse.keeper_ns, "uplink": pulse.uplink_ns}
    if not pulse.over:
        threads["source"] = pulse.source_ns
    for name, alive_ns in threads.items():
        if alive_ns is not None and now_ns - alive_ns > THREAD_NS_MAX:
            return name
    return ""


def deserves_feeding(pulse: Pulse, now_ns: int) -> bool:
    """Whether the watchdog is to be fed."""
    advance = pulse.over or bool(pulse.silence) or now_ns - pulse.samples_ns < SAMPLES_NS_MAX
    committed = now_ns - pulse.committed_ns < COMMIT_NS_MAX
    return advance and committed and not silent_thread(pulse, now_ns)


NOTIFY_S = 1.0
"""A service manager that takes no message for so long must not hold up those who look after us."""


def notify(state: str) -> None:
    """Tell the service manager, where there is one (sd_notify(3): a datagram, as recalled)."""
    where = os.environ.get("NOTIFY_SOCKET")
    if not where:
        return
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as to:
        to.settimeout(NOTIFY_S)
        try:
            to.sendto(state.encode(), "\0" + where[1:] if where.startswith("@") else where)
        except TimeoutError:
            log.warning("the service manager takes no messages: %s was not told", state)
