"""`seafret move`."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from contextlib import closing
from typing import TYPE_CHECKING

import click

from edge.faults import Exit

if TYPE_CHECKING:
    from gateway.history.moving import Compared

PROGRAM = "seafret move"


@click.command(
    "move",
    epilog="Example: seafret move history postgresql://seafret@db.example/seafret",
)
@click.argument("source", metavar="FROM")
@click.argument("target", metavar="TO")
@click.option("--site", "sites", multiple=True, metavar="SITE", help="Only this one; repeatable.")
def command(source: str, target: str, sites: tuple[str, ...]) -> Exit:
    """Moves the histories of sites between a folder of files and a PostgreSQL database.

    FROM and TO are folders or addresses (postgresql://...); a password comes from PGPASSFILE or
    PGPASSWORD. FROM is only read and stays as it is. Stop the gateway first. A move that was cut
    goes on when it is run again. At the end every table of both is read and compared: rows, a hash
    of all of them, and exact sums. TO must hold nothing of a site that is moved to it.

    Exit code 10: something differs; run it again, and keep FROM.
    """
    from gateway.history.moving import move_site, sums_of
    from gateway.history.opening import history_at
    from gateway.history.store import GATEWAY_SITE

    told = sys.stderr.isatty()

    def progress(table: str, rows: int) -> None:
        if told:
            click.echo(f"\r{table}: {rows:,} rows  ", nl=False, err=True)

    same = True
    with history_at(source, PROGRAM) as from_, history_at(target, PROGRAM) as to:
        there = from_.sites()
        for site in sites or (*there, GATEWAY_SITE):
            if site not in (*there, GATEWAY_SITE):
                raise click.UsageError(f"--site is {site!r}; {source} has {', '.join(there)}")
            compared = move_site(from_, to, site, progress)
            with closing(from_.reader(site)) as before, closing(to.reader(site)) as after:
                sums = sums_of(before), sums_of(after)
            _say(site, compared, *sums)
            same = same and all(one.same for one in compared) and sums[0] == sums[1]
    return Exit.FINE if same else Exit.FOUND


def _say(
    site: str, compared: Sequence[Compared], before: Mapping[str, int], after: Mapping[str, int]
) -> None:
    click.echo(f"{site}:")
    for one in compared:
        if one.rows != (0, 0):
            verdict = "the same" if one.same else f"DIFFERS from {one.rows[1]:,} rows there"
            click.echo(f"  {one.name:18}{one.rows[0]:>12,} rows  {one.sha256[1][:16]}  {verdict}")
    for name, total in before.items():
        if total or after[name]:
            verdict = "the same" if total == after[name] else f"DIFFERS: {after[name]}"
            click.echo(f"  sum of {name:26}{total:>22}  {verdict}")
