"""`seafret thin`."""

from __future__ import annotations

from pathlib import Path

import click

from edge.faults import Exit
from gateway.commands.site_options import check_site, site_options


@click.command("thin", epilog="Example: seafret thin --site north-head --data history")
@site_options
@click.option(
    "--keep-days",
    type=click.IntRange(28, 36_600),
    default=366,
    show_default=True,
    metavar="DAYS",
    help="Minutes of so many days before the newest row stay as they are.",
)
def command(site: str, data: Path, keep_days: int) -> Exit:
    """Old minute rows become ten-minute and hourly rows; their sums stay exactly.

    Peaks stay, flags stay (a tick in which they change has a row for each run), means become means
    of the tick. What alarms are decided on, ten-second rows and single lines, goes: alarms older
    than that cannot be decided again. Younger weeks are copied into columns, so that a year is read
    in seconds. `seafret serve` does the same once a day; this command is
    for data that nobody serves. Done again, it does what is left.
    """
    from gateway.commands.stored_site import stored_site
    from gateway.history.loaded import Columns
    from gateway.history.lock import hold_data
    from gateway.history.opening import open_history
    from gateway.history.retention import DAY_US, PACK_AFTER_DAYS, keep_from_us
    from gateway.reading.site import extent_us

    check_site(site)
    with hold_data(data, "seafret thin"):
        with stored_site(data, site) as rows:
            extent = extent_us(rows, Columns.INTERVAL)
        if extent is None:
            click.echo(f"{site}: no interval rows")
            return Exit.FINE
        writer = open_history(data).writer(site)
        try:
            done = writer.thin(keep_from_us(extent[1], keep_days))
            copied = writer.pack(extent[1] - PACK_AFTER_DAYS * DAY_US)
        finally:
            writer.close()
    weeks = f"{done.weeks} weeks of an insulator"
    click.echo(f"{copied} weeks of an insulator copied into columns, which are read faster")
    click.echo(f"{weeks}: {done.rows_before:,} rows became {done.rows_after:,}")
    return Exit.FINE
