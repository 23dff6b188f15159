"""Several weather or health records of a while into one; interval rows have `combining`.

Sums (rain, samples) add exactly. Means are weighted with duration and rounded to the nearest unit,
halves upwards; the wind's direction is that of the windiest record, for directions are not
averaged. Of what a health record counts or measures the worst is kept: a dip of the supply or a
failure must not vanish in a mean.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from edge.records import HealthRow, Letter, WeatherRow

_LETTERS = (
    Letter.FAILURE,
    Letter.CHECK,
    Letter.OUT_OF_SPECIFICATION,
    Letter.MAINTENANCE,
    Letter.GOOD,
)
"""Worst first."""


def combine_weather(rows: Sequence[WeatherRow]) -> WeatherRow:
    """One record over all of them, in order of time; rain is said by all or by none."""

    def mean(of: Callable[[WeatherRow], int | None]) -> int | None:
        said = [(max(1, row.duration_us), units) for row in rows if (units := of(row)) is not None]
        below = sum(weight for weight, _ in said)
        return (2 * sum(w * units for w, units in said) + below) // (2 * below) if said else None

    rain = [row.rain_um for row in rows if row.rain_um is not None]
    windiest = max(rows, key=lambda row: -1 if row.wind_mm_s is None else row.wind_mm_s)
    return WeatherRow(
        start_us=rows[0].start_us,
        duration_us=sum(row.duration_us for row in rows),
        rh_cpct=mean(lambda row: row.rh_cpct),
        air_cdegc=mean(lambda row: row.air_cdegc),
        dew_point_cdegc=mean(lambda row: row.dew_point_cdegc),
        rain_um=sum(rain) if rain else None,
        wind_mm_s=mean(lambda row: row.wind_mm_s),
        wind_from_cdeg=windiest.wind_from_cdeg,
        uv_mw_m2=mean(lambda row: row.uv_mw_m2),
        flags=_united(row.flags for row in rows),
    )


def combine_health(rows: Sequence[HealthRow]) -> HealthRow:
    """One record over all of them, in order of time; what is not worst or summed is the last's."""
    last = rows[-1]
    return replace(
        last,
        start_us=rows[0].start_us,
        duration_us=sum(row.duration_us for row in rows),
        clock_synchronised=all(row.clock_synchronised for row in rows),
        clock_error_us=_worst(max, (row.clock_error_us for row in rows)),
        storage_free_ppm=min(row.storage_free_ppm for row in rows),
        backlog=max(row.backlog for row in rows),
        samples=sum(row.samples for row in rows),
        supply_mv=_worst(min, (row.supply_mv for row in rows)),
        enclosure_cdegc=_worst(max, (row.enclosure_cdegc for row in rows)),
        noise_na=_quietest(rows),
        certificate_days=_worst(min, (row.certificate_days for row in rows)),
        letter=min((row.letter for row in rows), key=_LETTERS.index),
        reasons=_united(row.reasons for row in rows),
        flags=_united(row.flags for row in rows),
    )


def _worst(of: Callable[[list[int]], int], units: Iterable[int | None]) -> int | None:
    said = [one for one in units if one is not None]
    return of(said) if said else None


def _quietest(rows: Sequence[HealthRow]) -> dict[str, int]:
    names = sorted({name for row in rows for name in row.noise_na})
    return {name: min(row.noise_na[name] for row in rows if name in row.noise_na) for name in names}


def _united(words: Iterable[tuple[str, ...]]) -> tuple[str, ...]:
    return tuple(sorted({word for some in words for word in some}))
