"""States of the steps and dated calibrations, inside a transaction that the caller holds."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import zlib
from collections.abc import Sequence
from dataclasses import dataclass

from edge.wire import canonical

BODY_TABLES = {
    "state": "SELECT name, sha, body FROM state",
    "calibration": "SELECT number, id, insulator, dated_us, sha, body FROM calibration",
}
"""How to read each table whose rows end with a digest and a body."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """A dated calibration of one insulator's channel; never changed, a newer one is added.

    id: what interval rows name. plain: what it holds, as JSON values.
    """

    id: str
    insulator: str
    dated_us: int
    plain: object


def body_sha(key: Sequence[object], body: bytes) -> bytes:
    """Digest over a row's key and body, 16 bytes of SHA-256."""
    return hashlib.sha256(repr(tuple(key)).encode() + bytes(body)).digest()[:16]


PACKED_FROM_BYTES = 512
"""A longer state is packed: minutes held back are much alike, and are written every minute."""

_PACKED = b"x"
"""How a packed state begins (RFC 1950, as recalled), and JSON never does."""


def put_state(db: sqlite3.Connection, name: str, plain: bytes) -> None:
    """Write a state's canonical JSON; nothing where it has not changed, which spares the flash."""
    body = zlib.compress(plain) if len(plain) >= PACKED_FROM_BYTES else plain
    db.execute(
        "INSERT INTO state VALUES (?,?,?) ON CONFLICT (name) DO UPDATE "
        "SET sha=excluded.sha, body=excluded.body WHERE sha IS NOT excluded.sha",
        (name, body_sha((name,), body), body),
    )


def read_state(db: sqlite3.Connection, name: str) -> object | None:
    """A state as JSON values; None where there is none, or where it is not what was written."""
    found = db.execute("SELECT sha, body FROM state WHERE name=?", (name,)).fetchone()
    if found is None or found[0] != body_sha((name,), found[1]):
        return None
    body = bytes(found[1])
    plain: object = json.loads(zlib.decompress(body) if body.startswith(_PACKED) else body)
    return plain


def add_calibration(db: sqlite3.Connection, calibration: Calibration) -> None:
    """Add a calibration. Adding the same again changes nothing; another of its id is a bug."""
    body = canonical(calibration.plain)
    found = db.execute("SELECT body FROM calibration WHERE id=?", (calibration.id,)).fetchone()
    if found is not None:
        assert found[0] == body, f"calibration {calibration.id} exists with another content"
        return
    number = db.execute("SELECT COALESCE(MAX(number), 0) + 1 FROM calibration").fetchone()[0]
    key = (number, calibration.id, calibration.insulator, calibration.dated_us)
    db.execute("INSERT INTO calibration VALUES (?,?,?,?,?,?)", (*key, body_sha(key, body), body))


def calibrations(db: sqlite3.Connection) -> tuple[Calibration, ...]:
    """All sound calibrations in the order in which they were added."""
    return tuple(
        Calibration(key[1], key[2], key[3], json.loads(body))
        for *key, sha, body in db.execute(BODY_TABLES["calibration"] + " ORDER BY number")
        if sha == body_sha(key, body)
    )
