"""One comparison of a site: which rows, which periods, and what is known besides."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from edge.wire import Refused
from gateway.history.loaded import Columns, LoadedRows
from gateway.reading.notes import dead_spans, maintenance_rows, seen_on
from gateway.reading.periods import asked_period, compared_periods
from gateway.reading.register import Register, read_register
from gateway.reading.site import InsulatorRows, extent_us, insulators_of, weather_columns
from gateway.trends.change import SiteTrend, compare_periods
from gateway.trends.columns import MaintenanceRow, Period, SiteColumns, WeatherColumns
from gateway.trends.decided import Advised, advised_by


@dataclass(frozen=True, slots=True)
class Question:
    """rows: an open reader. insulators: by name."""

    rows: LoadedRows
    site: str
    insulators: tuple[str, ...]
    register: Register
    reference: Period
    now: Period
    maintenance: tuple[MaintenanceRow, ...]

    @property
    def span(self) -> Period:
        """From the beginning of the earlier to the end of the later period."""
        return Period(
            min(self.reference.from_us, self.now.from_us), max(self.reference.to_us, self.now.to_us)
        )

    def columns(self) -> SiteColumns:
        """The insulators' rows, each read when it is looked at."""
        rows = InsulatorRows(self.rows, self.span, dead=dead_spans(self.rows))
        return SiteColumns(self.site, rows, self.register.coast_bearing_deg)

    def weather(self) -> WeatherColumns | None:
        """The site's weather, None where there is none."""
        return weather_columns(self.rows, self.span)


def asked(
    rows: LoadedRows, site: str, register: Path | None, reference: str | None, now: str | None
) -> Question:
    """The question with what was left open filled in. Raises Refused, SettingsError, OSError."""
    extent = extent_us(rows, Columns.INTERVAL)
    if extent is None:
        raise Refused(
            "no-rows", f"site {site!r} has no interval rows; load some, or let units send"
        )
    periods = compared_periods(
        extent,
        None if reference is None else asked_period("--reference", reference),
        None if now is None else asked_period("--now", now),
    )
    known = Register() if register is None else read_register(register)
    names = tuple(insulators_of(rows))
    return Question(rows, site, names, known, *periods, maintenance_rows(rows))


def answered(question: Question) -> SiteTrend:
    """The comparison."""
    return compare_periods(
        question.columns(),
        question.weather(),
        question.register.entries(),
        question.reference,
        question.now,
        question.maintenance,
        seen=seen_on(question.rows, question.maintenance),
    )


def advice_now(question: Question, insulator: str) -> Advised | None:
    """What the program advises for one insulator, as it is written down beside a decision."""
    trend = answered(question)
    found = [one for one in trend.insulators if one.insulator == insulator]
    return advised_by(trend, found[0]) if found else None
