"""`seafret decide`."""

from __future__ import annotations

from pathlib import Path

import click

from edge.faults import Exit
from gateway.commands.site_options import site_options

DECISIONS = ("none-indicated", "inspect", "wash", "recoat", "replace", "cannot-decide")


@click.command(
    "decide",
    epilog="Example: seafret decide --site north-head --data history --insulator P3 "
    "--decision wash --by 'M. Keel' --reference WO-1181",
)
@site_options
@click.option("--insulator", required=True, metavar="ID", help="Which one.")
@click.option("--decision", required=True, type=click.Choice(DECISIONS), help="What is to be done.")
@click.option("--by", required=True, metavar="NAME", help="Who decides.")
@click.option("--note", default="", metavar="TEXT", help="Why; kept with the decision.")
@click.option("--reference", default="", metavar="ID", help="A work order.")
def command(
    site: str, data: Path, insulator: str, decision: str, by: str, note: str, reference: str
) -> Exit:
    """Write down what a person decided, beside what the program advises now.

    Lines are added and never changed; a changed mind is a new line. Not possible while
    `seafret serve` holds the data: decide in the console then. `seafret assess --insulator ID`
    shows what was advised, decided, done and found, in order.
    """
    from gateway.commands.one_thread import one_thread

    one_thread()
    from gateway.clock import Clock
    from gateway.commands.stored_site import stored_site
    from gateway.history.lock import hold_data
    from gateway.history.opening import open_history
    from gateway.reading.decisions import write_decision
    from gateway.reading.question import advice_now, asked
    from gateway.reading.register import beside
    from gateway.trends.assessment import Decision
    from gateway.trends.decided import Decided, checked

    with stored_site(data, site) as rows:
        question = asked(rows, site, beside(data, site), None, None)
        if insulator not in question.insulators:
            known = ", ".join(question.insulators)
            raise click.UsageError(f"--insulator is {insulator!r}; the site has {known}")
        decided = checked(
            Decided(
                Clock().utc_us(), insulator, Decision(decision), by, note, reference,
                advice_now(question, insulator),
            )
        )  # fmt: skip
    with hold_data(data, "seafret decide"):
        writer = open_history(data).writer(site)
        try:
            with stored_site(data, site) as rows:
                number = write_decision(rows, writer, decided)
        finally:
            writer.close()
    advised = decided.advised
    beside_it = "nothing" if advised is None else advised.decision.value
    click.echo(
        f"{insulator}: decision {number}, {decision} by {by}; the program advised {beside_it}"
    )
    return Exit.FINE
