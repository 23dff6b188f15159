"""`seafret demo`."""

from __future__ import annotations

from pathlib import Path

import click

from edge.faults import Exit


@click.command("demo", epilog="Example: seafret demo --seconds 60 --seed 7")
@click.option(
    "--seconds",
    type=click.FloatRange(20, 86_400),
    default=90,
    show_default=True,
    metavar="N",
    help="How long it takes; below 90 a shorter night is told.",
)
@click.option(
    "--seed",
    type=click.IntRange(0, 1_000_000),
    default=1,
    show_default=True,
    metavar="N",
    help="Which story: weather, salt and arcs follow from it.",
)
@click.option(
    "--data",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Keep what is written in this new or empty folder.",
)
@click.option("--kill-gateway-at", "kill_at_s", type=float, hidden=True)
def command(seconds: float, seed: int, data: Path | None, kill_at_s: float | None) -> Exit:
    """A virtual coast lives through a salt-fog night, on this machine.

    A broker, the gateway and two edge daemons run as processes of their own, on loopback. Needs no
    settings and no services; ends by itself with a summary, and Ctrl-C ends it at any time.

    Exit code 10: the histories lack records; 69: a process could not run; 130: stopped.
    """
    from gateway.demo.night import night_of
    from gateway.demo.run import Demo
    from gateway.demo.screen import Screen

    if data is not None:
        data.mkdir(parents=True, exist_ok=True)
        if any(data.iterdir()):
            raise click.UsageError(f"--data {data} is not empty; give a new or an empty folder")
        data = data.resolve()
    return Demo(night_of(seconds, seed), data, kill_at_s, Screen()).run()
