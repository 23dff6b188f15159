"""The click group whose commands are imported when they are asked for."""

from __future__ import annotations

from importlib import import_module
from importlib.util import find_spec

import click

from edge.version import __version__
from gateway.commands.table import ATTRIBUTE, COMMANDS, MODULE


class LateGroup(click.Group):
    """Lists commands from the table and imports one only to run it or to show its help."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [name for name in COMMANDS if find_spec(_module(name))]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.list_commands(ctx):
            return None
        command = getattr(import_module(_module(cmd_name)), ATTRIBUTE)
        assert isinstance(command, click.Command), f"{cmd_name} has no click command"
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        rows = [(name, COMMANDS[name]) for name in self.list_commands(ctx)]
        if rows:
            with formatter.section("Commands"):
                formatter.write_dl(rows)


def _module(name: str) -> str:
    return MODULE.format(name=name.replace("-", "_"))


@click.group(
    cls=LateGroup,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    epilog="Example: seafret demo --seconds 60",
)
@click.version_option(__version__, message="seafret %(version)s")
@click.pass_context
def seafret(ctx: click.Context) -> None:
    """Watches insulators on a salt coast: demo, gateway, replay, trends.

    Monitoring only: never protection, and never proof that anything is dead or safe to approach.
    """
    if ctx.invoked_subcommand is None:
        raise click.UsageError("a command is missing", ctx)
