"""`seafret export`."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from edge.faults import Exit
from gateway.commands.site_options import site_options
from gateway.commands.stored_site import stored_site

if TYPE_CHECKING:
    from gateway.exporting.as_csv import CsvSink
    from gateway.exporting.as_parquet import ParquetSink

ENDINGS = (".csv", ".parquet")


@click.command(
    "export", epilog="Example: seafret export --site north-head --data history --out rows.parquet"
)
@site_options
@click.option(
    "--out",
    required=True,
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Its ending says the form: .csv or .parquet.",
)
@click.option("--from", "start", metavar="T", help="UTC date or time; rows that start from then.")
@click.option("--to", "end", metavar="T", help="UTC date or time; rows that start before it.")
def command(site: str, data: Path, out: Path, start: str | None, end: str | None) -> Exit:
    """The interval rows of a site's history, as CSV or Parquet.

    Column names end in their units, times are UTC, numbers are exact decimals; empty (null in
    Parquet) where it was not measured. `origin` says whether a unit sent the row or it was loaded.
    `seafret load` reads the CSV again. Parquet needs pyarrow.

    Exit code 20: there were no rows.
    """
    from gateway.exporting.rows import exported
    from gateway.history.loaded import Columns
    from gateway.reading.site import extent_us, insulators_of

    if out.suffix not in ENDINGS:
        raise click.UsageError(f"--out is {out}; it must end in {' or '.join(ENDINGS)}")
    first, last = _moment("--from", start), _moment("--to", end)
    count = 0
    with stored_site(data, site) as rows, _sink(out) as sink:
        extent = extent_us(rows, Columns.INTERVAL) or (0, 0)
        begin = extent[0] if first is None else max(first, extent[0])
        close = extent[1] if last is None else min(last, extent[1])
        for piece in exported(rows, insulators_of(rows), begin, close):
            sink.take(piece)
            count += piece.start_us.shape[0]
    click.echo(f"{count} rows in {out}")
    return Exit.FINE if count else Exit.BLIND


@contextmanager
def _sink(out: Path) -> Iterator[CsvSink | ParquetSink]:
    """A file that has its name only once it is whole."""
    from gateway.exporting.as_csv import CsvSink
    from gateway.exporting.as_parquet import ParquetSink

    part = out.with_name(f"{out.name}.part")
    try:
        if out.suffix == ".csv":
            with part.open("w", encoding="utf-8", newline="") as stream:
                yield CsvSink(stream)
        else:
            sink = ParquetSink(part)
            yield sink
            sink.end()
        part.replace(out)
    finally:
        part.unlink(missing_ok=True)


def _moment(option: str, text: str | None) -> int | None:
    from gateway.reading.periods import moment_us

    if text is None:
        return None
    try:
        return moment_us(text)
    except ValueError as fault:
        raise click.UsageError(
            f"{option} is {text!r}; it must be UTC like 2026-01-31 or 2026-01-31T12:00:00Z"
        ) from fault
