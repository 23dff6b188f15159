"""What the commands over a site's stored history, or over a gateway's settings, have in common."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

Command = TypeVar("Command", bound=Callable[..., Any])

_SITE = re.compile(r"[a-z0-9-]{1,32}")


DATA = click.option(
    "--data",
    required=True,
    metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="The folder of the histories.",
)
GATEWAY_SETTINGS = click.option(
    "--settings",
    "path",
    required=True,
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The gateway's settings, TOML.",
)


def site_options(command: Command) -> Command:
    """`--site` and `--data`."""
    for option in (
        DATA,
        click.option("--site", required=True, metavar="SITE", help="The site's short name."),
    ):
        command = option(command)
    return command


def check_site(site: str) -> None:
    """Wrong use where it cannot be a site's name."""
    if not _SITE.fullmatch(site):
        raise click.UsageError(f"--site is {site!r}; it must be 1 to 32 of a-z, 0-9 and '-'")
