"""`seafret status`."""

from __future__ import annotations

import click

from edge.faults import Exit
from gateway.commands.present import present_options, say


@click.command("status", epilog="Example: seafret status --url http://127.0.0.1:8710 --json")
@present_options
def command(url: str, site: str | None, as_json: bool) -> Exit:
    """What each unit and insulator does now, from a running gateway.

    Exit code 10: an alarm is in; 20: something is blind or stale; 69: no gateway answers.
    """
    from gateway.console.text import status_text

    return say(url, site, as_json, status_text)
