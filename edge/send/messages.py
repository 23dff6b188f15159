"""What the sending protocol hears and what it asks for: plain, frozen, no behaviour.

Two threads talk in these: the one that owns the durable file hears Fetch, Release, Reopen and
Notice, and answers with Held, Fetched and Reopened. `after`, `upto`, `last` are sequence numbers.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from edge.records import Stream
from edge.wire import Batch


@dataclass(frozen=True, slots=True)
class LinkUp:
    """The broker accepted the connection. message_bytes_max: the largest it takes, None unsaid."""

    message_bytes_max: int | None = None


@dataclass(frozen=True, slots=True)
class LinkDown:
    """The connection is gone."""


@dataclass(frozen=True, slots=True)
class Held:
    """The durable file holds this lane up to `last`; the gateway receipted up to `released`."""

    epoch: str
    stream: Stream
    released: int
    last: int


@dataclass(frozen=True, slots=True)
class Reopened:
    """Answer to Reopen: everything above `released` is to be sent again."""

    epoch: str
    stream: Stream
    released: int
    last: int


@dataclass(frozen=True, slots=True)
class Fetched:
    """Answer to Fetch with the same `after`; None where nothing is held above it."""

    epoch: str
    stream: Stream
    after: int
    batch: Batch | None


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """The broker's word on a message of a stream: a reason code of MQTT 5. Never a release."""

    stream: Stream
    reason_code: int


@dataclass(frozen=True, slots=True)
class Receipted:
    """The gateway's receipt, sent after its commit: it holds the lane up to `upto`."""

    epoch: str
    stream: Stream
    upto: int


@dataclass(frozen=True, slots=True)
class BackfillAsked:
    """The gateway asks for a range again."""

    epoch: str
    stream: Stream
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Congested:
    """Whether what was published still waits on this side of the link."""

    waiting: bool


@dataclass(frozen=True, slots=True)
class Tick:
    """Time has passed."""


Event = (
    LinkUp
    | LinkDown
    | Held
    | Reopened
    | Fetched
    | Acknowledged
    | Receipted
    | BackfillAsked
    | Congested
    | Tick
)


@dataclass(frozen=True, slots=True)
class Fetch:
    """To the durable file: the next records of a lane above `after`, for one message."""

    epoch: str
    stream: Stream
    after: int
    records_max: int
    bytes_max: int


@dataclass(frozen=True, slots=True)
class Release:
    """To the durable file: the gateway holds the lane up to `upto`."""

    epoch: str
    stream: Stream
    upto: int


@dataclass(frozen=True, slots=True)
class Reopen:
    """To the durable file: take back the release from `first` on."""

    epoch: str
    stream: Stream
    first: int


@dataclass(frozen=True, slots=True)
class Notice:
    """To the durable file, as a unit event: something happened that people should see.

    security: somebody may be speaking for a unit that is not theirs.
    """

    event: str
    security: bool = False
    detail: dict[str, int | str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Asked:
    """To the daemon: a request that is not the protocol's own, as it came, at most 64 KiB."""

    verb: str
    payload: bytes


@dataclass(frozen=True, slots=True)
class Publish:
    """To the network: one message."""

    batch: Batch
    payload: bytes


@dataclass(frozen=True, slots=True)
class NewEpoch:
    """From the durable file: it was opened anew and writes in this epoch; the link says so."""

    epoch: str


KeeperRequest = Fetch | Release | Reopen | Notice | Asked
KeeperAnswer = Held | Fetched | Reopened | NewEpoch
Action = Fetch | Release | Reopen | Notice | Publish
