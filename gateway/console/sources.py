"""What the API reads from, and the parameters that its routes share."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from fastapi import Query
from pydantic import AwareDatetime

from gateway.console.desk import AlarmDesk
from gateway.console.feed import Feed
from gateway.console.summary import Summary
from gateway.history.store import History
from gateway.settings import Site

PAGE_ROWS_MAX = 5000
"""Rows of one answer; `next_us` says where to go on."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How the gateway itself does. store_fault: why nothing can be stored now, "" where it can."""

    broker_connected: bool
    store_fault: str


@dataclass(frozen=True, slots=True)
class Sources:
    """What the console and the API read from. rate: of the gateway's clock against real time, 1
    but for a demo. data: folder of the histories."""

    summary: Callable[[], Summary]
    standing: Callable[[], Standing]
    now_us: Callable[[], int]
    history: History
    register: Mapping[str, Site]
    stale_after_us: int
    desk: Callable[[], AlarmDesk]
    feed: Feed
    data: Path
    rate: float = 1.0


From = Annotated[AwareDatetime, Query(alias="from")]
To = Annotated[AwareDatetime, Query(alias="to")]
Limit = Annotated[int, Query(ge=1, le=PAGE_ROWS_MAX)]
SiteQuery = Annotated[str | None, Query(max_length=32)]


def us(moment: AwareDatetime) -> int:
    """UTC microseconds of a moment, exactly."""
    whole = int(moment.timestamp() // 1)
    return whole * 1_000_000 + moment.microsecond
