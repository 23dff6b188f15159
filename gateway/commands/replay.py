"""`seafret replay`."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from edge.faults import Exit

if TYPE_CHECKING:
    from gateway.replay.rows_run import RowsRequest
    from gateway.replay.run import Request


@click.command(
    "replay",
    epilog="Example: seafret replay night.cfg --out results",
)
@click.argument("feeds", nargs=-1, metavar="[FEED...]", type=click.Path(path_type=Path))
@click.option(
    "--out", required=True, metavar="DIR", type=click.Path(path_type=Path), help="For the results."
)
@click.option(
    "--settings",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Settings of the unit; without them each current channel is an insulator.",
)
@click.option(
    "--time-zone",
    metavar="ZONE",
    help="Of records before revision 2013, e.g. Europe/Lisbon or +02:00; else UTC, flagged.",
)
@click.option(
    "--processes",
    default=1,
    show_default=True,
    metavar="N",
    type=click.IntRange(1, 256),
    help="Processes that measure or decide; the results do not depend on it.",
)
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Of a Dask cluster whose workers do it, under the same paths; in place of --processes.",
)
@click.option(
    "--scratch",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Also writes the records of recordings into a history of its own.",
)
@click.option("--captures", is_flag=True, help="Also writes kept waveforms, as DIR/captures/*.cff.")
@click.option("--plot", is_flag=True, help="Also draws pictures into DIR.")
@click.option(
    "--sweep",
    metavar="GRID.toml",
    type=click.Path(path_type=Path),
    help="Instead of a FEED: a grid of limits on a labelled library.",
)
@click.option("--site", metavar="SITE", help="Instead of a FEED: rows of this site's history.")
@click.option("--data", metavar="DIR", type=click.Path(path_type=Path), help="Where it lies.")
@click.option("--unit", metavar="UNIT", help="Of the site, where it has several.")
@click.option("--every-unit", is_flag=True, help="All units of the site, each into DIR/UNIT.")
@click.option("--from", "from_", metavar="TIME", help="Rows from then on.")
@click.option("--to", metavar="TIME", help="Rows before then.")
@click.option(
    "--order",
    type=click.Choice(("event", "arrival")),
    default="event",
    show_default=True,
    help="Of envelopes: by the ends of rows, or as they came.",
)
@click.option("--rate", "rate_hz", metavar="HZ", type=float, help="Of the unit's sampling.")
@click.option("--block-samples", default=262_144, hidden=True, type=click.IntRange(1, 1 << 22))
def command(
    feeds: tuple[Path, ...],
    out: Path,
    settings: Path | None,
    time_zone: str | None,
    processes: int,
    scheduler: str | None,
    scratch: Path | None,
    captures: bool,
    plot: bool,
    sweep: Path | None,
    site: str | None,
    data: Path | None,
    unit: str | None,
    every_unit: bool,
    from_: str | None,
    to: str | None,
    order: str,
    rate_hz: float | None,
    block_samples: int,
) -> Exit:
    """Stored recordings through the very same steps as on the pole.

    FEED is a COMTRADE record (.cfg with its .dat, or .cff), a folder of records, or a .jsonl file
    of raw envelopes, one a line, which go through deciding alone. Writes
    windows.csv, intervals.csv, events.jsonl and run.json into DIR; the same input and settings
    give the same bytes.

    With --site and --data the rows of a history go through deciding alone, in event order: a year
    in a minute. Writes events.jsonl, watched.csv and run.json. With --sweep a grid of limits is
    tried on labelled sites, beside plain limits at the same operator load. A run that was stopped
    goes on where it stood, by the same command. A recording among others that cannot be read is
    named and passed over; the exit code is then 64. A replay only reads; it reaches no alarm list,
    outstation or notice.
    """
    kinds = bool(feeds) + (site is not None) + (sweep is not None)
    if (site is None) != (data is None) or kinds != 1:
        raise click.UsageError("give FEEDs, or --site and --data, or --sweep")
    crew = Crew(processes, scheduler)
    if sweep is not None:
        return _sweep(sweep, out, plot, crew)
    if site is not None and data is not None:
        units = Units(unit, every_unit, crew)
        return _rows(Rows(site, data, units, from_, to, rate_hz), settings, out)
    if any(feed.suffix == ".jsonl" for feed in feeds):
        return _envelopes(feeds, out, order, settings, rate_hz)
    from gateway.replay.run import Request, settings_in
    from gateway.replay.zones import zone_of

    parsed = None if settings is None else settings_in(settings)
    zone = zone_of(time_zone)
    request = Request(
        feeds, parsed, zone, processes, block_samples, captures, plot, scheduler, scratch
    )
    return _recordings(request, out)


@dataclass(frozen=True, slots=True)
class Crew:
    """Who works, as it was typed."""

    processes: int
    scheduler: str | None


def _recordings(request: Request, out: Path) -> Exit:
    import sys
    import time

    from edge.allocator import keep_freed_memory
    from gateway.replay.run import replay, say

    keep_freed_memory()
    begun_s = time.monotonic()
    summary = replay(request, out, sys.stderr if sys.stderr.isatty() else None)
    for text in summary.warnings:
        say(f"warning: {text}")
    for text in summary.cut:
        say(f"cut short: {text}")
    for text in summary.broken:
        say(f"passed over: {text}")
    if summary.broken:
        say(f"{len(summary.broken)} recordings passed over")
    say(
        f"{summary.insulators} insulators, {summary.seconds_of_signal:.1f} s of signal: "
        f"{summary.windows} windows, {summary.intervals} intervals, {summary.events} events "
        f"in {out} ({time.monotonic() - begun_s:.2f} s)"
    )
    return Exit.WRONG_USE if summary.cut or summary.broken else Exit.FINE


def _envelopes(
    feeds: tuple[Path, ...], out: Path, order: str, settings: Path | None, rate_hz: float | None
) -> Exit:
    from gateway.replay.envelopes import replay_envelopes
    from gateway.replay.run import say, settings_in

    if len(feeds) > 1:
        raise click.UsageError("one file of envelopes at a time; put those of a unit together")
    parsed = None if settings is None else settings_in(settings)
    done = replay_envelopes(feeds[0], out, order, parsed, rate_hz)
    for text in done.refused:
        say(f"refused: {text}")
    say(
        f"{done.rows} rows in {order} order, {done.events} events in {out}; "
        f"{done.duplicates} lines had come before, {len(done.refused)} refused"
    )
    return Exit.WRONG_USE if done.refused else Exit.FINE


def _sweep(grid: Path, out: Path, plot: bool, crew: Crew) -> Exit:
    import sys

    from gateway.replay.spreading import opened_workers
    from gateway.replay.sweep_document import PICTURE, sweep_into

    def say(text: str) -> None:
        if sys.stderr.isatty():
            print(text, file=sys.stderr)

    with opened_workers(crew.processes, crew.scheduler) as workers:
        found = sweep_into(grid, grid.parent, out, workers, say)
    if plot:
        from gateway.replay.pictures.sweep_page import write_sweep

        write_sweep(found, out / PICTURE)
    click.echo((out / "sweep.txt").read_text(encoding="utf-8"), nl=False)
    return Exit.WRONG_USE if any(site.broken for site in found.sites) else Exit.FINE


@dataclass(frozen=True, slots=True)
class Units:
    """Which units of a site, and who decides on them."""

    unit: str | None
    every: bool
    crew: Crew


@dataclass(frozen=True, slots=True)
class Rows:
    """Which stored rows, as it was typed."""

    site: str
    data: Path
    units: Units
    from_: str | None
    to: str | None
    rate_hz: float | None


def _rows(asked: Rows, settings: Path | None, out: Path) -> Exit:
    import sys
    import time

    from gateway.commands.stored_site import stored_site
    from gateway.replay.rows_run import RowsRequest, decide_rows
    from gateway.replay.run import say, settings_in
    from gateway.replay.stored_units import UnitRefused, insulators_by_unit, wanted_rows

    parsed = None if settings is None else settings_in(settings)
    begun_s = time.monotonic()
    with stored_site(asked.data, asked.site) as reader:
        try:
            every = asked.units.every and asked.units.unit is None
            names = list(insulators_by_unit(reader)) if every else [asked.units.unit]
            wanted = [wanted_rows(reader, name, asked.from_, asked.to) for name in names]
        except UnitRefused as fault:
            raise click.UsageError(str(fault)) from fault
        requests = [RowsRequest(asked.site, one, parsed, asked.rate_hz) for one in wanted]
        if every:
            return _every_unit(asked, requests, out)
        (request,) = requests
        done = decide_rows(reader, request, out, sys.stderr if sys.stderr.isatty() else None)
    say(
        f"{request.wanted.unit}: {done.rows} rows ({done.stepped} one by one), {done.events} "
        f"events in {out} ({time.monotonic() - begun_s:.2f} s{', went on' if done.resumed else ''})"
    )
    return Exit.FINE if done.rows else Exit.BLIND


def _every_unit(asked: Rows, requests: list[RowsRequest], out: Path) -> Exit:
    import time

    from gateway.replay.run import say
    from gateway.replay.site_run import decide_site
    from gateway.replay.spreading import opened_workers

    begun_s = time.monotonic()
    crew = asked.units.crew
    with opened_workers(crew.processes, crew.scheduler) as workers:
        found = decide_site(workers, asked.data, requests, out, say)
    rows = sum(one.rows for one in found.values())
    events = sum(one.events for one in found.values())
    seconds = time.monotonic() - begun_s
    say(f"{len(found)} units: {rows} rows, {events} events in {out} ({seconds:.2f} s)")
    return Exit.FINE if rows else Exit.BLIND
