"""What was not admitted, in the form in which it is kept: bounded, with its reason."""

from __future__ import annotations

from collections.abc import Iterable

from edge.wire import MESSAGE_BYTES_MAX
from gateway.history.store import RefusedPayload, SecurityEvent
from gateway.ingest.admission import Refusal

PAYLOAD_KEPT_MAX = MESSAGE_BYTES_MAX
"""Bytes kept of a refused payload; the rest is cut, its full length is noted."""

TEXT_KEPT_MAX = 500
"""Characters kept of a topic, a reason's text or a detail."""

REFUSED_A_COMMIT_MAX = 50
"""Refused payloads kept of one commit; a flood beyond is counted in its security event only."""


def refused_payload(at_us: int, topic: str, payload: bytes, refusal: Refusal) -> RefusedPayload:
    """A refused message as it is kept."""
    return RefusedPayload(
        at_us,
        clean(topic),
        refusal.reason,
        clean(refusal.text),
        payload[:PAYLOAD_KEPT_MAX],
        len(payload),
    )


def clean(text: str) -> str:
    """Text from a peer, cut, and with everything that does not print shown as its code."""
    cut = text[:TEXT_KEPT_MAX]
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in cut)


def coalesced(events: Iterable[SecurityEvent]) -> tuple[SecurityEvent, ...]:
    """One event for each (unit, event) of a commit, with its count and the first one's detail."""
    found: dict[tuple[str, str], SecurityEvent] = {}
    for event in events:
        held = found.get((event.unit, event.event))
        first = event if held is None else held
        count = event.count + (0 if held is None else held.count)
        found[event.unit, event.event] = SecurityEvent(
            first.at_us, event.unit, event.event, first.detail, count
        )
    return tuple(found.values())
