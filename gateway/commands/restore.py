"""`seafret restore`."""

from __future__ import annotations

from pathlib import Path

import click

from edge.faults import Exit
from gateway.commands.site_options import DATA, check_site


@click.command(
    "restore",
    epilog="Example: seafret restore /var/backups/seafret/20270104T020000Z --data history",
)
@click.argument("folder", metavar="BACKUP", type=click.Path(path_type=Path, file_okay=False))
@DATA
@click.option("--site", metavar="SITE", help="Only this site's history, not accounts and others.")
def command(folder: Path, data: Path, site: str | None) -> Exit:
    """A back-up in the place of what is there, which is put aside, never deleted.

    Not possible while `seafret serve` holds the data. Afterwards the units are asked for what the
    back-up lacks; they keep what was receipted for as long as they have room.

    Exit code 69: the back-up is not whole, or the data are held.
    """
    from gateway.clock import Clock
    from gateway.history.backup import SUFFIX, read_backup, restore

    backup = read_backup(folder)
    names = [one.name for one in backup.files]
    if site is not None:
        check_site(site)
        if f"{site}{SUFFIX}" not in names:
            raise click.UsageError(f"--site is {site!r}; the back-up holds {', '.join(names)}")
        names = [f"{site}{SUFFIX}"]
    aside = restore(backup, names, data, Clock().utc_us())
    click.echo(f"{len(names)} files as of {backup.taken} in {data}")
    if aside is not None:
        click.echo(f"what was there is in {aside}")
    return Exit.FINE
