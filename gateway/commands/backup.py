"""`seafret backup`."""

from __future__ import annotations

from pathlib import Path

import click

from edge.faults import Exit
from gateway.commands.site_options import DATA


@click.command(
    "backup", epilog="Example: seafret backup --data history --out /var/backups/seafret --keep 14"
)
@DATA
@click.option(
    "--out",
    required=True,
    metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="Gets a new folder, named by the time in UTC.",
)
@click.option(
    "--keep",
    type=click.IntRange(1, 10_000),
    metavar="N",
    help="Take away all but the newest N back-ups; without it none goes.",
)
def command(data: Path, out: Path, keep: int | None) -> Exit:
    """All sites' histories, accounts and journals, while the gateway runs.

    Each file is copied as it was at one moment, checked, and listed with its SHA-256. Copy the
    folder to another machine: a back-up beside the original goes with it.
    """
    from gateway.clock import Clock
    from gateway.history.backup import back_up, prune
    from gateway.history.opening import address_in

    made = back_up(data, out, Clock().utc_us())
    size_mb = sum(one.size_bytes for one in made.files) / 1e6
    click.echo(f"{len(made.files)} files, {size_mb:.1f} MB in {made.folder}")
    if (address := address_in(data)) is not None:
        click.echo(f"the histories are not among them: they lie in {address}; back that up, too")
    for gone in prune(out, keep) if keep is not None else []:
        click.echo(f"taken away: {gone}")
    return Exit.FINE
