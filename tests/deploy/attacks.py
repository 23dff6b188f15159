"""What hostile clients try, one function each: with the deployment and the name of a unit whose
certificate the attacker holds. AssertionError where it is let through.
"""

from __future__ import annotations

import json
import queue
import socket
from collections.abc import Callable
from pathlib import Path

from edge.records import Stream
from tests.deploy.authority import PAST, Authority
from tests.deploy.deployed import until
from tests.deploy.standing import EPOCH, NEIGHBOUR, Standing
from tests.deploy.stranger import Stranger
from tests.gateway.build import epoch_start, interval, message, topic

DENIED = "Not authorized"
TLS_ALERT = 21
"""First octet of the record by which a TLS server ends what is no TLS (RFC 8446, as recalled)."""

SILENCE_S = 0.5
"""So long nothing may come that must not come; what may come arrives within a tenth of it."""


def lines(unit: str, first: int = 1) -> bytes:
    return message(first, [epoch_start(), interval(1)], unit=unit, epoch=EPOCH)


def foreign(name: str) -> Callable[[Standing, str], None]:
    def run(standing: Standing, unit: str) -> None:
        with standing.as_unit(unit) as one:
            for qos in (0, 1):
                said = one.publish(topic(unit=name), lines(name), qos)
                assert qos == 0 or said == DENIED
        assert not standing.gateway.bodies(name)

    return run


def forged_client_id(standing: Standing, unit: str) -> None:
    with (
        standing.as_unit(NEIGHBOUR) as neighbour,
        standing.as_unit(unit, client_id=NEIGHBOUR) as one,
    ):
        assert one.publish(topic(unit=NEIGHBOUR), lines(NEIGHBOUR)) == DENIED
        assert neighbour.publish(f"seafret/1/{NEIGHBOUR}/state", b"{}") == "Success"


def wildcard_names(standing: Standing, unit: str) -> None:
    for number, name in enumerate(("+", "#", "gannet-head.#", f"{NEIGHBOUR}/up")):
        pair = standing.authority.signed_carelessly(name, standing.folder / f"careless-{number}")
        with Stranger(standing.broker.port, standing.authority.ca, pair) as one:
            assert one.publish(topic(unit=NEIGHBOUR), lines(NEIGHBOUR)) == DENIED
            one.subscribe("seafret/1/+/down/+")
            standing.honest()
            assert nothing_comes(one)
    assert not standing.gateway.bodies(NEIGHBOUR)


def eavesdrop(standing: Standing, unit: str) -> None:
    with standing.as_unit(unit) as one:
        for filter_ in ("#", "seafret/1/+/down/+", "seafret/1/+/up/+", "$SYS/#"):
            one.subscribe(filter_)
        standing.honest()
        assert nothing_comes(one)


def nothing_comes(one: Stranger) -> bool:
    try:
        found = one.messages.get(timeout=SILENCE_S)
    except queue.Empty:
        return True
    raise AssertionError(f"it was given {found.topic}")


def foreign_will(standing: Standing, unit: str) -> None:
    victim = f"seafret/1/{NEIGHBOUR}-asleep/state"
    with standing.as_unit(unit, will=victim) as one:
        one.vanish()
    until(lambda: f"Client {unit} closed its connection" in standing.log(), "the broker notices")
    assert f"'{victim}'" not in standing.log()


def _refused_at_the_door(standing: Standing, pair: Path | None) -> None:
    with Stranger(standing.broker.port, standing.authority.ca, pair) as one:
        assert one.refused


def expired(standing: Standing, unit: str) -> None:
    options = ("--from", PAST[0], "--until", PAST[1])
    _refused_at_the_door(standing, standing.authority.unit(f"{unit}-old", *options))


def revoked(standing: Standing, unit: str) -> None:
    _refused_at_the_door(standing, standing.authority.pair(standing.revoked_unit))


def other_authority(standing: Standing, unit: str) -> None:
    other = Authority(standing.folder / "other-authority")
    _refused_at_the_door(standing, other.unit(NEIGHBOUR))


def no_certificate(standing: Standing, unit: str) -> None:
    _refused_at_the_door(standing, None)


def no_tls(standing: Standing, unit: str) -> None:
    with socket.create_connection(("localhost", standing.broker.port), timeout=5) as plain:
        plain.sendall(b"\x10\x0c\x00\x04MQTT\x05\x02\x00\x3c\x00")
        try:
            said = plain.recv(100)
        except ConnectionResetError:
            return
        assert not said or said[0] == TLS_ALERT


def receipt_for(own: bool) -> Callable[[Standing, str], None]:
    def run(standing: Standing, unit: str) -> None:
        payload = json.dumps({"epoch": EPOCH, "stream": "interval", "upto": 10**6}).encode()
        with standing.as_unit(unit) as one:
            victim = unit if own else NEIGHBOUR
            assert one.publish(f"seafret/1/{victim}/down/receipt", payload) == DENIED

    return run


def oversized(standing: Standing, unit: str) -> None:
    with standing.as_unit(unit) as one:
        assert one.publish(topic(unit=unit), b"x" * 200_000) == "lost"
    assert not standing.gateway.bodies(unit)


def malformed(standing: Standing, unit: str) -> None:
    with standing.as_unit(unit) as one:
        assert one.send_bytes(b"\xf5\x99" * 40) == "lost"


def twice(standing: Standing, unit: str) -> None:
    with standing.as_unit(unit), standing.as_unit(unit) as second:
        assert second.publish(f"seafret/1/{unit}/state", b"{}") == "Success"


def says(
    payload: Callable[[str], bytes], where: str = "", retain: bool = False
) -> Callable[[Standing, str], None]:
    """What the broker lets through on the unit's own topics; nothing of it is stored."""

    def run(standing: Standing, unit: str) -> None:
        with standing.as_unit(unit) as one:
            to = f"seafret/1/{unit}/up/{where}" if where else topic(unit=unit)
            assert one.publish(to, payload(unit), retain=retain) == "Success"
            if retain:  # take it away again
                one.publish(to, b"", retain=True)
        standing.honest()
        assert not standing.gateway.bodies(unit)

    return run


def body(text: bytes) -> Callable[[str], bytes]:
    """A sound envelope around a body that is not."""
    return lambda unit: lines(unit).replace(b'"body":{', b'"body":{"x":' + text + b",", 1)


def conflict(standing: Standing, unit: str) -> None:
    with standing.as_unit(unit) as one:
        one.publish(topic(unit=unit), lines(unit))
        until(lambda: len(standing.gateway.bodies(unit)) == 2, "the first is stored")
        stored = standing.gateway.bodies(unit)
        other = message(2, [interval(7)], unit=unit, epoch=EPOCH)
        assert one.publish(topic(unit=unit), other) == "Success"
        standing.honest()
    assert standing.gateway.bodies(unit) == stored


def from_the_future(standing: Standing, unit: str) -> None:
    later = lines(unit).replace(b'"v":1', b'"v":2').replace(b'"duration_us"', b'"span_us"')
    with standing.as_unit(unit) as one:
        one.subscribe(f"seafret/1/{unit}/down/receipt")
        assert one.publish(topic(unit=unit), later) == "Success"
        told = json.loads(one.messages.get(timeout=10).payload)
        assert told == {"epoch": EPOCH, "stream": Stream.INTERVAL.value, "upto": 2}
    assert standing.gateway.raw(unit) == [later] and not standing.gateway.bodies(unit)
