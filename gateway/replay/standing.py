"""Where a run of recordings stands: its tables as they grow, and what the next stretch needs.

After every ten minutes of signal all of it is on the disk, so that a run that was stopped goes on
where it stood and leaves the same bytes.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO

from edge.captures import choosing
from edge.decide.kept_state import state_from_plain, state_to_plain
from edge.measure import self_test
from edge.pipeline import Output, PipelineState
from edge.records import Capture, ConditionChange, IntervalRow, Span
from edge.wire import body_line
from gateway.replay.progress import keep_progress, kept_progress
from gateway.replay.tables import INTERVAL_HEADER, WINDOW_HEADER, header_line, interval_line
from gateway.replay.walking import Walked

TABLES = ("windows.csv", "intervals.csv", "events.jsonl")
KEPT_EVERY_US = 600_000_000
"""Of signal, between two times that all is put on the disk."""


@dataclass(frozen=True, slots=True)
class Counts:
    """Of what was written. stretches: that are done."""

    stretches: int = 0
    windows: int = 0
    intervals: int = 0
    events: int = 0
    captures: int = 0
    signal_us: int = 0


class Tables:
    """The three tables in a folder, as files with the ending `.part`, while the block runs.

    identity: of the request; None where nothing is to be kept of a run that is stopped.
    """

    def __init__(self, out: Path, identity: Mapping[str, Any] | None) -> None:
        self._out, self._identity = out, identity
        self._files: list[BinaryIO] = []
        self._kept_us = 0
        self.counts = Counts()
        self.numbers: dict[str, int] = {}

    def __enter__(self) -> Tables:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for stream in self._files:
            stream.close()

    def begun(self, fresh: PipelineState) -> PipelineState:
        """Opens the tables; the state of a stopped run of the same request, else the fresh one."""
        plain = self._kept()
        sizes = [0, 0, 0] if plain is None else plain["sizes"]
        for name, size in zip(TABLES, sizes, strict=True):
            path = self._out / f"{name}.part"
            self._files.append(path.open("wb" if plain is None else "r+b"))
            self._files[-1].truncate(size)
            self._files[-1].seek(size)
        if plain is None:
            self._files[0].write(header_line(WINDOW_HEADER).encode())
            self._files[1].write(header_line(INTERVAL_HEADER).encode())
            return fresh
        self.counts, self.numbers = Counts(**plain["counts"]), plain["numbers"]
        self._kept_us = self.counts.signal_us
        return replace(
            fresh,
            decide=state_from_plain(plain["decide"]),
            choosing=choosing.from_plain(plain["captures"]),
            self_tests=self_test.from_plain(plain["self_tests"]),
        )

    def take(self, walked: Walked, records: tuple[Output, ...]) -> None:
        """What a stretch gave, once it was decided on."""
        self._files[0].write(walked.window_text.encode())
        intervals = events = captures = 0
        for record in records:
            if isinstance(record, ConditionChange | Capture):
                self._files[2].write(body_line(record) + b"\n")
                events += 1
                captures += isinstance(record, Capture)
            elif isinstance(record, IntervalRow) and record.span is Span.MINUTE:
                self._files[1].write(interval_line(record).encode())
                intervals += 1
        had = self.counts
        self.counts = Counts(
            had.stretches + 1,
            had.windows + walked.windows,
            had.intervals + intervals,
            had.events + events,
            had.captures + captures,
            had.signal_us + walked.signal_us,
        )

    @property
    def is_due(self) -> bool:
        """Whether enough has come since the last time that a run's stand was kept."""
        due = self.counts.signal_us - self._kept_us >= KEPT_EVERY_US
        return due and self._identity is not None

    def keep(self, state: PipelineState, numbers: Mapping[str, int]) -> None:
        """Puts all of it on the disk. numbers: of a scratch history's streams."""
        for stream in self._files:
            stream.flush()
            os.fsync(stream.fileno())
        plain = {
            "sizes": [stream.tell() for stream in self._files],
            "counts": asdict(self.counts),
            "numbers": dict(numbers),
            "decide": state_to_plain(state.decide),
            "captures": choosing.as_plain(state.choosing),
            "self_tests": self_test.as_plain(state.self_tests),
        }
        keep_progress(self._out, self._identity or {}, plain)
        self._kept_us = self.counts.signal_us

    def _kept(self) -> dict[str, Any] | None:
        """What a stopped run of the same request left; another one begins anew."""
        if self._identity is None or not all(
            (self._out / f"{name}.part").is_file() for name in TABLES
        ):
            return None
        return kept_progress(self._out, self._identity)
