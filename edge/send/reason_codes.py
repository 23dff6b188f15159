"""What each reason code of MQTT 5 makes the sender do.

The codes are those of PUBACK, CONNACK and DISCONNECT in OASIS MQTT Version 5.0 (numbers and names
as recalled, checked against the client library's table). An acknowledgement without an error only
says that the broker took the message: it is no receipt.
"""

from __future__ import annotations

from enum import StrEnum


class Reaction(StrEnum):
    """What the sender does about a reason code."""

    GO_ON = "go on"
    SLOW_DOWN = "slow down"  # nobody listens: try now and then
    BACK_OFF = "back off"  # the broker is short of something: wait, longer each time
    SECURITY = "security"  # somebody is not allowed what they do: tell, and try now and then


REACTIONS: dict[int, Reaction] = {
    0x00: Reaction.GO_ON,  # success, normal disconnection
    0x04: Reaction.BACK_OFF,  # disconnect with will message
    0x10: Reaction.SLOW_DOWN,  # no matching subscribers
    0x80: Reaction.BACK_OFF,  # unspecified error
    0x81: Reaction.BACK_OFF,  # malformed packet
    0x82: Reaction.BACK_OFF,  # protocol error
    0x83: Reaction.BACK_OFF,  # implementation specific error
    0x84: Reaction.BACK_OFF,  # unsupported protocol version
    0x85: Reaction.SECURITY,  # client identifier not valid
    0x86: Reaction.SECURITY,  # bad user name or password
    0x87: Reaction.SECURITY,  # not authorised
    0x88: Reaction.BACK_OFF,  # server unavailable
    0x89: Reaction.BACK_OFF,  # server busy
    0x8A: Reaction.SECURITY,  # banned
    0x8B: Reaction.BACK_OFF,  # server shutting down
    0x8C: Reaction.SECURITY,  # bad authentication method
    0x8D: Reaction.BACK_OFF,  # keep alive timeout
    0x8E: Reaction.SECURITY,  # session taken over: two speak with one identity
    0x8F: Reaction.SECURITY,  # topic filter invalid
    0x90: Reaction.SECURITY,  # topic name invalid
    0x91: Reaction.BACK_OFF,  # packet identifier in use
    0x93: Reaction.BACK_OFF,  # receive maximum exceeded
    0x94: Reaction.BACK_OFF,  # topic alias invalid
    0x95: Reaction.BACK_OFF,  # packet too large
    0x96: Reaction.BACK_OFF,  # message rate too high
    0x97: Reaction.BACK_OFF,  # quota exceeded
    0x98: Reaction.BACK_OFF,  # administrative action
    0x99: Reaction.BACK_OFF,  # payload format invalid
    0x9A: Reaction.BACK_OFF,  # retain not supported
    0x9B: Reaction.BACK_OFF,  # QoS not supported
    0x9C: Reaction.BACK_OFF,  # use another server
    0x9D: Reaction.BACK_OFF,  # server moved
    0x9E: Reaction.BACK_OFF,  # shared subscriptions not supported
    0x9F: Reaction.BACK_OFF,  # connection rate exceeded
    0xA0: Reaction.BACK_OFF,  # maximum connect time
    0xA1: Reaction.BACK_OFF,  # subscription identifiers not supported
    0xA2: Reaction.BACK_OFF,  # wildcard subscriptions not supported
}


def reaction(reason_code: int) -> Reaction:
    """What to do; a code that a later standard adds is an error from 0x80 on."""
    return REACTIONS.get(reason_code, Reaction.BACK_OFF if reason_code >= 0x80 else Reaction.GO_ON)
