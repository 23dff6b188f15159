"""`seafret hand-over`."""

from __future__ import annotations

import click

from edge.faults import Exit
from gateway.commands.present import check_url, present_options, say_alarms


@click.command("hand-over", epilog="Example: seafret hand-over --since 12h > shift.txt")
@click.option(
    "--since",
    metavar="DURATION",
    default="8h",
    show_default=True,
    help="How far it looks back, as 90min, 8h or 2d.",
)
@present_options
def command(url: str, site: str | None, as_json: bool, since: str) -> Exit:
    """The text for the next shift: what stands, what is put aside, what is not watched, what was
    done.

    Exit code 10: an alarm stands; 20: something is blind or stale; 69: no gateway answers.
    """
    from gateway.commands.durations import duration_s

    check_url(url)
    return say_alarms(url, site, as_json, None, duration_s("--since", since))
