"""`seafret compare`."""

from __future__ import annotations

from pathlib import Path

import click

from edge.faults import Exit


@click.command(
    "compare",
    epilog="Example: seafret compare results-now results-new-limits --tolerance 10min",
)
@click.argument("dir_a", metavar="DIR_A", type=click.Path(path_type=Path))
@click.argument("dir_b", metavar="DIR_B", type=click.Path(path_type=Path))
@click.option(
    "--tolerance",
    default="10min",
    show_default=True,
    metavar="DURATION",
    help="Alarms that begin no further apart are the same, as 90s, 10min or 1h.",
)
@click.option("--json", "as_json", is_flag=True, help="For scripts: one JSON object.")
def command(dir_a: Path, dir_b: Path, tolerance: str, as_json: bool) -> Exit:
    """Two replays: which alarms and settings differ.

    Alarms only in A, only in B and in both, matched one to one; how much later they begin; what
    an operator would have had to bear; the settings that differ, and no others.

    Exit code 10: something differs, 0: nothing.
    """
    import json

    from gateway.commands.durations import duration_s
    from gateway.replay.comparing import compared_runs
    from gateway.replay.comparison_document import comparison_document, comparison_text
    from gateway.replay.results import read_run

    tolerance_us = duration_s("--tolerance", tolerance) * 1_000_000
    told = compared_runs(read_run(dir_a), read_run(dir_b), tolerance_us)
    if as_json:
        click.echo(json.dumps(comparison_document(told), indent=2, ensure_ascii=False))
    else:
        click.echo(comparison_text(told))
    return Exit.FINE if told.same else Exit.FOUND
