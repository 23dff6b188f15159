"""What the commands over the gateway's API have in common: options, answer, exit code."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any, TypeVar

import click

from edge.faults import Exit
from gateway.console.alarm_picture import AlarmsTold
from gateway.console.client import (
    DEFAULT_URL,
    GatewayRefused,
    Present,
    ask_gateway,
    fetch_alarms,
    fetch_journal,
    fetch_present,
    has_token,
)

Command = TypeVar("Command", bound=Callable[..., Any])


def present_options(command: Command) -> Command:
    """`--url`, `--site` and `--json`."""
    for option in (
        click.option("--json", "as_json", is_flag=True, help="For scripts: one JSON object."),
        click.option("--site", metavar="SITE", help="Only this site."),
        _url_option(),
    ):
        command = option(command)
    return command


def action_options(command: Command) -> Command:
    """`--by`, `--url` and `--json`."""
    for option in (
        click.option("--json", "as_json", is_flag=True, help="For scripts: one JSON object."),
        click.option(
            "--by",
            metavar="NAME",
            help="Who acts; kept in the journal. Needed where no accounts are in force.",
        ),
        _url_option(),
    ):
        command = option(command)
    return command


def _url_option() -> Callable[[Command], Command]:
    return click.option(
        "--url",
        default=DEFAULT_URL,
        show_default=True,
        envvar="SEAFRET_URL",
        help="Where the gateway's API is.",
    )


def check_url(url: str) -> None:
    """Wrong use where it is no address of an API."""
    if not url.startswith(("http://", "https://")):
        raise click.UsageError(f"--url is {url!r}; it must begin with http:// or https://")


def say(url: str, site: str | None, as_json: bool, text: Callable[[Present], str]) -> Exit:
    """Asks the gateway and prints; 10 where an alarm is in, else 20 where it is blind, else 0."""
    present = _present(url, site)
    click.echo(_json(present) if as_json else text(present))
    if present.alarms_in:
        return Exit.FOUND
    return Exit.BLIND if present.blind else Exit.FINE


def say_alarms(
    url: str, site: str | None, as_json: bool, state: str | None, back_s: int | None
) -> Exit:
    """The alarm list, or with `back_s` the hand-over that looks back so far."""
    from gateway.alarms.states import Shown
    from gateway.console.alarm_text import alarms_text, hand_over_text

    present = _present(url, site)
    told = fetch_alarms(url, site)
    shown = None if state is None else Shown(state)
    if shown is not None and as_json:
        kept = [one for one in told.alarms if one.shown is shown]
        told = AlarmsTold(told.now_us, told.sites, kept)
    if as_json:
        click.echo(_json(told))
    elif back_s is None:
        click.echo(alarms_text(told, present, shown))
    else:
        since = _moment(told.now_us, back_s)
        entries = [entry for one in present.sites for entry in fetch_journal(url, one.site, since)]
        click.echo(hand_over_text(told, present, entries, since))
    if any(one.standing for one in told.sites):
        return Exit.FOUND
    return Exit.BLIND if present.blind else Exit.FINE


def _moment(now_us: int, back_s: int) -> str:
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(
        seconds=max(0, now_us // 1_000_000 - back_s)
    )
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def act(url: str, as_json: bool, action: str, ask: dict[str, Any]) -> Exit:
    """Acts on an alarm and prints how it is shown now; wrong use where it is refused."""
    check_url(url)
    if not ask.get("by"):
        if not has_token():
            raise click.UsageError("--by is missing: who acts? Or set SEAFRET_TOKEN")
        ask = {name: found for name, found in ask.items() if name != "by"}
    try:
        told = ask_gateway(url, action, ask)
    except GatewayRefused as fault:
        raise click.ClickException(str(fault)) from fault
    if as_json:
        click.echo(_json(told))
        return Exit.FINE
    from gateway.console.text import printable

    named = set(ask.get("ids", [])) | {ask.get("id")}
    shown = {one.id: one.shown.value for one in told.alarms if {one.id, one.point} & named}
    for name in sorted(str(one) for one in named if one):
        click.echo(printable(f"{name}: now {shown.get(name, 'normal')}"))
    return Exit.FINE


def _present(url: str, site: str | None) -> Present:
    check_url(url)
    present = fetch_present(url, site)
    if site is not None and not present.sites:
        raise click.UsageError(f"--site is {site!r}; the gateway at {url} has no such site")
    return present


def _json(told: Present | AlarmsTold) -> str:
    from pydantic import TypeAdapter

    return TypeAdapter(type(told)).dump_json(told, indent=1).decode()
