"""After an upgrade: messages that an older version kept whole, because it could not read them, take
their place in the history.

Their numbers are below the mark already, so nothing is received anew, and what is in its place is
left as it is. A message whose lines are in place is kept whole no longer, in the same transaction:
else its minutes would come back after the history has thinned them, and be summed twice.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable

from edge.wire import Batch, Refused, read_batch
from gateway.history.store import (
    Commit,
    History,
    MarkMove,
    RawMessage,
    RefusedPayload,
    SiteWriter,
)
from gateway.ingest.admission import Known, Refusal, Verdict, admit
from gateway.ingest.intake import Intake, entry_of
from gateway.ingest.refusals import refused_payload

log = logging.getLogger("seafret.ingest")

MESSAGES_AT_A_TIME = 1000
"""Of a site, at most 64 KiB each, in memory together; where so many are of a schema that is still
unknown, those behind them wait for the next upgrade."""


def read_again(history: History, intake: Intake, sites: Iterable[str]) -> int:
    """How many lines came into their place; before the gateway hears anybody."""
    count = 0
    for site in sites:
        writer = intake.writer(site)
        while readable := _readable(history, site):
            for raw, batch in readable:
                count += _place(writer, raw, batch)
    if count:
        log.info("%d lines that an older version kept unread are in their place now", count)
    return count


def _readable(history: History, site: str) -> list[tuple[RawMessage, Batch]]:
    """The messages that this version reads."""
    reader = history.reader(site)
    try:
        kept = reader.raw_messages(MESSAGES_AT_A_TIME)
    finally:
        reader.close()
    return [(raw, batch) for raw in kept if (batch := _read(raw)) is not None]


def _place(writer: SiteWriter, raw: RawMessage, batch: Batch) -> int:
    """The mark stays, and so does the time at which it was last moved."""
    mark = writer.marks()[raw.key]
    verdict = admit(batch, Known(upto=raw.first - 1, latest_epoch=batch.epoch))
    held = writer.digests(raw.key, raw.first, raw.last)
    entries = tuple(
        entry_of(raw.key, batch, one)
        for one in verdict.accepted
        if raw.first <= one.line.seq <= raw.last and one.line.seq not in held
    )
    stays = {raw.key: MarkMove(mark.upto, mark.upto)}
    refused = _rest(raw, verdict, mark.received_us)
    writer.append(Commit(mark.received_us, entries, stays, placed=(raw,), refused=refused))
    return len(entries)


def _rest(raw: RawMessage, verdict: Verdict, at_us: int) -> tuple[RefusedPayload, ...]:
    """A message of which something fits nowhere is kept beside the history, as any such one."""
    if verdict.gap is None:
        return ()
    first, last = verdict.gap
    why = Refusal("gap-inside", f"numbers {first} to {last} are missing between its lines")
    return (refused_payload(at_us, raw.key.stream.value, raw.payload, why),)


def _read(raw: RawMessage) -> Batch | None:
    """The message, if this version reads it."""
    try:
        batch = read_batch(raw.payload)
    except Refused:
        return None
    same = (batch.unit, batch.epoch, batch.stream) == (
        raw.key.unit,
        raw.key.epoch,
        raw.key.stream,
    )
    return batch if same else None
