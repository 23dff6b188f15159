"""Bytes that an insulator's minutes take: as units sent them, and thinned."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np

from edge.records import IntervalRow
from gateway.history.chunks import WEEK_US
from gateway.history.sqlite_store import SqliteHistory
from tests.bench.timing import Figure, cpu_s, figure
from tests.gateway.build import MINUTE_US, START_US, commit, interval

SITE = "north-head"
WEEKS = 2
MINUTES = WEEKS * 7 * 24 * 60
YEAR_MINUTES = 365 * 24 * 60
FIRST_US = (START_US // WEEK_US + 1) * WEEK_US
COMMIT_ROWS = 200


def keeping(folder: Path) -> list[Figure]:
    """One insulator, two weeks in which every minute is wet and differs, which packs worst."""
    folder.mkdir(exist_ok=True)
    history = SqliteHistory(folder)
    rows = _rows()
    writer = history.writer(SITE)
    for first in range(0, MINUTES, COMMIT_ROWS):
        writer.append(commit(first + 1, rows[first : first + COMMIT_ROWS]))
    writer.close()
    live = (folder / f"{SITE}.sqlite3").stat().st_size
    writer = history.writer(SITE)
    writer.pack(1 << 61)
    copies = sum(size for _, _, _, size in writer.sizes())
    spent_s = cpu_s(lambda: writer.thin(FIRST_US + (WEEKS + 1) * WEEK_US))
    packed = sum(size for _, _, _, size in writer.sizes())
    writer.close()
    year = YEAR_MINUTES / MINUTES / 1e6
    return [
        figure("keeping", "an insulator-year of minutes as sent", "MB", [live * year]),
        figure("keeping", "besides, its copy in columns", "MB", [copies * year]),
        figure("keeping", "thinned: ten-minute and hourly rows", "MB", [packed * year]),
        figure("keeping", "thinning a week of an insulator", "s", [spent_s / WEEKS]),
    ]


def _rows() -> list[IntervalRow]:
    draw = np.random.default_rng(1)
    found = []
    for k in range(MINUTES):
        size = float(np.exp(draw.normal(0.0, 0.5)))
        arcing = int(draw.integers(0, 300))
        changes = {
            "rms_na": int(3e6 * size),
            "peak_ua": int(9e3 * size),
            "h1_na": int(2.9e6 * size),
            "in_phase_na": int(2.5e6 * size),
            "quadrature_na": int(1e6 * draw.random()),
            "charge_nc": (int(8e7 * size), int(8e7 * size * draw.random())),
            "arcing_charge_nc": (int(1e5 * arcing), int(9e4 * arcing * draw.random())),
            "i2t_pa2s": (int(3e8 * size**2), int(3e8 * draw.random())),
            "arcing_i2t_pa2s": (int(1e6 * arcing), int(1e6 * draw.random())),
            "energy_uj": (int(1e6 * size), int(1e6 * draw.random())),
            "arcing_halfcycles": arcing,
            "flags": (),
        }
        row = interval(k, start_us=FIRST_US + k * MINUTE_US, start_counter=600_000 * k)
        found.append(dataclasses.replace(row, **changes))
    return found
