"""`seafret replay`."""

from __future__ import annotations

from pathlib import Path

import click

from edge.faults import Exit


@click.command(
    "replay",
    epilog="Example: seafret replay night.cfg --out results",
)
@click.argument(
    "feeds", nargs=-1, required=True, metavar="FEED...", type=click.Path(path_type=Path)
)
@click.option(
    "--out", required=True, metavar="DIR", type=click.Path(path_type=Path), help="For the results."
)
@click.option(
    "--settings",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Settings of the unit; without them each current channel is an insulator.",
)
@click.option(
    "--time-zone",
    metavar="ZONE",
    help="Of records before revision 2013, e.g. Europe/Lisbon or +02:00; else UTC, flagged.",
)
@click.option(
    "--processes",
    default=1,
    show_default=True,
    metavar="N",
    type=click.IntRange(1, 256),
    help="Processes that measure; the results do not depend on it.",
)
@click.option("--captures", is_flag=True, help="Also writes kept waveforms, as DIR/captures/*.cff.")
@click.option("--plot", is_flag=True, help="Also draws DIR/pictures/*.png, one for each insulator.")
@click.option("--block-samples", default=262_144, hidden=True, type=click.IntRange(1, 1 << 22))
def command(
    feeds: tuple[Path, ...],
    out: Path,
    settings: Path | None,
    time_zone: str | None,
    processes: int,
    captures: bool,
    plot: bool,
    block_samples: int,
) -> Exit:
    """Stored recordings through the very same steps as on the pole.

    FEED is a COMTRADE record (.cfg with its .dat, or .cff) or a folder of records. Writes
    windows.csv, intervals.csv, events.jsonl and run.json into DIR; the same input and settings
    give the same bytes.
    """
    import sys
    import time

    from edge.allocator import keep_freed_memory
    from gateway.replay.run import Request, replay, say, settings_in
    from gateway.replay.zones import zone_of

    keep_freed_memory()
    parsed = None
    if settings is not None:
        parsed = settings_in(settings)
    request = Request(feeds, parsed, zone_of(time_zone), processes, block_samples, captures, plot)
    begun_s = time.monotonic()
    summary = replay(request, out, sys.stderr if sys.stderr.isatty() else None)
    for text in summary.warnings:
        say(f"warning: {text}")
    for text in summary.cut:
        say(f"cut short: {text}")
    say(
        f"{summary.insulators} insulators, {summary.seconds_of_signal:.1f} s of signal: "
        f"{summary.windows} windows, {summary.intervals} intervals, {summary.events} events "
        f"in {out} ({time.monotonic() - begun_s:.2f} s)"
    )
    return Exit.WRONG_USE if summary.cut else Exit.FINE
