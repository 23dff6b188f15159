"""A master of another make: the c104 library's client, and what it has heard, in order.

The library looks at the annotations of what it calls, so here they are not postponed.
"""

import queue
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Self

import c104

ANSWER_S = 20.0
REMINDED_S = 0.5


@dataclass(frozen=True, slots=True)
class Told:
    """One object as the library decoded it."""

    address: int
    kind: int
    cause: int
    amount: float
    quality: int
    at: datetime | None


class Master:
    """Connected from the start; a point's type is that by which it was told first."""

    def __init__(self, port: int, common_address: int = 1) -> None:
        self.told: queue.SimpleQueue[Told] = queue.SimpleQueue()
        self.unexpected: list[str] = []
        self._client = c104.Client(tick_rate_ms=50, command_timeout_ms=2_000)
        self._client.on_new_point(callable=self._on_new_point)
        connection = self._client.add_connection(ip="127.0.0.1", port=port, init=c104.Init.NONE)
        assert connection is not None
        self.connection = connection
        self.connection.on_unexpected_message(callable=self._on_unexpected)
        self.station = self.connection.add_station(common_address=common_address)
        self._client.start()

    def await_open(self) -> Self:
        """Data transfer has begun. The library at times connects and forgets to start it; then it
        is told to once more."""
        muted, ask_at = c104.ConnectionState.OPEN_MUTED, time.monotonic() + REMINDED_S

        def opened() -> bool:
            nonlocal ask_at
            if self.connection.state == muted and time.monotonic() > ask_at:
                self.connection.unmute()
                ask_at += REMINDED_S
            return bool(self.connection.state == c104.ConnectionState.OPEN)

        self._await(opened)
        return self

    def _await(self, holds: Callable[[], bool]) -> None:
        """The library has no event for this; it is asked until it says so."""
        until = time.monotonic() + ANSWER_S
        while not holds():
            assert time.monotonic() < until, f"the connection is {self.connection.state}"
            time.sleep(0.01)

    def hear(self, count: int) -> list[Told]:
        """The next objects."""
        return [self.told.get(timeout=ANSWER_S) for _ in range(count)]

    def close(self) -> None:
        self._client.stop()

    def _on_new_point(
        self, client: c104.Client, station: c104.Station, io_address: int, point_type: c104.Type
    ) -> None:
        point = station.add_point(io_address=io_address, type=point_type)
        assert point is not None
        point.on_receive(callable=self._on_receive)

    def _on_receive(
        self, point: c104.Point, previous_info: c104.Information, message: c104.IncomingMessage
    ) -> c104.ResponseState:
        value = point.value
        quality = 0 if point.quality is None else int(point.quality.value)
        self.told.put(
            Told(
                point.io_address,
                int(message.type.value),
                int(message.cot.value),
                float(value) if isinstance(value, int | float) else -1.0,
                quality,
                point.recorded_at,
            )
        )
        return c104.ResponseState.SUCCESS

    def _on_unexpected(
        self, connection: c104.Connection, message: c104.IncomingMessage, cause: c104.Umc
    ) -> None:
        self.unexpected.append(f"{message.type} {message.cot} {cause}")
