"""Whether the broker can be reached, believes who we are, and will for some time."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from paho.mqtt.client import Client, ConnectFlags
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from edge.checking.certificates import not_after
from edge.checking.finding import Finding, fault, raised
from edge.clock import Clock, steady_s
from edge.daemon.running import broker_of
from edge.send.link import Broker
from edge.settings import Settings

ANSWER_S = 10.0
"""A broker that has not answered by then counts as out of reach."""

RENEW_BEFORE = timedelta(days=30)
"""A certificate that ends sooner is a fault: a visit takes weeks to plan."""


def broker_findings(settings: Settings, base: Path, clock: Clock) -> Iterator[Finding]:
    """Certificates first, for without them the broker cannot be asked."""
    if settings.broker is None:
        yield Finding("broker", "none is set: records are kept here and not sent")
        return
    broker = broker_of(settings.broker, base)
    now = datetime.fromtimestamp(clock.utc_us() / 1e6, UTC)
    if broker.tls is not None:
        for path in (broker.tls.ca, broker.tls.cert):
            if path is not None:
                yield certificate_finding(path, now)
    yield connection_finding(settings.unit.id, broker)


def certificate_finding(path: Path, now: datetime) -> Finding:
    """Readable, and valid for a while."""
    what = f"certificate {path.name}"
    try:
        end = not_after(path.read_text(encoding="ascii"), str(path))
    except (OSError, ValueError) as cause:
        return raised(what, cause)
    found = f"valid until {end:%Y-%m-%d}"
    if end < now:
        return fault(what, f"expired on {end:%Y-%m-%d}", "renew it at the utility's authority")
    if end - now < RENEW_BEFORE:
        return fault(what, f"{found}, {(end - now).days} days", "renew it now")
    return Finding(what, found)


def connection_finding(unit: str, broker: Broker) -> Finding:
    """One connection as this unit, without a will and without a message."""
    where = f"{broker.host}:{broker.port}"
    answers: list[ReasonCode] = []
    try:
        client = _client(unit, broker, answers)
        client.connect(broker.host, broker.port, keepalive=broker.keepalive_s)
        until_s = steady_s() + ANSWER_S
        while not answers and steady_s() < until_s and client.socket() is not None:
            client.loop(timeout=0.2)
    except (OSError, ValueError) as cause:
        return fault("broker", f"{where}: {cause}", "check network, address, port and certificates")
    client.disconnect()
    if not answers:
        return fault("broker", f"{where} does not answer as a broker", "check the port and TLS")
    if answers[0].is_failure:
        return fault("broker", f"{where} refuses {unit}: {answers[0]}", "let the unit in there")
    return Finding("broker", f"{where} accepts {unit}")


def _client(unit: str, broker: Broker, answers: list[ReasonCode]) -> Client:
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=unit,
        protocol=MQTTProtocolVersion.MQTTv5,
        reconnect_on_failure=False,
    )
    client.connect_timeout = ANSWER_S
    client.username_pw_set(unit, broker.password)
    if (tls := broker.tls) is not None:
        client.tls_set(str(tls.ca), str(tls.cert), str(tls.key))

    def answered(
        client: Client, _: object, flags: ConnectFlags, code: ReasonCode, more: Properties | None
    ) -> None:
        answers.append(code)

    client.on_connect = answered
    return client
