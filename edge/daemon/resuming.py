"""What a restart goes on from: the states that the last commit left in the durable file."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from edge.daemon import carrying
from edge.daemon.carrying import Carried
from edge.daemon.heartbeat import MINUTE_US, Heart
from edge.daemon.sources import Source
from edge.decide.kept_state import StateFault
from edge.records import Record, UnitEvent

log = logging.getLogger("seafret.edge")

CATCH_UP_US = 180 * MINUTE_US
"""A simulated signal that would have to catch up more than this begins anew instead."""

NAMES = ("decide", "merging", "taken", "weather", "captures", "self-test")
"""States that the steps left; `signal` tells which signal they belong to."""


@dataclass(frozen=True, slots=True, eq=False)
class Kept:
    """counter: up to which the signal was taken in. begin_us: clock time at which it began.

    records: what could not be held back any longer. how: what the daemon went on from, in words.
    """

    carried: Carried
    heart: Heart
    counter: int
    begin_us: int
    records: tuple[Record, ...] = ()
    how: str = "nothing"


def kept_plain(kept: Kept, identity: str) -> dict[str, object]:
    """The states as JSON values by name, for the commit of the records that came with them."""
    signal: dict[str, object] = {"identity": identity, "begin_us": kept.begin_us}
    if identity:
        signal |= {"counter": kept.counter, "heart_us": kept.heart.start_us}
    return {**carrying.as_plain(kept.carried), "signal": signal}


def resumed_from(
    snapshot: Callable[[str], object | None], fresh: Carried, source: Source, begin_us: int
) -> Kept:
    """What to go on from. begin_us: where the signal begins if it is not the kept one."""
    states = {name: snapshot(name) for name in NAMES}
    signal = snapshot("signal")
    anew = Kept(fresh, Heart(), 0, begin_us)
    if not isinstance(signal, Mapping) or any(state is None for state in states.values()):
        return anew
    same = source.is_stored and signal["identity"] == source.identity
    behind_us = abs(begin_us - signal["begin_us"])
    same = same and not (source.is_dated_by_clock and behind_us > CATCH_UP_US)
    try:
        carried = carrying.from_plain(fresh, states, same_signal=same)
    except StateFault as fault:
        log.warning("%s", fault)
        event = UnitEvent(event="state-refused", at_us=begin_us, detail={"why": str(fault)[:200]})
        return replace(anew, records=(event,), how="nothing: the kept state was refused")
    if same:
        heart = Heart(start_us=signal["heart_us"])
        return Kept(carried, heart, signal["counter"], signal["begin_us"], how="the same signal")
    carried, records = carrying.flushed(carried)
    return Kept(carried, Heart(), 0, begin_us, records, how="conditions and delays")
