"""A record's one canonical line, and the envelope in which lines travel.

The line in the outbox, the MQTT payload, the history's source and the expectation in a test are the
same bytes: JSON with sorted keys, no spaces, integers only. Reading is strict and bounded; what is
refused says where and what is allowed.
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import MISSING, asdict, dataclass, fields
from functools import lru_cache
from typing import Annotated, Any, NoReturn, cast

from annotated_types import Ge, Le, Len
from pydantic import ConfigDict, Field, TypeAdapter, ValidationError
from pydantic import dataclasses as checked

from edge.records import Micros, Record, Stream, Whole

SCHEMA_VERSION = 1
"""A message of a higher version is kept raw and acknowledged, never guessed at."""

MESSAGE_BYTES_MAX = 64 * 1024
"""A larger message is refused unread."""

NESTING_MAX = 8
"""Deeper JSON is refused; no record of ours goes beyond 5."""

RECORDS_PER_MESSAGE_MAX = 500

UNIT_PATTERN = r"^[a-z0-9-]{1,32}\.[a-z0-9-]{1,32}$"
EPOCH_PATTERN = r"^[0-9a-f]{1,8}-[0-9a-f]{16}$"


class Refused(ValueError):
    """What a peer sent is not acceptable; `reason` is a short word, the text says what to do."""

    def __init__(self, reason: str, text: str) -> None:
        super().__init__(text)
        self.reason = reason


_record_reader: TypeAdapter[Record] = TypeAdapter(
    Annotated[Record, Field(discriminator="kind")],
    config=ConfigDict(extra="ignore", allow_inf_nan=False),
)


def canonical(parsed: object) -> bytes:
    """Canonical JSON of plain values; floats are refused, so nothing unquantised can leave."""
    return json.dumps(
        parsed, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=_no_default
    ).encode()


def _no_default(found: object) -> NoReturn:
    raise TypeError(f"a record holds {type(found).__name__}; only integers, text and lists travel")


def _refuse_floats(parsed: object) -> None:
    if isinstance(parsed, float):
        raise TypeError(f"a record holds the unquantised number {parsed!r}")
    if isinstance(parsed, dict):
        for item in parsed.values():
            _refuse_floats(item)
    elif isinstance(parsed, list | tuple):
        for item in parsed:
            _refuse_floats(item)


def written_fields(kind: type, plain: dict[str, Any]) -> dict[str, Any]:
    """The fields of a record of this kind that do not stand at their defaults."""
    resting = _resting(kind)
    return {
        name: found
        for name, found in plain.items()
        if name not in resting or found != resting[name]
    }


@lru_cache(maxsize=32)
def _resting(kind: type) -> dict[str, object]:
    """The defaults of a kind of record by field, as plain values; its name always travels."""
    found: dict[str, object] = {}
    for one in fields(kind):
        if one.default is not MISSING:
            found[one.name] = one.default
        elif one.default_factory is not MISSING:
            found[one.name] = one.default_factory()
    found.pop("kind", None)
    return found


def body_line(record: Record) -> bytes:
    """The canonical body of a record, without newline; a field at its default is left out.

    Raises TypeError on a float: a bug.
    """
    plain = written_fields(type(record), asdict(record))
    _refuse_floats(plain)
    return canonical(plain)


def digest(body: bytes) -> str:
    """SHA-256 of a canonical body, hex; equal digests mean the same record."""
    return hashlib.sha256(body).hexdigest()


def read_record(body: bytes) -> Record:
    """The record of one canonical body. Unknown fields are ignored, unknown kinds refused.

    Raises Refused with where, what was found and what is allowed.
    """
    load_json(body)
    return read_checked(body)


def read_checked(body: bytes) -> Record:
    """The same for a body that `read_batch` gave: its JSON was bounded and checked there."""
    try:
        return _record_reader.validate_json(body, strict=True)
    except ValidationError as fault:
        first = fault.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise Refused("body", f"record body, {where or 'top'}: {first['msg']}") from fault


def load_json(line: bytes) -> object:
    """Parsed JSON, bounded in size and depth, without NaN, infinity or repeated keys."""
    if len(line) > MESSAGE_BYTES_MAX:
        raise Refused("too-large", f"{len(line)} bytes; at most {MESSAGE_BYTES_MAX} are read")
    _check_nesting(line)
    try:
        return json.loads(line, parse_constant=_refuse_constant, object_pairs_hook=_distinct)
    except Refused:
        raise
    except (ValueError, RecursionError) as fault:
        raise Refused("not-json", f"not JSON: {fault}") from fault


_QUOTED = re.compile(rb'"(?:[^"\\]|\\.)*"', re.DOTALL)
_BRACKETS = re.compile(rb"[\[{\]}]")


def _check_nesting(line: bytes) -> None:
    depth = 0
    for bracket in _BRACKETS.findall(_QUOTED.sub(b"", line)):
        depth += 1 if bracket in b"[{" else -1
        if depth > NESTING_MAX:
            raise Refused("too-deep", f"nested deeper than {NESTING_MAX}")


def _refuse_constant(found: str) -> NoReturn:
    raise Refused("not-a-number", f"{found} is not allowed; leave the value out as null")


def _distinct(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise Refused("repeated-key", "an object repeats a key")
    return found


@dataclass(frozen=True, slots=True)
class Line:
    """One record on its way: sequence number, times, canonical body.

    seq: 1, 2, ... per (unit, epoch, stream). t_boot_ns: monotonic clock since boot.
    t_utc_us: UTC of sending as the unit believed it; metadata, never an order.
    """

    seq: int
    t_boot_ns: int
    t_utc_us: int
    body: bytes


@dataclass(frozen=True, slots=True)
class Batch:
    """One message: consecutive lines of one stream of one unit."""

    unit: str
    epoch: str
    stream: Stream
    boot: str
    clock: str
    lines: tuple[Line, ...]


@checked.dataclass(frozen=True, config=ConfigDict(extra="ignore", strict=True))
class _LineHead:
    seq: Annotated[int, Ge(1), Le((1 << 63) - 1)]
    t_boot_ns: Whole
    t_utc: Micros
    body: dict[str, Any]


@checked.dataclass(frozen=True, config=ConfigDict(extra="ignore", strict=True))
class _BatchHead:
    v: Annotated[int, Ge(1)]
    unit: Annotated[str, Field(pattern=UNIT_PATTERN)]
    epoch: Annotated[str, Field(pattern=EPOCH_PATTERN)]
    stream: str
    boot: Annotated[str, Len(1, 64)]
    clock: Annotated[str, Len(1, 64)]
    records: Annotated[list[_LineHead], Len(1, RECORDS_PER_MESSAGE_MAX)]


_batch_reader: TypeAdapter[_BatchHead] = TypeAdapter(_BatchHead)


def batch_message(batch: Batch) -> bytes:
    """The MQTT payload of a batch: the envelope around the very same body bytes."""
    head = canonical(
        {
            "v": SCHEMA_VERSION,
            "unit": batch.unit,
            "epoch": batch.epoch,
            "stream": batch.stream.value,
            "boot": batch.boot,
            "clock": batch.clock,
        }
    )
    lines = b",".join(
        b'{"body":%b,"seq":%d,"t_boot_ns":%d,"t_utc":%d}'
        % (line.body, line.seq, line.t_boot_ns, line.t_utc_us)
        for line in batch.lines
    )
    return head[:-1] + b',"records":[' + lines + b"]}"


def read_batch(payload: bytes) -> Batch:
    """The batch of an MQTT payload; bodies are canonical again but not yet read as records.

    Raises Refused; reason "future-schema" where a newer unit speaks (keep it raw, receipt it).
    """
    parsed = load_json(payload)
    version = parsed.get("v") if isinstance(parsed, dict) else None
    if isinstance(version, int) and version > SCHEMA_VERSION:
        raise Refused("future-schema", f"schema {version}; this gateway reads {SCHEMA_VERSION}")
    try:
        head = _batch_reader.validate_json(payload)
        stream = Stream(head.stream)
    except ValidationError as fault:
        first = fault.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise Refused("envelope", f"envelope, {where or 'top'}: {first['msg']}") from fault
    except ValueError as fault:
        raise Refused("envelope", f"envelope, stream: {fault}") from fault
    lines = tuple(
        Line(item.seq, item.t_boot_ns, item.t_utc, canonical(cast(object, item.body)))
        for item in head.records
    )
    return Batch(head.unit, head.epoch, stream, head.boot, head.clock, lines)
