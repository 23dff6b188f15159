"""Keeps of a replay, as it goes by, what its pictures are drawn from; bounded for any length."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from edge.measure.raw_rows import Trigger
from edge.measure.windows import WindowTable, joined
from edge.pipeline import Outputs
from edge.records import Capture, CapturePart, IntervalRow, Span
from gateway.replay.capture_files import whole_captures
from gateway.replay.pictures.series import Series, of_minutes, of_windows

WINDOWS_MAX = 18_000
"""An hour of windows for each insulator; a longer feed is drawn from its minutes."""

WAVEFORMS_MAX = 3
"""So many waveforms stand on a page: of each trigger the newest, the weightiest triggers first."""

_WEIGHT = {trigger.value: place for place, trigger in enumerate(Trigger)}


@dataclass(frozen=True, slots=True, eq=False)
class Story:
    """What one insulator's picture shows. is_minutes: of a long feed. waveforms: in time order."""

    insulator: str
    series: Series
    is_minutes: bool
    waveforms: tuple[tuple[Capture, bytes], ...]


@dataclass(slots=True, eq=False)
class Gathering:
    """Filled by `take`, output by output; the shell's own, and emptied by `stories`."""

    insulators: tuple[str, ...]
    tables: dict[str, list[WindowTable]] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)
    minutes: dict[str, list[IntervalRow]] = field(default_factory=dict)
    waveforms: dict[str, dict[str, tuple[Capture, bytes]]] = field(default_factory=dict)

    def take(self, outputs: Outputs) -> None:
        """What a step gave."""
        for insulator, table in outputs.windows:
            self.counts[insulator] = self.counts.get(insulator, 0) + len(table)
            if self.counts[insulator] <= WINDOWS_MAX:
                self.tables.setdefault(insulator, []).append(table)
            else:
                self.tables.pop(insulator, None)
        for record in outputs.records:
            if isinstance(record, IntervalRow) and record.span is Span.MINUTE:
                self.minutes.setdefault(record.insulator, []).append(record)
        self._take_waveforms(outputs.records)

    def _take_waveforms(self, records: Iterable[object]) -> None:
        own = [one for one in records if isinstance(one, Capture | CapturePart)]
        for manifest, content in whole_captures(own):
            self.waveforms.setdefault(manifest.insulator, {})[manifest.trigger] = (
                manifest,
                content,
            )

    def stories(self) -> Iterable[Story]:
        """One for each insulator that has anything to show."""
        for insulator in self.insulators:
            tables = self.tables.get(insulator)
            rows = self.minutes.get(insulator, [])
            if not tables and not rows:
                continue
            series = of_windows(joined(tables)) if tables else of_minutes(rows)
            yield Story(insulator, series, not tables, self.telling(insulator))

    def telling(self, insulator: str) -> tuple[tuple[Capture, bytes], ...]:
        """The weightiest waveforms that a page has room for, in order of time."""
        found = sorted(
            self.waveforms.get(insulator, {}).values(), key=lambda one: -_WEIGHT[one[0].trigger]
        )
        return tuple(sorted(found[:WAVEFORMS_MAX], key=lambda one: one[0].trigger_us))
