"""A worker's own walk through a feed: it goes on where the last task ended, or begins anew.

Tasks come in the order of the feed, so a worker passes over what others measure and seldom turns
back. A feed stays open until another one is asked for.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from datetime import tzinfo
from pathlib import Path

from edge.samples import SampleBlock, SourceItem
from gateway.replay.feeds import opened_feed
from gateway.replay.player import MeasuredStretch, Plans, Stretch, measured_stretch
from gateway.replay.tables import window_lines

TASK_SECONDS = 600
"""Short stretches are put together until a task has this much signal: a fraction of a second of
work, well above what handing it over costs."""


@dataclass(frozen=True, slots=True, eq=False)
class WalkTask:
    """Stretches of a feed, next to one another. with_windows: whether whole windows come back."""

    paths: tuple[Path, ...]
    zone: tzinfo | None
    block_samples: int
    plans: Plans
    stretches: tuple[Stretch, ...]
    with_windows: bool

    @property
    def feed(self) -> tuple[object, ...]:
        """What the same feed has in common; a file that was changed makes another one."""
        stats = [path.stat() for path in self.paths]
        marks = tuple((one.st_size, one.st_mtime_ns) for one in stats)
        return self.paths, marks, repr(self.zone), self.block_samples


@dataclass(frozen=True, slots=True, eq=False)
class Walked:
    """A stretch measured, its windows as lines of their table. signal_us: of one insulator."""

    measured: MeasuredStretch
    window_text: str
    windows: int
    signal_us: int


@dataclass(slots=True)
class _Walk:
    """Where one worker stands.

    ahead: what has not been taken from the feed. behind: the last two blocks taken and the anchors
    among them, since a block may belong to two stretches. done: up to which sample.
    """

    feed: tuple[object, ...]
    held: ExitStack
    ahead: Iterator[SourceItem]
    behind: list[SourceItem] = field(default_factory=list)
    done: int = 0

    def onward(self) -> Iterator[SourceItem]:
        yield from list(self.behind)
        for item in self.ahead:
            blocks = [i for i, one in enumerate(self.behind) if isinstance(one, SampleBlock)]
            if isinstance(item, SampleBlock) and len(blocks) > 1:
                self.behind = self.behind[blocks[1] :]
            self.behind.append(item)
            yield item


_own = threading.local()
"""Of this thread: at most one walk. A cluster's worker may have several threads."""


def walked(task: WalkTask) -> tuple[Walked, ...]:
    """The measure of each stretch of a task."""
    return tuple(_walked(task, stretch) for stretch in task.stretches)


def _walked(task: WalkTask, stretch: Stretch) -> Walked:
    walk = _walk(task, stretch)
    found = measured_stretch(task.plans, walk.onward(), stretch)
    walk.done = stretch.stop
    first = task.plans.measure.insulators[0].id
    tables = [table for step in found.windows for table in step]
    signal_us = sum(int(table.duration_us.sum()) for name, table in tables if name == first)
    text = "".join(window_lines(step) for step in found.windows if step)
    windows = found.windows if task.with_windows else ()
    kept = MeasuredStretch(windows, found.rows, found.captured)
    return Walked(kept, text, sum(len(table) for _, table in tables), signal_us)


def _walk(task: WalkTask, stretch: Stretch) -> _Walk:
    walk: _Walk | None = getattr(_own, "walk", None)
    feed = task.feed
    if walk is None or walk.feed != feed or stretch.start < walk.done:
        if walk is not None:
            walk.held.close()
        held = ExitStack()
        items = held.enter_context(opened_feed(task.paths, task.zone)).items(task.block_samples)
        walk = _own.walk = _Walk(feed, held, items)
    return walk


def leave() -> None:
    """Lets go of this thread's feed and its files."""
    walk: _Walk | None = getattr(_own, "walk", None)
    if walk is not None:
        walk.held.close()
        _own.walk = None


def tasks_of(stretches: Sequence[Stretch], begun: WalkTask) -> Iterator[WalkTask]:
    """Stretches put together into tasks. begun: all else that a task needs."""
    rate_hz = begun.plans.description.rate_hz
    together: list[Stretch] = []
    for stretch in stretches:
        together.append(stretch)
        if sum(one.samples for one in together) >= TASK_SECONDS * rate_hz:
            yield replace(begun, stretches=tuple(together))
            together = []
    if together:
        yield replace(begun, stretches=tuple(together))
