"""What `status` and `alarms` have in common: their options, their answer, their exit code."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from edge.faults import Exit
from gateway.console.client import DEFAULT_URL, Present, fetch_present

Command = TypeVar("Command", bound=Callable[..., Any])


def present_options(command: Command) -> Command:
    """`--url`, `--site` and `--json`."""
    for option in (
        click.option("--json", "as_json", is_flag=True, help="For scripts: one JSON object."),
        click.option("--site", metavar="SITE", help="Only this site."),
        click.option(
            "--url",
            default=DEFAULT_URL,
            show_default=True,
            envvar="SEAFRET_URL",
            help="Where the gateway's API is.",
        ),
    ):
        command = option(command)
    return command


def say(url: str, site: str | None, as_json: bool, text: Callable[[Present], str]) -> Exit:
    """Asks the gateway and prints; 10 where an alarm is in, else 20 where it is blind, else 0."""
    if not url.startswith(("http://", "https://")):
        raise click.UsageError(f"--url is {url!r}; it must begin with http:// or https://")
    present = fetch_present(url, site)
    if site is not None and not present.sites:
        raise click.UsageError(f"--site is {site!r}; the gateway at {url} has no such site")
    click.echo(_json(present) if as_json else text(present))
    if present.alarms_in:
        return Exit.FOUND
    return Exit.BLIND if present.blind else Exit.FINE


def _json(present: Present) -> str:
    from pydantic import TypeAdapter

    return TypeAdapter(Present).dump_json(present, indent=1).decode()
