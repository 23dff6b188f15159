"""`seafret`: for the gateway host and for analysts. Exit codes and faults only.

A command's callback returns its exit code, or None for 0. Whatever it raises becomes one line on
standard error and the exit code that `edge.faults` has for it.
"""

from __future__ import annotations

import os
import select
import sys
import traceback
from collections.abc import Sequence

from edge.faults import Exit, exit_code_of, line_of
from gateway.commands.table import COMMANDS

PROGRAM = "seafret"
MISSING = "needs {name}, which is not installed here; install it with: pip install '{what}'"

EXTRAS = {
    "psycopg": "seafret[postgres]",
    "dask": "seafret[cluster]",
    "distributed": "seafret[cluster]",
    "pyarrow": "seafret[parquet]",
}
"""Which extra brings a library that is not there; all others come with the gateway's."""


def main(argv: Sequence[str] | None = None) -> int:
    """The exit code. Every fault is one line on standard error, never a traceback."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    try:
        code = dispatch(arguments)
        sys.stdout.flush()
        return code
    except KeyboardInterrupt:
        return Exit.STOPPED
    except Exception as fault:
        if reader_has_left(fault):
            return Exit.FINE
        if os.environ.get("SEAFRET_TRACE"):
            traceback.print_exception(fault)
        return complain(*verdict(fault))


def dispatch(arguments: list[str]) -> int:
    """Run the command line; its exit code. Wrong use is said here, everything else is raised."""
    import click

    from gateway.commands.group import seafret

    if absent(arguments, seafret.list_commands(click.Context(seafret))):
        return complain(Exit.OUT_OF_REACH, f"{arguments[0]}: not in this version")
    try:
        # Not click's own main(): it would hide a broken pipe behind an exit code of its own.
        with seafret.make_context(PROGRAM, arguments) as ctx:
            answer = seafret.invoke(ctx)
    except click.exceptions.Exit as end:
        return end.exit_code
    except click.UsageError as fault:
        path = fault.ctx.command_path if fault.ctx else PROGRAM
        said = fault.format_message().rstrip(".")
        return complain(Exit.WRONG_USE, f"{said} (see {path} --help)", path)
    except click.ClickException as fault:
        return complain(Exit.WRONG_USE, fault.format_message())
    except click.Abort:
        return Exit.STOPPED
    assert answer is None or isinstance(answer, int), f"a command returned {answer!r}"
    return answer or Exit.FINE


def absent(arguments: list[str], present: list[str]) -> bool:
    """Whether the first word is a command of the table that this version does not have."""
    return bool(arguments) and arguments[0] in COMMANDS and arguments[0] not in present


def verdict(fault: Exception) -> tuple[Exit, str]:
    """Exit code and line. A library that is not there is the installer's business, not a bug."""
    name = fault.name if isinstance(fault, ModuleNotFoundError) else None
    if name and name.partition(".")[0] not in ("edge", "gateway"):
        what = EXTRAS.get(name.partition(".")[0], "seafret[gateway]")
        return Exit.OUT_OF_REACH, MISSING.format(name=name, what=what)
    return exit_code_of(fault), line_of(fault)


def complain(code: Exit, line: str, program: str = PROGRAM) -> Exit:
    print(f"{program}: {' '.join(line.split())}", file=sys.stderr)
    return code


def reader_has_left(fault: Exception) -> bool:
    """Whether what broke is our own standard output, as in `seafret replay ... | head`."""
    if not isinstance(fault, BrokenPipeError) or sys.stdout.closed:
        return False
    output = select.poll()
    output.register(sys.stdout.fileno(), 0)
    if not any(event & select.POLLERR for _, event in output.poll(0)):
        return False
    # Else the interpreter would stumble over it once more on its way out.
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return True


if __name__ == "__main__":
    sys.exit(main())
