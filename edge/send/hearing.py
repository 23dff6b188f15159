"""What the unit hears on its own topics: checked once, here, and told as an event. Pure."""

from __future__ import annotations

from typing import Annotated

from annotated_types import Ge, Le
from pydantic import ConfigDict, Field, TypeAdapter, ValidationError
from pydantic import dataclasses as checked

from edge.quantities import INT64_MAX
from edge.records import Stream
from edge.send.messages import Asked, BackfillAsked, Notice, Receipted
from edge.wire import EPOCH_PATTERN, MESSAGE_BYTES_MAX, Refused, load_json

ROOT = "seafret/1"

Seq = Annotated[int, Ge(0), Le(INT64_MAX)]
Epoch = Annotated[str, Field(pattern=EPOCH_PATTERN)]

Heard = Receipted | BackfillAsked | Asked | Notice


@checked.dataclass(frozen=True, config=ConfigDict(extra="ignore"))
class _Receipt:
    epoch: Epoch
    stream: Stream
    upto: Annotated[Seq, Field(strict=True)]


@checked.dataclass(frozen=True, config=ConfigDict(extra="ignore"))
class _Backfill:
    epoch: Epoch
    stream: Stream
    from_: Annotated[Seq, Field(strict=True, alias="from")]
    to: Annotated[Seq, Field(strict=True)]
    expires_us: Annotated[Seq, Field(strict=True)]


_receipts: TypeAdapter[_Receipt] = TypeAdapter(_Receipt)
_backfills: TypeAdapter[_Backfill] = TypeAdapter(_Backfill)


def up_topic(unit: str, stream: Stream) -> str:
    """Where batches of a stream go."""
    return f"{ROOT}/{unit}/up/{stream.value}"


def state_topic(unit: str) -> str:
    """Where the unit's state is retained."""
    return f"{ROOT}/{unit}/state"


def down_filter(unit: str) -> str:
    """What the unit subscribes to."""
    return f"{ROOT}/{unit}/down/+"


def hear(
    unit: str, topic: str, payload: bytes, *, retained: bool, now_us: int | None
) -> Heard | None:
    """The event of a message; None where it came too late to be acted upon.

    retained: the broker kept it from an earlier time; nothing to a unit may be retained. now_us:
    UTC, None while it is not known well enough to call a request expired.
    """
    prefix = down_filter(unit).removesuffix("+")
    if not topic.startswith(prefix) or retained:
        reason = "retained" if retained else "topic"
        return Notice("request-refused", True, {"reason": reason, "topic": topic[:100]})
    verb = topic.removeprefix(prefix)
    try:
        return _read(verb, payload, now_us)
    except Refused as refused:
        return Notice("request-refused", True, {"reason": refused.reason, "verb": verb[:32]})


def _read(verb: str, payload: bytes, now_us: int | None) -> Heard | None:
    if verb not in ("receipt", "backfill"):
        if len(payload) > MESSAGE_BYTES_MAX:
            raise Refused("too-large", f"{len(payload)} bytes; at most {MESSAGE_BYTES_MAX}")
        return Asked(verb[:32], payload)
    load_json(payload)
    try:
        if verb == "receipt":
            receipt = _receipts.validate_json(payload)
            return Receipted(receipt.epoch, receipt.stream, receipt.upto)
        asked = _backfills.validate_json(payload)
    except ValidationError as fault:
        raise Refused("fields", f"{verb}: {fault.errors()[0]['msg']}") from fault
    if now_us is not None and asked.expires_us < now_us:
        return None
    return BackfillAsked(asked.epoch, asked.stream, asked.from_, asked.to)
