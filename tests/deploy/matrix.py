"""The hostile matrix: who tries what, what comes of it, and what the gateway tells of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from tests.deploy.attacks import (
    body,
    conflict,
    eavesdrop,
    expired,
    foreign,
    foreign_will,
    forged_client_id,
    from_the_future,
    lines,
    malformed,
    no_certificate,
    no_tls,
    other_authority,
    oversized,
    receipt_for,
    revoked,
    says,
    twice,
    wildcard_names,
)
from tests.deploy.standing import EPOCH, NEIGHBOUR, Standing
from tests.gateway.build import interval, message


@dataclass(frozen=True, slots=True)
class Attack:
    """tries, outcome: for the table. event: what is told; of_unit: whether it names the unit.

    run: with the deployment and the name of a unit whose certificate the attacker holds.
    """

    tries: str
    outcome: str
    event: str
    run: Callable[[Standing, str], None]
    of_unit: bool = True


NOT_STORED = "refused, kept with its reason, nothing stored"

ATTACKS: dict[str, Attack] = {
    "wrong-unit": Attack(
        "a unit writes on another unit's topic (QoS 0 and 1)",
        "denied by the broker (0x87)",
        "broker-foreign-topic",
        foreign(f"{NEIGHBOUR}-quiet"),
    ),
    "wrong-site": Attack(
        "a unit writes as a unit of another site",
        "denied by the broker (0x87)",
        "broker-foreign-topic",
        foreign("north-head.mast-3"),
    ),
    "forged-client-id": Attack(
        "a unit connects under another's client id and user name",
        "keeps its own name; the other is not disturbed; writing denied",
        "broker-foreign-topic",
        forged_client_id,
    ),
    "wildcard-names": Attack(
        "certificates signed by mistake for +, #, gannet-head.# and UNIT/up",
        "nothing may be written or heard; the script does not sign such names",
        "broker-strange-name",
        wildcard_names,
        of_unit=False,
    ),
    "eavesdropping": Attack(
        "a unit subscribes to everything",
        "granted in words, nothing delivered",
        "broker-foreign-subscription",
        eavesdrop,
    ),
    "foreign-will": Attack(
        "a unit leaves a will on another unit's state",
        "never published",
        "broker-foreign-will",
        foreign_will,
    ),
    "expired": Attack(
        "an expired certificate",
        "no connection",
        "broker-certificate-refused",
        expired,
        of_unit=False,
    ),
    "revoked": Attack(
        "a revoked certificate",
        "no connection",
        "broker-certificate-refused",
        revoked,
        of_unit=False,
    ),
    "other-authority": Attack(
        "a unit's name signed by another authority",
        "no connection",
        "broker-certificate-refused",
        other_authority,
        of_unit=False,
    ),
    "no-certificate": Attack(
        "no certificate", "no connection", "broker-no-certificate", no_certificate, of_unit=False
    ),
    "no-tls": Attack("MQTT without TLS", "no connection", "broker-no-tls", no_tls, of_unit=False),
    "forged-receipt": Attack(
        "a unit sends another unit a receipt",
        "denied by the broker (0x87)",
        "broker-foreign-topic",
        receipt_for(own=False),
    ),
    "own-receipt": Attack(
        "a unit sends itself a receipt",
        "denied by the broker (0x87)",
        "broker-forbidden-topic",
        receipt_for(own=True),
    ),
    "oversized": Attack(
        "a packet of 200 kB", "connection ended by the broker", "broker-oversized", oversized
    ),
    "malformed": Attack(
        "octets that are no MQTT",
        "connection ended by the broker",
        "broker-malformed",
        malformed,
    ),
    "two-with-one-name": Attack(
        "two connections with one certificate",
        "the older one is ended",
        "broker-session-taken-over",
        twice,
    ),
    "wrong-identity": Attack(
        "a payload that names another unit than its topic",
        NOT_STORED,
        "identity",
        says(lambda unit: lines(NEIGHBOUR)),
    ),
    "strange-topic": Attack(
        "a stream that there is not", NOT_STORED, "topic", says(lines, where="strange")
    ),
    "retained": Attack("a retained measurement", NOT_STORED, "retained", says(lines, retain=True)),
    "too-large": Attack(
        "a message of 100 kB", NOT_STORED, "too-large", says(lambda unit: b"x" * 100_000)
    ),
    "poison": Attack(
        "octets that are no JSON", NOT_STORED, "not-json", says(lambda unit: b"\x00\xff," * 99)
    ),
    "deep": Attack(
        "JSON nested 10,000 deep",
        NOT_STORED,
        "too-deep",
        says(body(b"[" * 10_000 + b"]" * 10_000)),
    ),
    "huge-number": Attack(
        "a number of 60,000 digits", NOT_STORED, "not-json", says(body(b"9" * 60_000))
    ),
    "not-a-number": Attack("NaN", NOT_STORED, "not-a-number", says(body(b"NaN"))),
    "repeated-key": Attack(
        "an object that repeats a key", NOT_STORED, "repeated-key", says(body(b'1,"x":2'))
    ),
    "no-epoch-start": Attack(
        "lines of an epoch that never began",
        NOT_STORED,
        "no-epoch-start",
        says(lambda unit: message(1, [interval(1)], unit=unit, epoch=EPOCH)),
    ),
    "conflict": Attack(
        "a number that is taken, with another body",
        "the first stays, the second is kept beside it",
        "conflict",
        conflict,
    ),
    "from-the-future": Attack(
        "a message of a later schema",
        "kept whole, receipted, read when an upgraded gateway starts",
        "future-schema",
        from_the_future,
    ),
}
