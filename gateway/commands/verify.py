"""`seafret verify`."""

from __future__ import annotations

from pathlib import Path

import click

from edge.faults import Exit


@click.command("verify", epilog="Example: seafret verify results --inputs recordings")
@click.argument("result", metavar="RESULT", type=click.Path(path_type=Path))
@click.option(
    "--inputs",
    required=True,
    multiple=True,
    metavar="PATH",
    type=click.Path(path_type=Path),
    help="Recordings, or a folder that holds them; what the result does not name is passed over.",
)
@click.option(
    "--settings",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="In place of those that the result keeps.",
)
@click.option(
    "--processes",
    default=1,
    show_default=True,
    metavar="N",
    type=click.IntRange(1, 256),
    help="Processes that measure; the outcome does not depend on it.",
)
@click.option("--json", "as_json", is_flag=True, help="For scripts: one JSON object.")
def command(
    result: Path, inputs: tuple[Path, ...], settings: Path | None, processes: int, as_json: bool
) -> Exit:
    """A replay again: identical, or where it differs.

    RESULT is a folder that seafret replay filled; it is only read. The inputs that its run.json
    names are replayed with the settings that it keeps, and compared byte by byte.

    Exit code 0: identical, 10: something differs.
    """
    import json
    import sys

    from gateway.replay.verification import (
        Asked,
        verification_document,
        verification_lines,
        verified,
    )

    asked = Asked(result, inputs, settings, processes)
    found = verified(asked, sys.stderr if sys.stderr.isatty() else None)
    if as_json:
        click.echo(json.dumps(verification_document(asked, found), indent=2, ensure_ascii=False))
    else:
        click.echo("\n".join(verification_lines(asked, found)))
    return Exit.FINE if found.identical else Exit.FOUND
