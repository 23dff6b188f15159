"""Stored rows of several units of a site, each a task of its own with a folder of its own.

A unit is decided on from its first row to its last, since a row changes what the next one means,
and all of its insulators together, since current in dry air is told by the neighbours. So units are
what is spread; each keeps its progress week by week in its own folder.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path

from gateway.history.opening import open_history
from gateway.replay.progress import end_progress, keep_progress, kept_progress
from gateway.replay.rows_run import RowsRequest, RowsSummary, decide_rows, identity_of, plan_of
from gateway.replay.spreading import Workers
from gateway.replay.stored_columns import RowReader

UNITS = "units.json"
"""Beside the folders: what came of each unit."""


@dataclass(frozen=True, slots=True)
class UnitTask:
    """A unit's rows, the folder of the histories and the one for results, by whole paths."""

    data: str
    out: str
    request: RowsRequest


def decided_unit(task: UnitTask) -> RowsSummary:
    """Decides on a unit, or goes on with it. Raises SettingsError, HistoryFault, OSError."""
    with opened_site(Path(task.data), task.request.site) as reader:
        return decide_rows(reader, task.request, Path(task.out))


@contextmanager
def opened_site(data: Path, site: str) -> Iterator[RowReader]:
    """A reader of a site while the block runs. Raises HistoryFault."""
    reader = open_history(data).reader(site)
    try:
        yield reader
    finally:
        reader.close()


def decide_site(
    workers: Workers,
    data: Path,
    requests: Sequence[RowsRequest],
    out: Path,
    say: Callable[[str], None] = lambda _: None,
) -> dict[str, RowsSummary]:
    """Decides each unit into a folder of its name in `out`; units that are done already, by the
    same request that was stopped, are passed over. Raises as `decided_unit`, WorkersLost."""
    out.mkdir(parents=True, exist_ok=True)
    identity = {"units": [identity_of(one, plan_of(one)[1]) for one in requests]}
    kept = kept_progress(out, identity) or {"done": {}}
    done = {unit: RowsSummary(**plain) for unit, plain in kept["done"].items()}
    left = [one for one in requests if one.wanted.unit not in done]
    tasks = [
        UnitTask(str(data.resolve()), str((out / one.wanted.unit).resolve()), one) for one in left
    ]
    for task, summary in zip(tasks, workers.results(decided_unit, tasks), strict=True):
        unit = task.request.wanted.unit
        done[unit] = summary
        keep_progress(out, identity, {"done": {name: asdict(one) for name, one in done.items()}})
        say(f"{unit}: {summary.rows} rows, {summary.events} events ({len(done)}/{len(requests)})")
    in_order = {one.wanted.unit: done[one.wanted.unit] for one in requests}
    told = {unit: {"rows": one.rows, "events": one.events} for unit, one in in_order.items()}
    (out / UNITS).write_text(json.dumps(told, indent=2) + "\n", encoding="utf-8")
    end_progress(out)
    return in_order
