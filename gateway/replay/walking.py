"""A worker's own walk through a feed: stretches come in order, so it only ever goes on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import tzinfo
from pathlib import Path

from edge.allocator import keep_freed_memory
from edge.samples import SampleBlock, SourceItem
from gateway.replay.feeds import opened_feed
from gateway.replay.player import MeasuredStretch, Plans, Stretch, measured_stretch


@dataclass(slots=True)
class Walk:
    """Where one worker stands.

    ahead: what has not been taken from the feed. behind: the last two blocks taken and the anchors
    among them, since a block may belong to two stretches.
    """

    plans: Plans
    ahead: Iterator[SourceItem]
    behind: list[SourceItem] = field(default_factory=list)

    def measured(self, stretch: Stretch) -> MeasuredStretch:
        """The measure of a stretch that lies after all before it."""
        return measured_stretch(self.plans, self._onward(), stretch)

    def _onward(self) -> Iterator[SourceItem]:
        yield from list(self.behind)
        for item in self.ahead:
            blocks = [i for i, one in enumerate(self.behind) if isinstance(one, SampleBlock)]
            if isinstance(item, SampleBlock) and len(blocks) > 1:
                self.behind = self.behind[blocks[1] :]
            self.behind.append(item)
            yield item


_walks: list[Walk] = []
"""Of this worker process: at most one, begun with it."""


def begin(plans: Plans, paths: Sequence[Path], zone: tzinfo | None, block_samples: int) -> None:
    """Opens the feed in a worker; it stays open as long as the process lives."""
    keep_freed_memory()
    feed = ExitStack().enter_context(opened_feed(paths, zone))
    _walks.append(Walk(plans, feed.items(block_samples)))


def walked(stretch: Stretch) -> MeasuredStretch:
    """The measure of a stretch, in a worker that has begun."""
    (walk,) = _walks
    return walk.measured(stretch)
