"""The topics of the contract, read and written in one place."""

from __future__ import annotations

import re

from edge.records import Stream
from edge.wire import UNIT_PATTERN, Refused

ROOT = "seafret/1"
UP_FILTER = f"{ROOT}/+/up/+"
STATE_FILTER = f"{ROOT}/+/state"

HEARTBEAT_TOPIC = f"{ROOT}/gateway/heartbeat"
"""Where the gateway retains its own heartbeat; `gateway` without a dot is no unit."""

_UNIT = re.compile(UNIT_PATTERN.removesuffix("$") + r"\Z")
_STREAMS = {stream.value: stream for stream in Stream}


def read_up_topic(topic: str) -> tuple[str, Stream]:
    """Unit and stream of a topic below `up`. Raises Refused."""
    levels = topic.split("/")
    match levels:
        case ["seafret", "1", unit, "up", stream] if stream in _STREAMS and _UNIT.match(unit):
            return unit, _STREAMS[stream]
    raise Refused("topic", f"topic {topic[:200]!r}; it must be {ROOT}/<unit>/up/<stream>")


def read_state_topic(topic: str) -> str | None:
    """The unit of a state topic, None for any other topic."""
    match topic.split("/"):
        case ["seafret", "1", unit, "state"] if _UNIT.match(unit):
            return unit
    return None


def unit_of(topic: str) -> str:
    """The unit that a topic names, "" where it names none."""
    match topic.split("/"):
        case ["seafret", "1", unit, *_] if _UNIT.match(unit):
            return unit
    return ""


def up_filter(unit: str) -> str:
    """All that one unit sends."""
    return f"{ROOT}/{unit}/up/+"


def site_of(unit: str) -> str:
    """The site part of a unit."""
    return unit.partition(".")[0]


def down_topic(unit: str, verb: str) -> str:
    """Where a unit listens."""
    return f"{ROOT}/{unit}/down/{verb}"
