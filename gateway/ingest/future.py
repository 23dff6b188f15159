"""A message of a later schema: enough of its envelope to keep it in its place, unread.

The promise to later versions: `unit`, `epoch`, `stream` and each record's `seq` keep their names
and meanings, whatever else changes.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import cast

from edge.quantities import INT64_MAX
from edge.records import Stream
from edge.wire import EPOCH_PATTERN, RECORDS_PER_MESSAGE_MAX, UNIT_PATTERN, Refused, load_json


@dataclass(frozen=True, slots=True)
class FutureBatch:
    """Consecutive lines `first` to `last` of a schema that cannot be read yet."""

    unit: str
    epoch: str
    stream: Stream
    first: int
    last: int


def read_future(payload: bytes) -> FutureBatch:
    """The place of a later version's message in its stream. Raises Refused."""
    parsed = load_json(payload)
    if not isinstance(parsed, dict):
        raise Refused("envelope", "the envelope of a later schema is no object")
    unit = _text(parsed, "unit", UNIT_PATTERN)
    epoch = _text(parsed, "epoch", EPOCH_PATTERN)
    stream = Stream(_text(parsed, "stream", "^(" + "|".join(Stream) + ")$"))
    numbers = _numbers(parsed.get("records"))
    return FutureBatch(unit, epoch, stream, numbers[0], numbers[-1])


def _text(parsed: dict[str, object], name: str, pattern: str) -> str:
    found = parsed.get(name)
    if not isinstance(found, str) or not re.fullmatch(pattern, found) or "\n" in found:
        raise Refused("envelope", f"later schema, {name}: {str(found)[:80]!r} is not allowed")
    return found


def _numbers(records: object) -> list[int]:
    if not isinstance(records, list) or not 1 <= len(records) <= RECORDS_PER_MESSAGE_MAX:
        raise Refused("envelope", f"later schema, records: 1 to {RECORDS_PER_MESSAGE_MAX} needed")
    numbers = [item.get("seq") if isinstance(item, dict) else None for item in records]
    if not all(type(number) is int and 1 <= number <= INT64_MAX for number in numbers):
        raise Refused("envelope", "later schema, seq: whole numbers from 1 are needed")
    found = cast(list[int], numbers)
    if found != list(range(found[0], found[0] + len(found))):
        raise Refused("envelope", "later schema, seq: the records of a message are consecutive")
    return found
