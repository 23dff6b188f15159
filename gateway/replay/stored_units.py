"""Which rows of a site's history belong to a unit, and how far they reach."""

from __future__ import annotations

from edge.quantities import INT64_MAX
from gateway.history.loaded import Columns
from gateway.replay.instants import instant_us
from gateway.replay.stored_columns import RowReader, Wanted


class UnitRefused(ValueError):
    """The analyst's: no such unit, or no rows."""


def wanted_rows(
    reader: RowReader,
    unit: str | None,
    from_: str | None,
    to: str | None,
    further: tuple[str, ...] = (),
) -> Wanted:
    """All rows of a unit between two moments. Raises UnitRefused, InstantFault, HistoryFault."""
    own = insulators_by_unit(reader)
    if unit is None and len(own) == 1:
        (unit,) = own
    if unit is None or unit not in own:
        known = ", ".join(sorted(own)) or "none that sent rows"
        what = "--unit is missing" if unit is None else f"--unit is {unit!r}"
        raise UnitRefused(f"{what}; the history has units: {known}")
    extent = reader.live_extent_us(Columns.INTERVAL) or (0, 0)
    start_us = extent[0] if from_ is None else instant_us(from_, "--from")
    end_us = INT64_MAX if to is None else instant_us(to, "--to")
    return Wanted(
        unit,
        tuple(sorted(own[unit])),
        max(start_us, extent[0]),
        min(end_us, extent[1]),
        further,
    )


def insulators_by_unit(reader: RowReader) -> dict[str, list[str]]:
    """Of each unit that sent rows, by name. Raises HistoryFault."""
    own: dict[str, list[str]] = {}
    for latest in reader.latest_intervals():
        own.setdefault(latest.key.unit, []).append(latest.record.insulator)
    return dict(sorted(own.items()))
