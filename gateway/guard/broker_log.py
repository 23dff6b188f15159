"""What the broker refused, read from its log. Pure: `step(state, line) -> (state, denial)`.

The broker turns away strangers and what its access rules forbid before the gateway sees anything;
its log is the only witness. The forms of the lines are those of mosquitto 2.0 with the log types
error, warning, notice, information, debug and subscribe (2.0.11 was tried). A line that no form
fits is no denial: the log is mostly about honest traffic.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

from gateway.ingest.topics import ROOT, unit_of

LINE_MAX = 2000
"""Characters of a line that are looked at; clients choose topics and so the length of lines."""

DETAIL_MAX = 300
"""Characters kept of what a client chose."""


@dataclass(frozen=True, slots=True)
class Reading:
    """own: names that may do more than a unit, the gateway's. newcomer: whom the last 'New client
    connected' was about. will_follows: the next line names the newcomer's will topic."""

    own: frozenset[str]
    newcomer: str = ""
    will_follows: bool = False


@dataclass(frozen=True, slots=True)
class Denial:
    """Something that the broker refused or withheld. unit: who tried, "" where that is unknown.

    at_s: when, by the broker's clock, seconds since 1970; None where the line does not say.
    """

    unit: str
    event: str
    detail: str
    at_s: int | None = None


def step(reading: Reading, line: str) -> tuple[Reading, Denial | None]:
    """The next line of the log."""
    stamped = _STAMPED.match(line[:LINE_MAX].rstrip("\n"))
    said = stamped["said"] if stamped else line[:LINE_MAX].rstrip("\n")
    after, denial = _read(reading, said)
    if denial is not None and stamped is not None:
        denial = replace(denial, at_s=int(stamped["at_s"]))
    return after, denial


_STAMPED = re.compile(r"(?P<at_s>\d{1,11}): (?P<said>.*)", re.DOTALL)

_CONNECTED = re.compile(r"New client connected from \S+ as (?P<client>.*) \(p[0-9]")


def _read(reading: Reading, said: str) -> tuple[Reading, Denial | None]:
    if reading.will_follows:
        return replace(reading, will_follows=False), _will(reading, said.lstrip("\t"))
    if said.startswith("Will message specified"):
        return replace(reading, will_follows=True), None
    if (found := _CONNECTED.match(said)) is not None:
        return replace(reading, newcomer=found["client"]), _strange_name(reading, found["client"])
    for form, denial in FORMS:
        if (found := form.match(said)) is not None:
            return reading, denial(reading, found)
    return reading, None


def _will(reading: Reading, topic: str) -> Denial | None:
    """The broker takes every will and withholds one on a foreign topic without a word."""
    if reading.newcomer in reading.own or topic == f"{ROOT}/{reading.newcomer}/state":
        return None
    return _denial(reading.newcomer, "broker-foreign-will", f"its will is for {topic!r}")


def _strange_name(reading: Reading, client: str) -> Denial | None:
    """A certificate of the authority, but for no unit: its access rules lead nowhere."""
    if client in reading.own or _is_unit(client):
        return None
    return _denial(client, "broker-strange-name", f"connected as {client!r}, which is no unit")


def _publish(reading: Reading, found: re.Match[str]) -> Denial | None:
    client, topic = found["client"], found["topic"]
    event = "broker-forbidden-topic" if unit_of(topic) == client else "broker-foreign-topic"
    return _denial(client, event, f"may not publish to {topic!r}")


def _subscribe(reading: Reading, found: re.Match[str]) -> Denial | None:
    """The broker grants every subscription and withholds the messages: the attempt tells."""
    client, topic = found["client"], found["topic"]
    if client in reading.own or topic.startswith(f"{ROOT}/{client}/down/"):
        return None
    return _denial(client, "broker-foreign-subscription", f"subscribed to {topic!r}")


def _as(event: str) -> Callable[[Reading, re.Match[str]], Denial | None]:
    """The event with the line itself as detail."""

    def denial(reading: Reading, found: re.Match[str]) -> Denial | None:
        return _denial(found.groupdict().get("client", ""), event, found.string)

    return denial


_CLIENT = r"(?:Client|client) (?P<client>\S+) "

_HANDSHAKE = "(Client connection from|OpenSSL Error).*"
"""One refusal is told in either form, as the handshake fails at once or a moment later."""

FORMS: tuple[tuple[re.Pattern[str], Callable[[Reading, re.Match[str]], Denial | None]], ...] = (
    (re.compile(r"Denied PUBLISH from (?P<client>.+?) \(d\d.*?, '(?P<topic>.*)', "), _publish),
    (re.compile(r"(?P<client>\S+) [012] (?P<topic>\S.*)$"), _subscribe),
    (re.compile(_CLIENT + "already connected, closing old"), _as("broker-session-taken-over")),
    (re.compile(_CLIENT + "disconnected due to oversize packet"), _as("broker-oversized")),
    (re.compile(_CLIENT + "disconnected due to malformed packet"), _as("broker-malformed")),
    (re.compile(_CLIENT + "disconnected due to protocol error"), _as("broker-malformed")),
    (re.compile(_CLIENT + "disconnected, not authori[sz]ed"), _as("broker-refused")),
    (re.compile("Client connection from .* denied"), _as("broker-refused")),
    (re.compile(_HANDSHAKE + "not return a certificate"), _as("broker-no-certificate")),
    (re.compile(_HANDSHAKE + "certificate"), _as("broker-certificate-refused")),
    (re.compile("Client connection from .* failed"), _as("broker-no-tls")),
    (re.compile("OpenSSL Error.*(version|protocol|http request|message)"), _as("broker-no-tls")),
)
"""Every form of a line that tells of a refusal; the first that fits counts."""


def _is_unit(client: str) -> bool:
    return unit_of(f"{ROOT}/{client}/state") == client


def _denial(client: str, event: str, detail: str) -> Denial:
    return Denial(client if _is_unit(client) else "", event, detail[:DETAIL_MAX])
