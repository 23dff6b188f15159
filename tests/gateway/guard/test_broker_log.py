"""The broker's log, line by line, as mosquitto 2.0.11 wrote it."""

from __future__ import annotations

import pytest

from gateway.guard.broker_log import DETAIL_MAX, Denial, Reading, step

UNIT = "gannet-head.mast-3"
START = Reading(frozenset(("seafret-gateway",)))


def denials(*lines: str) -> list[Denial]:
    reading, found = START, []
    for line in lines:
        reading, denial = step(reading, f"1795574337: {line}\n")
        found += [denial] if denial is not None else []
    return found


HONEST = f"""New connection from 127.0.0.1:57211 on port 8883.
New client connected from 127.0.0.1:57211 as {UNIT} (p5, c1, k60, u'{UNIT}').
Will message specified (40 bytes) (r1, q1).
\tseafret/1/{UNIT}/state
Sending CONNACK to {UNIT} (0, 0)
Received SUBSCRIBE from {UNIT}
\tseafret/1/{UNIT}/down/+ (QoS 1)
{UNIT} 1 seafret/1/{UNIT}/down/+
Sending SUBACK to {UNIT}
Received PUBLISH from {UNIT} (d0, q1, r0, m1, 'seafret/1/{UNIT}/up/alarm', ... (1 bytes))
Sending PUBLISH to seafret-gateway (d0, q1, r0, m1, 'seafret/1/{UNIT}/up/alarm', ... (1 bytes))
Sending PUBACK to {UNIT} (m1, rc0)
Received PINGREQ from {UNIT}
Received DISCONNECT from {UNIT}
Client {UNIT} disconnected.
Client {UNIT} closed its connection.
Client {UNIT} has exceeded timeout, disconnecting.
New client connected from 127.0.0.1:33 as seafret-gateway (p5, c1, k60, u'seafret-gateway').
Will message specified (40 bytes) (r1, q1).
\tseafret/1/gateway/heartbeat
seafret-gateway 1 seafret/1/+/up/+
OpenSSL Error[0]: error:0A000126:SSL routines::unexpected eof while reading
mosquitto version 2.0.11 running"""


def test_honest_traffic_tells_of_nothing() -> None:
    assert denials(*HONEST.splitlines()) == []


@pytest.mark.parametrize(
    ("line", "unit", "event"),
    [
        (
            f"Denied PUBLISH from {UNIT} (d0, q1, r0, m1, 'seafret/1/a.b/up/alarm', ... (1 bytes))",
            UNIT,
            "broker-foreign-topic",
        ),
        (
            f"Denied PUBLISH from {UNIT} (d0, q0, r0, m0, 'seafret/1/{UNIT}/down/receipt', ... "
            "(1 bytes))",
            UNIT,
            "broker-forbidden-topic",
        ),
        (f"{UNIT} 1 seafret/1/#", UNIT, "broker-foreign-subscription"),
        (f"{UNIT} 0 a topic with blanks", UNIT, "broker-foreign-subscription"),
        (
            "New client connected from 127.0.0.1:1 as # (p5, c1, k60, u'#').",
            "",
            "broker-strange-name",
        ),
        (
            f"Client {UNIT} already connected, closing old connection.",
            UNIT,
            "broker-session-taken-over",
        ),
        (f"Client {UNIT} disconnected due to oversize packet.", UNIT, "broker-oversized"),
        (f"Client {UNIT} disconnected due to malformed packet.", UNIT, "broker-malformed"),
        ("Client <unknown> disconnected due to protocol error.", "", "broker-malformed"),
        (f"Client {UNIT} disconnected, not authorised.", UNIT, "broker-refused"),
        (
            "Client connection from 127.0.0.1 failed: error:0A0000C7:SSL routines::peer did not "
            "return a certificate.",
            "",
            "broker-no-certificate",
        ),
        (
            "OpenSSL Error[0]: error:0A0000C7:SSL routines::peer did not return a certificate",
            "",
            "broker-no-certificate",
        ),
        (
            "Client connection from 127.0.0.1 failed: error:0A00010B:SSL routines::wrong version "
            "number.",
            "",
            "broker-no-tls",
        ),
        (
            "OpenSSL Error[0]: error:0A000086:SSL routines::certificate verify failed",
            "",
            "broker-certificate-refused",
        ),
        (
            "Client connection from 127.0.0.1 failed: error:0A000086:SSL routines::certificate "
            "verify failed.",
            "",
            "broker-certificate-refused",
        ),
    ],
)
def test_each_refusal_is_told_with_who_and_when(line: str, unit: str, event: str) -> None:
    (denial,) = denials(line)
    assert (denial.unit, denial.event, denial.at_s) == (unit, event, 1795574337)


def test_a_will_on_a_foreign_topic_is_told_although_the_broker_says_nothing() -> None:
    connected = f"New client connected from 127.0.0.1:1 as {UNIT} (p5, c1, k60, u'{UNIT}')."
    will = ("Will message specified (7 bytes) (r1, q1).", "\tseafret/1/gannet-head.other/state")
    (denial,) = denials(connected, *will)
    assert (denial.unit, denial.event) == (UNIT, "broker-foreign-will")


def test_what_a_client_calls_itself_or_its_topics_forges_no_unit() -> None:
    topic = f"x', ... (1 bytes))Denied PUBLISH from {UNIT} (d0, q0, r0, m0, 'y"
    (denial,) = denials(f"Denied PUBLISH from + (d0, q1, r0, m1, '{topic}', ... (1 bytes))")
    assert denial.unit == "" and denial.event == "broker-foreign-topic"
    (long,) = denials(f"{UNIT} 1 {'#' * 5000}")
    assert len(long.detail) <= DETAIL_MAX


def test_a_line_without_a_time_is_read_all_the_same() -> None:
    _, denial = step(START, f"{UNIT} 1 #\n")
    assert denial is not None and denial.at_s is None
