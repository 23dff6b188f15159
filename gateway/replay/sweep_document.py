"""A sweep as a folder: table (text, CSV), JSON, and a manifest to make it again from."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from edge.version import __version__
from gateway.replay.choosing import Line, chosen, fixed_load, lines
from gateway.replay.grid import Point, path_of, read_grid
from gateway.replay.kept_tasks import KeptTasks
from gateway.replay.spreading import Workers
from gateway.replay.sweep_tasks import OURS
from gateway.replay.sweeping import HELD_OUT, Swept, swept

SWEEP_RESULTS = ("sweep.txt", "sweep.csv", "sweep.json", "grid.toml", "run.json")
PICTURE = "sweep.png"
HEADER = (
    "detector", "settings", "part", "events", "missed", "missed_share", "missed_low",
    "missed_high", "lead_median_s", "lead_tenth_s", "alarms", "false_alarms", "alarms_per_month",
    "false_alarms_per_month", "chosen",
)  # fmt: skip
IN_FORCE = "as in force"


def sweep_into(
    grid_path: Path,
    base: Path,
    out: Path,
    workers: Workers | None = None,
    say: Callable[[str], None] = lambda _: None,
) -> Swept:
    """Sweeps by the grid of a file, whose paths are relative to `base`, into the folder `out`. A
    sweep that was stopped goes on with what it had done."""
    text = grid_path.read_text(encoding="utf-8")
    grid = read_grid(text, str(grid_path))
    given = [path_of(base, one.settings).read_bytes() for one in grid.sites if one.settings]
    kept = KeptTasks(out, f"seafret {__version__} {base.resolve()} {text} {given!r}")
    found = swept(grid, base, workers, kept, say)
    out.mkdir(parents=True, exist_ok=True)
    told = lines(found)
    written = {
        "sweep.txt": "\n".join(sweep_lines(found, told)) + "\n",
        "sweep.csv": table_text(told),
        "sweep.json": json.dumps(sweep_document(found, told), indent=2, ensure_ascii=False) + "\n",
        "grid.toml": text,
        "run.json": json.dumps(_manifest(found), indent=2, ensure_ascii=False) + "\n",
    }
    for name, content in written.items():
        (out / f"{name}.part").write_text(content, encoding="utf-8", newline="")
    for name in SWEEP_RESULTS:
        (out / f"{name}.part").replace(out / name)
    kept.forget()
    return found


def point_text(point: Point) -> str:
    """Settings as words."""
    return " ".join(f"{name}={amount}" for name, amount in point) or IN_FORCE


def _s(us: int | None) -> float | None:
    return None if us is None else us / 1e6


def _cells(one: Line) -> dict[str, Any]:
    return dict(
        zip(
            HEADER,
            (
                one.tried.detector, point_text(one.tried.point), one.part, one.missed.of,
                one.missed.count, one.missed.share, one.missed.low, one.missed.high,
                _s(one.lead_median_us), _s(one.lead_tenth_us), one.alarms, one.false,
                one.alarms_per_month, one.false_per_month, one.chosen,
            ),
            strict=True,
        )
    )  # fmt: skip


def table_text(told: list[Line]) -> str:
    """As CSV; empty where nothing can be said."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(HEADER)
    for one in told:
        writer.writerow(["" if cell is None else _plain(cell) for cell in _cells(one).values()])
    return stream.getvalue()


def _plain(cell: object) -> object:
    if isinstance(cell, bool):
        return int(cell)
    return f"{cell:.6g}" if isinstance(cell, float) else cell


def sweep_document(found: Swept, told: list[Line]) -> dict[str, Any]:
    """Everything, as plain JSON."""
    return {
        "load_alarms_per_month": fixed_load(found),
        "load_basis": "alarms that tell arcing, true or not, in a month of one site's watched time",
        "chosen": {name: point_text(tried.point) for name, tried in chosen(found).items()},
        "lines": [_cells(one) for one in told],
    }


def _manifest(found: Swept) -> dict[str, Any]:
    return {
        "kind": "sweep",
        "software": f"seafret {__version__}",
        "settings_sha": found.settings_sha[()],
        "settings_sha_by_point": {
            point_text(point): sha for point, sha in found.settings_sha.items()
        },
        "inputs": [
            {"name": one.name, "sha256": one.digest, "files_sha": one.inputs, "rows": one.rows}
            for one in found.sites
        ],
        "labels": {one.name: one.labels_sha for one in found.sites},
        "held_out_sites": [one.name for one in found.sites if one.held_out],
        "broken": [text for one in found.sites for text in one.broken],
        "insulators": [],
    }


def sweep_lines(found: Swept, told: list[Line]) -> Iterator[str]:
    """For a terminal: the best of each detector at the load, tuning and kept back."""
    yield f"at most {fixed_load(found):.2f} alarms a month of one site, chosen on the tuning part"
    best = [one for one in told if one.chosen]
    yield f"{'':<16}{'part':<10}{'missed':>9}{'95 %':>16}{'lead':>9}{'alarms/month':>14}"
    for one in best:
        yield _best_line(one)
    for one in best:
        if one.part != HELD_OUT:
            yield f"{one.tried.detector}: {point_text(one.tried.point)}"
    if not any(one.part == HELD_OUT for one in told):
        yield "nothing was kept back: these figures flatter; give [hold_out]"
    tried = sum(one.tried.detector == OURS and one.part != HELD_OUT for one in told)
    yield f"{tried} settings of the alarms tried; all of them are in sweep.csv"
    for site in found.sites:
        if site.broken:
            yield f"{site.name}: {len(site.broken)} recordings passed over:"
            yield from (f"  {text}" for text in site.broken)


def _best_line(one: Line) -> str:
    missed = f"{one.missed.count}/{one.missed.of}"
    low, high = one.missed.low, one.missed.high
    share = "-" if low is None or high is None else f"{100 * low:.0f}..{100 * high:.0f}"
    lead = "-" if one.lead_median_us is None else f"{one.lead_median_us / 60e6:.1f} min"
    load = "-" if one.alarms_per_month is None else f"{one.alarms_per_month:.2f}"
    return f"{one.tried.detector:<16}{one.part:<10}{missed:>9}{share:>16}{lead:>9}{load:>14}"
