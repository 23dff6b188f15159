"""A message of a later schema: enough of its envelope to keep it in its place, unread.

The promise to later versions: `unit`, `epoch`, `stream`, each record's `seq`, and `kind`, `first`
and `last` in the body of a loss keep their names and meanings, whatever else changes.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise
from typing import cast

from edge.quantities import INT64_MAX
from edge.records import Stream
from edge.wire import EPOCH_PATTERN, RECORDS_PER_MESSAGE_MAX, UNIT_PATTERN, Refused, load_json

LOSS = "loss"
"""Kind of a tombstone, which sits at the last of the numbers that it stands for."""


@dataclass(frozen=True, slots=True)
class FutureBatch:
    """Lines of a schema that cannot be read yet, for all numbers from `first` to `last`."""

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
    places = _places(parsed.get("records"))
    return FutureBatch(unit, epoch, stream, places[0][0], places[-1][1])


def _text(parsed: dict[str, object], name: str, pattern: str) -> str:
    found = parsed.get(name)
    if not isinstance(found, str) or not re.fullmatch(pattern, found) or "\n" in found:
        raise Refused("envelope", f"later schema, {name}: {str(found)[:80]!r} is not allowed")
    return found


def _places(records: object) -> list[tuple[int, int]]:
    """First and last number of each record: a tombstone stands for several."""
    if not isinstance(records, list) or not 1 <= len(records) <= RECORDS_PER_MESSAGE_MAX:
        raise Refused("envelope", f"later schema, records: 1 to {RECORDS_PER_MESSAGE_MAX} needed")
    numbers = [item.get("seq") if isinstance(item, dict) else None for item in records]
    if not all(_is_number(number) for number in numbers):
        raise Refused("envelope", "later schema, seq: whole numbers from 1 are needed")
    last = cast(list[int], numbers)
    places = [(_first(item, seq), seq) for item, seq in zip(records, last, strict=True)]
    if any(seq <= before or first > before + 1 for (_, before), (first, seq) in pairwise(places)):
        raise Refused("envelope", "later schema, seq: the records of a message are consecutive")
    return places


def _first(record: dict[str, object], seq: int) -> int:
    body = record.get("body")
    if not isinstance(body, dict) or body.get("kind") != LOSS or body.get("last") != seq:
        return seq
    first = body.get("first")
    return min(cast(int, first), seq) if _is_number(first) else seq


def _is_number(found: object) -> bool:
    return type(found) is int and 1 <= found <= INT64_MAX
