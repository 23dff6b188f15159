"""`seafret shelve`."""

from __future__ import annotations

import click

from edge.faults import Exit
from gateway.commands.durations import duration_s
from gateway.commands.present import act, action_options


@click.command(
    "shelve",
    epilog="Example: seafret shelve north-head.17 --for 1h --reason 'crew on site' --by mk",
)
@click.argument("alarm_id", metavar="ID")
@click.option("--for", "lasting", default="1h", show_default=True, metavar="DURATION")
@click.option("--reason", required=True, help="Kept in the journal.")
@click.option("--second", default="", metavar="NAME", help="A second person, for priority 1.")
@action_options
def command(
    alarm_id: str, lasting: str, reason: str, second: str, by: str | None, url: str, as_json: bool
) -> Exit:
    """Puts an alarm aside for a time: 12 h at most, 1 h with a second person at priority 1.

    It is still judged and still in the journal, and calls again when the time is up and it stands.
    Exit code 64: refused, with the reason.
    """
    ask = {
        "id": alarm_id,
        "for_s": duration_s("--for", lasting),
        "reason": reason,
        "second": second,
        "by": by,
    }
    return act(url, as_json, "shelve", ask)
