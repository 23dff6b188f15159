"""What the keeper's thread works with, and what other threads ask of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from edge.clock import Clock
from edge.daemon.limit_sheets import Bound
from edge.daemon.sources import Source
from edge.measure.plan import MeasurePlan
from edge.send.messages import KeeperRequest
from edge.send.uplink import Uplink


@dataclass(frozen=True, slots=True)
class SourceOver:
    """The source's thread has ended. finished: of itself, not because it was told to stop."""

    finished: bool


@dataclass(frozen=True, slots=True)
class Connect:
    """A sender that is to be told what is held."""

    uplink: Uplink


@dataclass(frozen=True, slots=True)
class Close:
    """Commit, let go of the file and end."""


Request = KeeperRequest | SourceOver | Connect | Close


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What the thread works with. decision: the plan with a sheet of limits, or without one."""

    unit: str
    measure: MeasurePlan
    decision: Bound
    source: Source
    clock: Clock
    has_line_input: bool
    is_commissioned: bool = True
    is_watched: bool = False
    certificate: Path | None = None
