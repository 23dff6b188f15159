"""`seafret limits`: limits of alarms under change control, over the gateway's API."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from edge.faults import Exit

Command = TypeVar("Command", bound=Callable[..., Any])

URL = click.option(
    "--url",
    default="http://127.0.0.1:8710",
    show_default=True,
    envvar="SEAFRET_URL",
    help="Where the gateway's API is.",
)
JSON = click.option("--json", "as_json", is_flag=True, help="For scripts: the API's own JSON.")
BY = click.option("--by", metavar="NAME", help="Who acts. Needed where no accounts are in force.")
FILE = click.option(
    "--file",
    "path",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="TOML with [alarms.NAME] tables, as in a unit's settings: owner, reason, limits, ...",
)
REASON = click.option("--reason", required=True, help="Why; kept in the book.")


def answered(*options: Any) -> Callable[[Command], Command]:
    """The options, `--url` and `--json`."""

    def add(command: Command) -> Command:
        for option in (JSON, URL, *options):
            command = option(command)
        return command

    return add


@click.group("limits", epilog="Example: seafret limits propose mast-3.unit --file new.toml ...")
def command() -> None:
    """Limits of a unit's alarms: versions with owner and reason, never changed by one person alone.

    A version is in force once its unit has said so. `preview` tells what it would have done.
    """


@command.command("list", epilog="Example: seafret limits list")
@answered()
def list_(url: str, as_json: bool) -> Exit:
    """Every unit: which version is in force, which is on its way, and what is wrong.

    Exit code 10: approved limits are not in force somewhere.
    """
    units = _call(url, "limits")
    _say(as_json, units, [line for one in units for line in _unit_lines(one)])
    return Exit.FOUND if any(one["fault"] for one in units) else Exit.FINE


@command.command("show", epilog="Example: seafret limits show gannet-head.mast-3 --version 4")
@click.argument("unit")
@click.option("--version", type=int, metavar="N", help="Every limit of this version.")
@answered()
def show(unit: str, version: int | None, url: str, as_json: bool) -> Exit:
    """A unit's versions, newest first, or every limit of one version."""
    if version is None:
        told = _call(url, f"limits/{unit}")
        _say(as_json, told, [*_unit_lines(told), *map(_version_line, told["versions"])])
    else:
        limits = _call(url, f"limits/{unit}/{version}")
        _say(as_json, limits, [_limit_line(one) for one in limits])
    return Exit.FINE


@command.command(
    "propose",
    epilog="Example: seafret limits propose gannet-head.mast-3 --file new.toml --reason 'calls "
    "twice a night in fog without salt' --by mk",
)
@click.argument("unit")
@answered(BY, REASON, FILE)
def propose(
    unit: str, path: Path | None, reason: str, by: str | None, url: str, as_json: bool
) -> Exit:
    """A new version for another person to approve. The file is whole: what it does not name
    stands at the program's default."""
    ask = _who(by) | {"reason": reason, "alarms": _alarms(path)}
    return _changed(url, as_json, unit, "propose", ask)


@command.command(
    "preview",
    epilog="Example: seafret limits preview gannet-head.mast-3 --file new.toml --from "
    "2026-10-01T00:00:00Z --to 2026-11-01T00:00:00Z",
)
@click.argument("unit")
@click.option("--version", type=int, metavar="N", help="A version that is there already.")
@click.option("--from", "start", required=True, metavar="TIME", help="RFC 3339 with a zone.")
@click.option("--to", "end", required=True, metavar="TIME", help="End, excluded.")
@answered(FILE)
def preview(
    unit: str,
    path: Path | None,
    version: int | None,
    start: str,
    end: str,
    url: str,
    as_json: bool,
) -> Exit:
    """What limits would have done: stored rows decided again, beside what was recorded.

    Exit code 10: some alarm would have come, or not come.
    """
    if (path is None) == (version is None):
        raise click.UsageError("give --file or --version, and not both")
    span = {"from": start, "to": end}
    if version is None:
        told = _call(url, f"limits/{unit}/preview", span | {"alarms": _alarms(path)})
    else:
        told = _call(url, f"limits/{unit}/{version}/preview", query=span)
    _say(as_json, told, _preview_lines(told))
    return Exit.FOUND if told["only_recorded"] or told["only_would"] else Exit.FINE


@command.command("approve", epilog="Example: seafret limits approve gannet-head.mast-3 5 --by jo")
@click.argument("unit")
@click.argument("version", type=int)
@answered(BY)
def approve(unit: str, version: int, by: str | None, url: str, as_json: bool) -> Exit:
    """By another person than the author; the version then goes to its unit."""
    return _changed(url, as_json, unit, "approve", _who(by) | {"version": version})


@command.command("withdraw", epilog="Example: seafret limits withdraw gannet-head.mast-3 5 --by mk")
@click.argument("unit")
@click.argument("version", type=int)
@answered(BY)
def withdraw(unit: str, version: int, by: str | None, url: str, as_json: bool) -> Exit:
    """A proposal that nobody has approved."""
    return _changed(url, as_json, unit, "withdraw", _who(by) | {"version": version})


@command.command(
    "roll-back",
    epilog="Example: seafret limits roll-back gannet-head.mast-3 --reason 'missed a night' --by jo",
)
@click.argument("unit")
@click.option("--to", type=int, metavar="N", help="A version; 0 the unit's settings file.")
@answered(BY, REASON)
def roll_back(
    unit: str, to: int | None, reason: str, by: str | None, url: str, as_json: bool
) -> Exit:
    """Back to what stood before, in one step: two persons have stood for it already."""
    ask = _who(by) | {"reason": reason} | ({} if to is None else {"to": to})
    return _changed(url, as_json, unit, "roll-back", ask)


def _who(by: str | None) -> dict[str, Any]:
    return {} if by is None else {"by": by}


def _alarms(path: Path | None) -> dict[str, Any]:
    if path is None:
        raise click.UsageError("--file is missing: TOML with [alarms.NAME] tables")
    try:
        alarms = tomllib.loads(path.read_text(encoding="utf-8")).get("alarms")
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise click.ClickException(f"{path}: not TOML: {fault}") from fault
    if not isinstance(alarms, dict):
        raise click.ClickException(f"{path}: no [alarms.NAME] table in it; name at least one alarm")
    return alarms


def _call(
    url: str, what: str, ask: dict[str, Any] | None = None, query: dict[str, str] | None = None
) -> Any:
    from gateway.commands.present import check_url
    from gateway.console.client import GatewayRefused, call_api

    check_url(url)
    try:
        return call_api(url, what, ask, query)
    except GatewayRefused as fault:
        raise click.ClickException(str(fault)) from fault


def _changed(url: str, as_json: bool, unit: str, word: str, ask: dict[str, Any]) -> Exit:
    told = _call(url, f"limits/{unit}/{word}", ask)
    _say(as_json, told, [f"{unit} {_version_line(told).strip()}"])
    return Exit.FINE


def _say(as_json: bool, told: Any, lines: list[str]) -> None:
    from gateway.console.text import cut, printable

    text = [printable(line) for line in lines]
    click.echo(json.dumps(told, indent=1) if as_json else "\n".join(cut(text)))


def _unit_lines(told: dict[str, Any]) -> list[str]:
    stands = f"version {told['in_force']}" if told["in_force"] else "its settings file"
    lines = [f"{told['unit']}: in force {stands}"]
    if told["wanted"] != told["in_force"]:
        lines.append(f"    on its way: version {told['wanted']}")
    return [*lines, *([f"    NOT IN FORCE: {told['fault']}"] if told["fault"] else [])]


def _version_line(told: dict[str, Any]) -> str:
    by = f"by {told['author']}" + (f", approved by {told['approver']}" if told["approver"] else "")
    return f"    version {told['number']} {told['status']} {by}: {told['reason']}"


def _limit_line(told: dict[str, Any]) -> str:
    where = f" {told['subject']}" if told["subject"] else ""
    delays = f"on {told['on_delay_s']} s, off {told['off_delay_s']} s"
    return f"P{told['priority']} {told['alarm']}{where}: {told['quantity']} {told['at']}, {delays}"


def _preview_lines(told: dict[str, Any]) -> list[str]:
    from gateway.console.text import utc_text

    exact = "" if told["exact"] else "; without the unit's register: margins at 100 mA"
    lines = [
        f"{told['unit']}: {told['rows']} rows decided again{exact}",
        f"alarms in both: {told['both']}",
        f"calls: {told['announced_recorded']} recorded, {told['announced_would']} would have been; "
        f"most in ten minutes {told['most_in_ten_minutes_recorded']} and "
        f"{told['most_in_ten_minutes_would']}",
    ]
    for title, found in (
        ("would not have come", told["only_recorded"]),
        ("would have come besides", told["only_would"]),
    ):
        lines.append(f"{title}: {len(found)}")
        lines += [
            f"    {utc_text(one['start_us'])} P{one['priority']} {one['alarm']} {one['subject']}"
            for one in found
        ]
    return lines
