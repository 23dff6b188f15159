"""`seafret alarms`."""

from __future__ import annotations

import click

from edge.faults import Exit
from gateway.commands.present import present_options, say


@click.command("alarms", epilog="Example: seafret alarms --site north-head")
@present_options
def command(url: str, site: str | None, as_json: bool) -> Exit:
    """The alarm conditions that are in, or cannot be told, from a running gateway.

    Exit code 10: an alarm is in; 20: something is blind or stale; 69: no gateway answers.
    """
    from gateway.console.text import alarms_text

    return say(url, site, as_json, alarms_text)
