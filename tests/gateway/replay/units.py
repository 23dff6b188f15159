"""A site of several units in a history, each with a story of its own."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from edge.records import HealthRow, IntervalRow, Stream, WeatherRow
from edge.wire import body_line
from gateway.history.sqlite_store import SqliteHistory
from tests.gateway.build import commit, key
from tests.gateway.replay.stories import told

SITE = "shingle-spit"
COUNT = 6


def write_units(folder: Path, minutes: int = 200) -> Path:
    """Each unit's insulators have names of their own, as at a real site."""
    writer = SqliteHistory(folder).writer(SITE)
    for number in range(COUNT):
        unit = f"{SITE}.m{number}"
        rows = [
            replace(row, insulator=f"{number}-{row.insulator}")
            if isinstance(row, IntervalRow)
            else row
            for row in told(40 + number, minutes)
        ]
        kept = list({body_line(row): row for row in rows}.values())
        for stream, kind in (
            (Stream.INTERVAL, IntervalRow),
            (Stream.WEATHER, WeatherRow),
            (Stream.HEALTH, HealthRow),
        ):
            own = [row for row in kept if isinstance(row, kind)]
            writer.append(commit(1, own, key(stream=stream, unit=unit)))
    writer.close()
    return folder


def tree(folder: Path) -> dict[str, bytes]:
    """Every file below a folder."""
    paths = sorted(path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): path.read_bytes() for path in paths}
