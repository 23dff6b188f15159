"""`seafret alarms`."""

from __future__ import annotations

import click

from edge.faults import Exit
from gateway.commands.present import check_url, present_options, say_alarms

STATES = (
    "new",
    "acknowledged",
    "cleared",
    "latched-new",
    "latched",
    "shelved",
    "suppressed",
    "out-of-service",
)


@click.command("alarms", epilog="Example: seafret alarms --site north-head --hand-over")
@click.option(
    "--state",
    metavar="STATE",
    type=click.Choice(STATES),
    help=f"Only alarms in this state: {', '.join(STATES)}.",
)
@click.option("--hand-over", is_flag=True, help="The text for the next shift.")
@click.option(
    "--since",
    metavar="DURATION",
    default="8h",
    show_default=True,
    help="How far the hand-over looks back, as 90min, 8h or 2d.",
)
@present_options
def command(
    url: str, site: str | None, as_json: bool, state: str | None, hand_over: bool, since: str
) -> Exit:
    """The alarm list of a running gateway: what calls, what stands, what is put aside.

    Exit code 10: an alarm stands; 20: something is blind or stale; 69: no gateway answers.
    """
    from gateway.commands.durations import duration_s

    check_url(url)
    back_s = duration_s("--since", since)
    return say_alarms(url, site, as_json, state, back_s if hand_over else None)
