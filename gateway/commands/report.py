"""`seafret report`."""

from __future__ import annotations

from pathlib import Path

import click

from edge.faults import Exit
from gateway.commands.site_options import site_options
from gateway.commands.stored_site import stored_site


@click.command(
    "report",
    epilog="Example: seafret report --site north-head --month 2026-10 --data history "
    "--out october.pdf --out october.html",
)
@site_options
@click.option("--month", required=True, metavar="YYYY-MM", help="In UTC.")
@click.option(
    "--out",
    "outs",
    required=True,
    multiple=True,
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Its ending says the form: .pdf or .html; may be given for both.",
)
@click.option(
    "--register",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="As for trend; else DIR/SITE.register.toml if it is there.",
)
@click.option("--author", default="", metavar="NAME", help="Who answers for it; on the first page.")
def command(
    site: str, data: Path, month: str, outs: tuple[Path, ...], register: Path | None, author: str
) -> Exit:
    """The condition report of a month: a page to decide from, then the evidence.

    A change is judged over the 92 days up to the month's end against the first year of the history
    (or what there is). Beside FILE comes a folder FILE-figures (without the ending) with the
    numbers behind each figure as CSV. Times are UTC.

    Exit code 64: the month has no rows.
    """
    from gateway.commands.one_thread import one_thread

    one_thread()
    from dataclasses import replace

    from gateway.commands.limit_changes import limit_changes
    from gateway.reading.register import beside
    from gateway.report.composing import composed
    from gateway.report.facts import gathered
    from gateway.report.writing import ENDINGS, write_report

    for out in outs:
        if out.suffix not in ENDINGS:
            raise click.UsageError(f"--out is {out}; it must end in {' or '.join(ENDINGS)}")
    if not author.isprintable() or len(author) > 80:
        raise click.UsageError("--author must be printable, at most 80 characters")
    with stored_site(data, site) as rows:
        facts = gathered(rows, site, month, register or beside(data, site))
    changes = limit_changes(data, site, facts.month)
    document = composed(replace(facts, limit_changes=changes), author)
    write_report(document, list(outs))
    figures = sum(1 for _ in document.figures())
    click.echo(f"{', '.join(str(out) for out in outs)}: {figures} figures, their numbers beside")
    return Exit.FINE
