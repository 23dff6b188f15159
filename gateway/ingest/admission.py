"""May a message enter the history? Pure: bytes and what is known in, a verdict out.

Only the next line of a stream is accepted, so the order of the history is that of the unit,
whatever the network did: what lies below the mark is a duplicate (or, with another digest, a
conflict), what lies above the next line is a gap and waits to be sent again. Nothing here raises on
any bytes.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from edge.records import STREAM_OF, EpochStart, Loss, Record, Stream
from edge.wire import MESSAGE_BYTES_MAX, Batch, Line, Refused, read_batch, read_checked
from gateway.ingest.future import FutureBatch, read_future
from gateway.ingest.topics import read_up_topic

EPOCHS_MAX = 1000
"""Epochs known of one unit; a further one is refused, for it is no honest unit that needs it."""

INSULATOR_PATTERN = re.compile(r"[^,\"'/\x00-\x1f\x7f-\x9f]{1,48}")
"""An insulator's id, after the contract; anything else could not be shown or listed safely."""


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a message does not enter at all. hostile: no honest unit sends this."""

    reason: str
    text: str
    hostile: bool = True


@dataclass(frozen=True, slots=True)
class Known:
    """What the history has of the stream a message belongs to.

    upto: its mark, None where the stream is new. digests: of the stored lines that the message
    repeats. latest_epoch: the unit's newest in this stream, "" where there is none. epochs: their
    number. given_up: first and last number of the loss records around the message's numbers.
    """

    upto: int | None = None
    digests: Mapping[int, bytes] = field(default_factory=dict)
    latest_epoch: str = ""
    epochs: int = 0
    given_up: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Accepted:
    """A line that enters; `record` is None where `unread` says why its body cannot be read."""

    line: Line
    digest: bytes
    record: Record | None
    unread: str = ""


@dataclass(frozen=True, slots=True)
class Noticed:
    """Something for the list of security events."""

    event: str
    detail: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """What becomes of a message's lines.

    upto: the mark afterwards. conflicts: lines whose number is taken by another body.
    late: records whose number the unit had given up before: the loss record stays, they are kept
    beside. gap: first and last number missing before the first line that was not accepted.
    """

    upto: int
    accepted: tuple[Accepted, ...] = ()
    duplicates: int = 0
    conflicts: tuple[Line, ...] = ()
    late: tuple[Line, ...] = ()
    gap: tuple[int, int] | None = None
    noticed: tuple[Noticed, ...] = ()
    refusal: Refusal | None = None


def digest16(body: bytes) -> bytes:
    """The digest kept of a line: the first 16 bytes of the SHA-256 of its canonical body."""
    return hashlib.sha256(body).digest()[:16]


def read_message(topic: str, payload: bytes, retained: bool) -> Batch | FutureBatch | Refusal:
    """The message, if its topic and its envelope are sound and say the same."""
    try:
        address = read_up_topic(topic)
        if retained:
            return Refusal("retained", "a retained measurement; measurements are never retained")
        if len(payload) > MESSAGE_BYTES_MAX:
            return Refusal("too-large", f"{len(payload)} bytes; at most {MESSAGE_BYTES_MAX}")
        batch = _read_any(payload)
    except Refused as refused:
        return Refusal(refused.reason, str(refused))
    if (batch.unit, batch.stream) != address:
        return Refusal(
            "identity",
            f"the payload says {batch.unit}/{batch.stream.value}, its topic "
            f"{address[0]}/{address[1].value}; they must be the same",
        )
    return batch


def _read_any(payload: bytes) -> Batch | FutureBatch:
    try:
        return read_batch(payload)
    except Refused as refused:
        if refused.reason != "future-schema":
            raise
    return read_future(payload)


def admit(batch: Batch, known: Known) -> Verdict:
    """The verdict on a message of this version's schema."""
    if known.upto is None and known.epochs >= EPOCHS_MAX:
        text = f"more than {EPOCHS_MAX} epochs of one unit; its durable file must be looked at"
        return Verdict(0, refusal=Refusal("too-many-epochs", text))
    stage = _Stage(known.upto or 0, dict(known.digests), given_up=known.given_up)
    for line in batch.lines:
        if not _place(stage, batch.stream, line, known):
            break
    if known.upto is not None and stage.accepted and known.latest_epoch != batch.epoch:
        stage.noticed.append(
            Noticed("epoch-returned", f"{batch.epoch} speaks after {known.latest_epoch} began")
        )
    return Verdict(
        stage.upto,
        tuple(stage.accepted),
        stage.duplicates,
        tuple(stage.conflicts),
        tuple(stage.late),
        stage.gap,
        tuple(stage.noticed),
        stage.refusal,
    )


def admit_future(batch: FutureBatch, known: Known) -> Verdict:
    """The verdict on a message of a later schema: kept raw as a whole, or not yet its turn."""
    upto = known.upto or 0
    if known.upto is None and known.epochs >= EPOCHS_MAX:
        return Verdict(0, refusal=Refusal("too-many-epochs", f"more than {EPOCHS_MAX} epochs"))
    if batch.last <= upto:
        return Verdict(upto, duplicates=1)
    if batch.first > upto + 1:
        return Verdict(upto, gap=(upto + 1, batch.first - 1))
    detail = f"{batch.stream.value} {batch.first} to {batch.last} are kept unread"
    return Verdict(batch.last, noticed=(Noticed("future-schema", detail),))


@dataclass(slots=True)
class _Stage:
    """The verdict in the making."""

    upto: int
    digests: dict[int, bytes]
    accepted: list[Accepted] = field(default_factory=list)
    duplicates: int = 0
    conflicts: list[Line] = field(default_factory=list)
    late: list[Line] = field(default_factory=list)
    given_up: tuple[tuple[int, int], ...] = ()
    gap: tuple[int, int] | None = None
    noticed: list[Noticed] = field(default_factory=list)
    refusal: Refusal | None = None


def _place(stage: _Stage, stream: Stream, line: Line, known: Known) -> bool:
    """Puts one line where it belongs; False where the rest of the message must wait."""
    digest = digest16(line.body)
    if line.seq <= stage.upto:
        _repeated(stage, line, digest)
        return True
    record, unread = _read(line.body, stream)
    first = record.first if isinstance(record, Loss) and _covers(record, line.seq) else line.seq
    if first > stage.upto + 1:
        stage.gap = (stage.upto + 1, first - 1)
        return False
    if known.upto is None and stage.upto == 0 and not _begins(stage, line, record, known):
        return False
    if unread:
        stage.noticed.append(Noticed(unread, f"{stream.value} {line.seq}"))
    stage.accepted.append(Accepted(line, digest, record, unread))
    stage.upto = line.seq
    stage.digests[line.seq] = digest
    return True


def _repeated(stage: _Stage, line: Line, digest: bytes) -> None:
    """A number at or below the mark: the same again, given up on either side, or a conflict.

    A tombstone for what the history holds says that the unit gave up what had arrived: the record
    stays. A record for what a tombstone stands for comes from an older copy of the unit's file:
    the tombstone stays, since the order of the history does not change, and the record is kept
    beside it.
    """
    held = stage.digests.get(line.seq)
    if held == digest or _is_tombstone(line):
        stage.duplicates += 1
    elif any(first <= line.seq <= last for first, last in stage.given_up):
        stage.late.append(line)
        stage.noticed.append(Noticed("record-after-loss", f"number {line.seq} had been given up"))
    elif held is None:
        stage.duplicates += 1
    else:
        stage.conflicts.append(line)
        stage.noticed.append(Noticed("conflict", f"number {line.seq} came with another body"))


def _is_tombstone(line: Line) -> bool:
    try:
        record = read_checked(line.body)
    except Refused:
        return False
    return isinstance(record, Loss) and _covers(record, line.seq)


def _covers(loss: Loss, seq: int) -> bool:
    """A tombstone stands under the number of the last record that it speaks of."""
    return loss.first <= seq and loss.last == seq


def _begins(stage: _Stage, line: Line, record: Record | None, known: Known) -> bool:
    """A new stream begins with its epoch's start (or, where that was given up, a tombstone)."""
    if isinstance(record, Loss):
        return True
    if not isinstance(record, EpochStart):
        stage.refusal = Refusal(
            "no-epoch-start", f"line {line.seq} of an unknown epoch; its start must come first"
        )
        return False
    if record.previous_epoch != known.latest_epoch:
        detail = f"follows {record.previous_epoch or 'none'}, not {known.latest_epoch or 'none'}"
        stage.noticed.append(Noticed("epoch-unchained", detail))
    return True


def _read(body: bytes, stream: Stream) -> tuple[Record | None, str]:
    """The record, or why it cannot be read: the line is kept raw then, never in the way."""
    try:
        record = read_checked(body)
    except Refused:
        return None, "unreadable-record"
    if STREAM_OF.get(type(record), stream) is not stream:
        return None, "record-in-the-wrong-stream"
    name = getattr(record, "insulator", None) or getattr(record, "subject", None)
    if name and not INSULATOR_PATTERN.fullmatch(name):
        return None, "insulator-name"
    return record, ""
