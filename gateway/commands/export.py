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
    type=click.Path(path_type=Path),
    help="Its ending says the form: .csv, .parquet or .jsonl; a folder with --captures.",
)
@click.option("--unit", metavar="UNIT", help="Of a .jsonl, where the site has several.")
@click.option("--captures", is_flag=True, help="Captured waveforms instead, as COMTRADE .cff.")
@click.option("--from", "start", metavar="T", help="UTC date or time; rows that start from then.")
@click.option("--to", "end", metavar="T", help="UTC date or time; rows that start before it.")
def command(
    site: str,
    data: Path,
    out: Path,
    unit: str | None,
    captures: bool,
    start: str | None,
    end: str | None,
) -> Exit:
    """The interval rows of a site's history, as CSV or Parquet.

    Column names end in their units, times are UTC, numbers are exact decimals; empty (null in
    Parquet) where it was not measured. `origin` says whether a unit sent the row or it was loaded.
    `seafret load` reads the CSV again. Parquet needs pyarrow. FILE.json beside it has units,
    meaning and the SHA-256. With --captures the waveforms triggered in the time, and captures.csv
    with the hash of each. With a FILE.jsonl all lines of a unit as the envelopes in which they
    came, which `seafret replay` reads.

    Exit code 20: there was nothing.
    """
    from gateway.exporting.manifest import write_manifest
    from gateway.exporting.rows import exported
    from gateway.history.loaded import Columns
    from gateway.reading.site import extent_us, insulators_of

    if captures:
        return _captures(site, data, out, _moment("--from", start), _moment("--to", end))
    if out.suffix == ".jsonl":
        return _envelopes(site, data, out, unit)
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
    write_manifest(out, site, count)
    click.echo(f"{count} rows in {out}")
    return Exit.FINE if count else Exit.BLIND


def _envelopes(site: str, data: Path, out: Path, unit: str | None) -> Exit:
    from gateway.exporting.envelopes import UnitsFault, unit_of, write_envelopes

    with stored_site(data, site) as reader:
        try:
            chosen = unit_of(reader, unit)
        except UnitsFault as fault:
            raise click.UsageError(str(fault)) from fault
        count = write_envelopes(reader, chosen, out)
    click.echo(f"{count} lines in {out}")
    return Exit.FINE if count else Exit.BLIND


def _captures(site: str, data: Path, out: Path, first: int | None, last: int | None) -> Exit:
    from edge.quantities import INT64_MAX
    from gateway.exporting.waveforms import write_captures

    with stored_site(data, site) as reader:
        begin, close = first or 0, INT64_MAX if last is None else last
        written, missing = write_captures(reader, out, begin, close)
    click.echo(f"{written} waveforms in {out}" + f", {missing} not whole yet" * bool(missing))
    return Exit.FINE if written else Exit.BLIND


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
