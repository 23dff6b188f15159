"""`seafret-edge`: all that a pole computer has. Arguments and exit codes only.

Each command is a function `(arguments) -> exit code` that is imported when it is asked for, so that
`--help` and a wrong option answer at once.
"""

from __future__ import annotations

import argparse
import os
import sys
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import NoReturn

from edge.faults import Exit, exit_code_of, line_of
from edge.version import __version__

PROGRAM = "seafret-edge"


@dataclass(frozen=True, slots=True)
class Command:
    """One row of the dispatch table; module and function are looked up when it is asked for."""

    module: str
    function: str
    meaning: str
    example: str


COMMANDS: dict[str, Command] = {
    "run": Command(
        "edge.daemon.command",
        "run",
        "the daemon: sense, measure, decide, keep, send",
        "--settings FILE",
    ),
    "check": Command(
        "edge.checking.command",
        "check",
        "settings, sensors, clock, disk, broker: one line each, and what to do",
        "--settings FILE",
    ),
    "record": Command(
        "edge.recorder",
        "record",
        "save what the sensors read now, as COMTRADE",
        "--settings FILE --seconds 60 --out now.cfg",
    ),
    "calibrate": Command(
        "edge.calibrating",
        "calibrate",
        "propose the dry phasor from what the sensors read in dry hours",
        "--settings FILE",
    ),
    "commission": Command(
        "edge.commissioning.command",
        "commission",
        "what must be shown before the unit is in service, step by step; can be cut and resumed",
        "--settings FILE",
    ),
}


class OneLineParser(argparse.ArgumentParser):
    """Says wrong use in one line and ends with our exit code instead of argparse's."""

    def error(self, message: str) -> NoReturn:
        self.exit(Exit.WRONG_USE, f"{self.prog}: {message} (see {self.prog} --help)\n")


def parser() -> OneLineParser:
    """The parser of all commands, made from the table."""
    top = OneLineParser(
        prog=PROGRAM,
        description="Watches insulators from the pole. Monitoring only: never protection, and "
        "never proof that anything is dead or safe to approach.",
        epilog=f"example: {PROGRAM} check --settings /etc/seafret/edge.toml",
    )
    top.add_argument("--version", action="version", version=f"seafret {__version__}")
    commands = top.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for name, row in COMMANDS.items():
        command = commands.add_parser(
            name,
            help=row.meaning,
            description=row.meaning,
            epilog=f"example: {PROGRAM} {name} {row.example}",
        )
        command.add_argument(
            "--settings", type=Path, required=True, metavar="FILE", help="settings of this unit"
        )
        command.add_argument("--clock", type=Path, help=argparse.SUPPRESS)
        if name in MORE_OPTIONS:
            MORE_OPTIONS[name](command)
    return top


def add_run_options(command: argparse.ArgumentParser) -> None:
    command.add_argument("--signal-seconds", type=positive_s, help=argparse.SUPPRESS)


def add_record_options(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--seconds", type=positive_s, required=True, metavar="N", help="how long to record"
    )
    command.add_argument(
        "--out", type=Path, required=True, metavar="FILE.cfg", help="the data go beside it"
    )


def add_calibrate_options(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--seconds", type=positive_s, default=60.0, metavar="N", help="how long to read"
    )
    command.add_argument(
        "--from", dest="recording", type=Path, metavar="RECORDING", help="instead of the sensors"
    )


def add_commission_options(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--answers", type=Path, metavar="FILE.toml", help="answers instead of questions"
    )
    command.add_argument(
        "--step", action="append", metavar="STEP", help="do this one again; may be repeated"
    )
    command.add_argument(
        "--wait",
        type=positive_s,
        default=300.0,
        metavar="N",
        help="seconds to wait for what is done by hand",
    )
    command.add_argument("--list", action="store_true", help="only say how it stands")
    command.add_argument(
        "--anew", action="store_true", help="put aside what was begun; the unit leaves service"
    )


MORE_OPTIONS: dict[str, Callable[[argparse.ArgumentParser], None]] = {
    "run": add_run_options,
    "record": add_record_options,
    "calibrate": add_calibrate_options,
    "commission": add_commission_options,
}


def positive_s(text: str) -> float:
    """A number of seconds above zero. Raises ArgumentTypeError with what is allowed."""
    try:
        seconds = float(text)
    except ValueError:
        seconds = 0.0
    if not 0.0 < seconds < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r} must be a number of seconds above 0")
    return seconds


def load(row: Command) -> Callable[[argparse.Namespace], int] | None:
    """The command's function; None where this version does not have it."""
    try:
        module = import_module(row.module)
    except ModuleNotFoundError as fault:
        if fault.name != row.module:
            raise
        return None
    function: Callable[[argparse.Namespace], int] = getattr(module, row.function)
    return function


def dispatch(arguments: argparse.Namespace) -> int:
    """Run the command that was asked for; its exit code."""
    function = load(COMMANDS[arguments.command])
    if function is None:
        print(f"{PROGRAM}: {arguments.command}: not in this version", file=sys.stderr)
        return Exit.OUT_OF_REACH
    return int(function(arguments))


def main(argv: Sequence[str] | None = None) -> int:
    """The exit code. Every fault is one line on standard error, never a traceback."""
    arguments = parser().parse_args(argv)
    try:
        return dispatch(arguments)
    except KeyboardInterrupt:
        return Exit.STOPPED
    except Exception as fault:
        if os.environ.get("SEAFRET_TRACE"):
            traceback.print_exception(fault)
        print(f"{PROGRAM}: {line_of(fault)}", file=sys.stderr)
        return exit_code_of(fault)


if __name__ == "__main__":
    sys.exit(main())
