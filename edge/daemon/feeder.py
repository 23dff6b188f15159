"""The thread that reads the source into the inbox."""

from __future__ import annotations

import threading

from edge.daemon.inbox import Inbox
from edge.daemon.job import Request, SourceOver
from edge.daemon.pacing import gathered, limited
from edge.daemon.sources import Life, Source
from edge.samples import StreamEnd
from edge.sense.link import FirmwareRefused


class Feeder:
    """From `start` until the source ends or its life is told to stop. failure: what ended it."""

    def __init__(
        self,
        source: Source,
        inbox: Inbox[Request],
        life: Life,
        begin_us: int,
        signal_s: float | None,
    ) -> None:
        self._source, self._inbox, self._life = source, inbox, life
        self._begin_us, self._signal_s = begin_us, signal_s
        self._thread = threading.Thread(target=self._run, name="source", daemon=True)
        self.failure: BaseException | None = None

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def join(self, timeout_s: float) -> bool:
        """Whether it has ended within that time."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        finished = False
        try:
            finished = self._feed()
        except BaseException as fault:
            self.failure = fault
        finally:
            self._inbox.put_after_items(SourceOver(finished))

    def _feed(self) -> bool:
        """Whether the source ended of itself."""
        ended: StreamEnd | None = None
        rate_hz = self._source.description.rate_hz
        items = limited(self._source.items(self._begin_us), rate_hz, self._signal_s)
        for item in gathered(items, rate_hz):
            ended = item if isinstance(item, StreamEnd) else None
            if self._life.is_over() or not self._inbox.put_item(item, self._life.is_over):
                return False
        if self._life.is_over() or ended is None:
            return False
        if self._source.is_live and self._signal_s is None:
            raise FirmwareRefused(f"{ended.reason}; the link cannot go on without a restart")
        return True
