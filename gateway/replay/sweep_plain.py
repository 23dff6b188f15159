"""What tasks of a sweep gave, as plain JSON and back, for a sweep that is stopped."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from edge.records import HealthRow, IntervalRow, WeatherRow
from edge.wire import body_line, read_checked
from gateway.replay.grid import Point
from gateway.replay.occurrences import Occurrence
from gateway.replay.sweep_sites import Recorded
from gateway.replay.sweep_tasks import SiteTrials, Tried


def recorded_to_plain(found: Recorded) -> dict[str, Any]:
    """Rows as their canonical lines."""
    return {
        "rows": [body_line(row).decode() for row in found.rows],
        "names": found.names,
        "rate_hz": found.rate_hz,
        "broken": found.broken,
        "inputs": found.inputs,
    }


def recorded_from_plain(plain: dict[str, Any]) -> Recorded:
    """What `recorded_to_plain` wrote."""
    rows = []
    for line in plain["rows"]:
        row = read_checked(line.encode())
        assert isinstance(row, IntervalRow | WeatherRow | HealthRow)
        rows.append(row)
    inputs = tuple((name, sha) for name, sha in plain["inputs"])
    return Recorded(
        tuple(rows), tuple(plain["names"]), plain["rate_hz"], tuple(plain["broken"]), inputs
    )


def trials_to_plain(found: SiteTrials) -> dict[str, Any]:
    """Points as lists of pairs."""
    return {
        "insulators": found.insulators,
        "rows": found.rows,
        "digest": found.digest,
        "watched": found.watched,
        "shas": list(found.shas.items()),
        "tried": [
            (one.detector, one.point, [asdict(alarm) for alarm in alarms])
            for one, alarms in found.tried.items()
        ],
    }


def trials_from_plain(plain: dict[str, Any]) -> SiteTrials:
    """What `trials_to_plain` wrote."""
    return SiteTrials(
        tuple(plain["insulators"]),
        plain["rows"],
        plain["digest"],
        {name: tuple((a, b) for a, b in spans) for name, spans in plain["watched"].items()},
        {_point(point): sha for point, sha in plain["shas"]},
        {
            Tried(detector, _point(point)): [Occurrence(**alarm) for alarm in alarms]
            for detector, point, alarms in plain["tried"]
        },
    )


def _point(plain: list[list[Any]]) -> Point:
    return tuple((name, amount) for name, amount in plain)
