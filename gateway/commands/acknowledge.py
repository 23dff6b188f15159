"""`seafret acknowledge`."""

from __future__ import annotations

import click

from edge.faults import Exit
from gateway.commands.present import act, action_options


@click.command(
    "acknowledge", epilog="Example: seafret acknowledge north-head.17 --by mk --note 'crew called'"
)
@click.argument("alarm_ids", metavar="ID...", nargs=-1, required=True)
@click.option("--note", default="", help="Kept in the journal.")
@action_options
def command(alarm_ids: tuple[str, ...], by: str | None, url: str, as_json: bool, note: str) -> Exit:
    """Says that somebody has seen an alarm. It does not clear it, nor repair anything.

    Several at once only where none is of priority 1. Exit code 64: refused, with the reason.
    """
    ask = {"ids": list(alarm_ids), "by": by, "note": note}
    return act(url, as_json, "acknowledge", ask)
