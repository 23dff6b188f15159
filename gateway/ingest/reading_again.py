"""After an upgrade: messages that an older version kept whole, because it could not read them, take
their place in the history.

Their numbers are below the mark already, so nothing is received anew; what is in its place is left
as it is, and the whole messages stay. Reading again changes nothing.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable

from edge.wire import Batch, Refused, read_batch
from gateway.history.store import Commit, Entry, History, Mark, MarkMove, RawMessage, SiteWriter
from gateway.ingest.admission import Known, admit
from gateway.ingest.intake import Intake, entry_of

log = logging.getLogger("seafret.ingest")


def read_again(history: History, intake: Intake, sites: Iterable[str]) -> int:
    """How many lines came into their place; before the gateway hears anybody."""
    count = 0
    for site in sites:
        reader = history.reader(site)
        try:
            kept = reader.raw_messages()
        finally:
            reader.close()
        if kept:
            count += _placed(intake.writer(site), kept)
    if count:
        log.info("%d lines that an older version kept unread are in their place now", count)
    return count


def _placed(writer: SiteWriter, kept: Iterable[RawMessage]) -> int:
    marks, count = writer.marks(), 0
    for raw in kept:
        batch = _read(raw)
        if batch is None:
            continue
        entries = _missing(writer, raw, batch)
        if entries:
            _append(writer, raw, entries, marks[raw.key])
            count += len(entries)
    return count


def _append(writer: SiteWriter, raw: RawMessage, entries: tuple[Entry, ...], mark: Mark) -> None:
    """The mark stays, and so does the time at which it was last moved."""
    stays = MarkMove(mark.upto, mark.upto)
    writer.append(Commit(mark.received_us, entries, {raw.key: stays}))


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


def _missing(writer: SiteWriter, raw: RawMessage, batch: Batch) -> tuple[Entry, ...]:
    """Those of its lines that the history does not hold."""
    verdict = admit(batch, Known(upto=raw.first - 1, latest_epoch=batch.epoch))
    held = writer.digests(raw.key, raw.first, raw.last)
    return tuple(
        entry_of(raw.key, batch, one)
        for one in verdict.accepted
        if raw.first <= one.line.seq <= raw.last and one.line.seq not in held
    )
