"""`seafret accounts`: the first administrator, and what an administrator does without a browser."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from edge.faults import Exit
from gateway.commands.site_options import GATEWAY_SETTINGS

if TYPE_CHECKING:
    from gateway.accounts.register import Register

BY = "command"
"""Who did it, in the audit: whoever may write the gateway's files."""

ROLES = ("viewer", "operator", "engineer", "administrator")

FROM_INPUT = click.option(
    "--password-stdin", is_flag=True, help="The password is the first line of standard input."
)


@click.group(
    "accounts",
    epilog="Example: seafret accounts add mk --role administrator --settings gateway.toml",
)
def command() -> None:
    """Accounts of the console: who may sign in, and what each may do.

    The first administrator is made here; there is no default account and no default password. The
    gateway may run meanwhile. Every change is in the audit.
    """


@command.command("add", epilog="Example: seafret accounts add kr --role operator --settings g.toml")
@click.argument("name")
@click.option("--role", required=True, type=click.Choice(ROLES))
@FROM_INPUT
@GATEWAY_SETTINGS
def add(name: str, role: str, password_stdin: bool, path: Path) -> Exit:
    """Makes an account; its password is asked for, twice."""
    from gateway.accounts.people import checked_name, checked_role

    checked_name(name)
    with _register(path) as register:
        register.add(name, checked_role(role), _password(password_stdin), BY)
    click.echo(f"{name}: {role}")
    return Exit.FINE


@command.command("list", epilog="Example: seafret accounts list --settings gateway.toml")
@GATEWAY_SETTINGS
def listing(path: Path) -> Exit:
    """All accounts, one line each."""
    with _register(path) as register:
        now_us = register.now_us()
        for one in register.accounts():
            state = "disabled" if one.disabled else ""
            state = state or ("locked" if one.tries.is_locked(now_us) else "in use")
            click.echo(f"{one.name:<34}{one.role.value:<16}{state}")
    return Exit.FINE


@command.command("role", epilog="Example: seafret accounts role kr engineer --settings g.toml")
@click.argument("name")
@click.argument("role", type=click.Choice(ROLES))
@GATEWAY_SETTINGS
def role(name: str, role: str, path: Path) -> Exit:
    """Gives an account another role; its sessions end."""
    from gateway.accounts.people import checked_role

    with _register(path) as register:
        register.set_role(name, checked_role(role), BY)
    click.echo(f"{name}: {role}")
    return Exit.FINE


@command.command("password", epilog="Example: seafret accounts password kr --settings g.toml")
@click.argument("name")
@FROM_INPUT
@GATEWAY_SETTINGS
def password(name: str, password_stdin: bool, path: Path) -> Exit:
    """Sets a new password; sessions end and a lock is lifted."""
    with _register(path) as register:
        register.set_password(name, _password(password_stdin), BY)
    click.echo(f"{name}: password changed")
    return Exit.FINE


@command.command("disable", epilog="Example: seafret accounts disable kr --settings g.toml")
@click.argument("name")
@GATEWAY_SETTINGS
def disable(name: str, path: Path) -> Exit:
    """Ends an account's use; its name stays in the journal."""
    with _register(path) as register:
        register.set_disabled(name, True, BY)
    click.echo(f"{name}: disabled")
    return Exit.FINE


@command.command("unlock", epilog="Example: seafret accounts unlock kr --settings gateway.toml")
@click.argument("name")
@GATEWAY_SETTINGS
def unlock(name: str, path: Path) -> Exit:
    """Lifts the lock after too many wrong passwords."""
    with _register(path) as register:
        register.unlock(name, BY)
    click.echo(f"{name}: not locked")
    return Exit.FINE


@command.command("token", epilog="Example: seafret accounts token kr --for cron --settings g.toml")
@click.argument("name")
@click.option("--for", "label", required=True, metavar="WHAT", help="What it is for.")
@click.option("--days", type=click.IntRange(1, 400), default=90, show_default=True)
@GATEWAY_SETTINGS
def token(name: str, label: str, days: int, path: Path) -> Exit:
    """Prints a token for the terminal and for scripts, once.

    Used as SEAFRET_TOKEN by `status`, `alarms`, `acknowledge`, `shelve` and `hand-over`.
    """
    from gateway.accounts.signing_in import Door

    with _register(path) as register:
        click.echo(Door(register).make_token(name, label, days, BY))
    return Exit.FINE


@contextmanager
def _register(path: Path) -> Iterator[Register]:
    from gateway.accounts.register import Register
    from gateway.accounts.store import AccountsFile
    from gateway.clock import Clock
    from gateway.settings import read_settings

    file = AccountsFile(read_settings(path).data)
    try:
        yield Register(file, Clock().utc_us)
    finally:
        file.close()


def _password(from_input: bool) -> str:
    """Asked for twice at a terminal; never an argument, where everybody could see it."""
    if from_input:
        return sys.stdin.readline().rstrip("\r\n")
    found: str = click.prompt("Password", hide_input=True, confirmation_prompt=True)
    return found
