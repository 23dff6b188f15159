"""`seafret verify`."""

from __future__ import annotations

from pathlib import Path

import click

from edge.faults import Exit


@click.command("verify", epilog="Example: seafret verify results --inputs recordings")
@click.argument("result", metavar="RESULT", type=click.Path(path_type=Path))
@click.option(
    "--inputs",
    multiple=True,
    metavar="PATH",
    type=click.Path(path_type=Path),
    help="Recordings, or a folder that holds them; what the result does not name is passed over.",
)
@click.option(
    "--data",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="The folder of the histories, for a result of stored rows.",
)
@click.option(
    "--labels",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Of a score.",
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
    result: Path,
    inputs: tuple[Path, ...],
    data: Path | None,
    labels: Path | None,
    settings: Path | None,
    processes: int,
    as_json: bool,
) -> Exit:
    """A replay again: identical, or where it differs.

    RESULT is a folder that seafret replay filled, from recordings or envelopes (--inputs), from
    stored rows (--data) or as a sweep (--inputs: the folder that its grid lay in); it is only read.
    It is made again with the settings that it keeps, and compared byte by byte. RESULT may also be
    the file that compare or score printed with --json; --inputs then names folders that hold the
    replays.

    Exit code 0: identical, 10: something differs.
    """
    import json
    import sys

    from gateway.commands.stored_site import stored_site
    from gateway.replay.results import kind_of, site_of
    from gateway.replay.verification import (
        Asked,
        verification_document,
        verification_lines,
        verified,
        verified_envelopes,
        verified_rows,
    )
    from gateway.replay.verified_documents import verified_document
    from gateway.replay.verified_sweep import verified_sweep

    asked = Asked(result, inputs, settings, processes)
    progress = sys.stderr if sys.stderr.isatty() else None
    kind = "document" if result.is_file() else kind_of(result)
    if kind == "document":
        found = verified_document(asked, labels)
    elif kind == "sweep":
        if len(inputs) != 1:
            raise click.UsageError(f"{result} is a sweep; give --inputs, the folder of its grid")
        found = verified_sweep(asked)
    elif kind == "rows":
        if data is None:
            raise click.UsageError(f"{result} was made of stored rows; give --data")
        with stored_site(data, site_of(result)) as reader:
            found = verified_rows(asked, reader, progress)
    elif kind == "envelopes":
        found = verified_envelopes(asked)
    elif not inputs:
        raise click.UsageError(f"{result} was made of recordings; give --inputs")
    else:
        found = verified(asked, progress)
    if as_json:
        click.echo(json.dumps(verification_document(asked, found), indent=2, ensure_ascii=False))
    else:
        click.echo("\n".join(verification_lines(asked, found)))
    return Exit.FINE if found.identical else Exit.FOUND
