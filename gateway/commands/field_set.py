"""`seafret field-set`."""

from __future__ import annotations

from pathlib import Path

import click

from edge.faults import Exit

FOLDER = click.argument("folder", metavar="FOLDER", type=click.Path(path_type=Path))


@click.group(
    "field-set",
    epilog="Example: seafret field-set check nights-2026",
    context_settings={"help_option_names": ["-h", "--help"]},
)
def command() -> None:
    """Recordings and what people saw meanwhile, in one folder with hashes.

    Watch from outside the approach distances; an arcing insulator can flash over without warning.
    """


@command.command("begin", epilog="Example: seafret field-set begin nights --settings edge.toml")
@FOLDER
@click.option(
    "--settings",
    required=True,
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Of the unit whose sensors are recorded; a copy goes into the set.",
)
@click.option("--title", metavar="TEXT", help="What the set is of; else the folder's name.")
def begin(folder: Path, settings: Path, title: str | None) -> Exit:
    """An empty set, with a sheet to print."""
    from gateway.field_set import making

    making.begin(folder, settings, title or folder.name)
    click.echo(f"{folder}: begun; print {folder / 'sheet.txt'} for the field")
    return Exit.FINE


@command.command("add", epilog="Example: seafret field-set add nights now.cfg")
@FOLDER
@click.argument(
    "recordings", metavar="RECORDING...", nargs=-1, required=True, type=click.Path(path_type=Path)
)
def add(folder: Path, recordings: tuple[Path, ...]) -> Exit:
    """Takes recordings in: .cfg with .dat, .cff, or folders of them."""
    from gateway.field_set import making

    for one in making.add(folder, recordings):
        click.echo(f"{one.name}: {(one.end_us - one.start_us) / 1e6:.3f} s")
    return Exit.FINE


@command.command(
    "label",
    epilog="Example: seafret field-set label nights --from 2026-11-24T22:10:00Z "
    "--to 2026-11-24T22:12:30Z --insulator GH-3A --kind arcing --seen video --who 'A. Knot'",
)
@FOLDER
@click.option("--from", "start", required=True, metavar="TIME", help="With its zone, as ...Z.")
@click.option("--to", "end", required=True, metavar="TIME")
@click.option("--insulator", default="", metavar="ID", help="Left out: the whole site.")
@click.option("--kind", required=True, metavar="KIND", help="As `seafret score --help` lists.")
@click.option(
    "--seen",
    required=True,
    type=click.Choice(("eye", "video", "records", "nobody")),
    help="How it came to be known; nobody: of unknown time.",
)
@click.option("--confidence", default="1", show_default=True, metavar="SHARE")
@click.option("--who", required=True, metavar="NAME", help="Who saw it.")
@click.option("--version", default="1", show_default=True, metavar="TEXT", help="Of the labels.")
@click.option("--note", default="", metavar="TEXT")
def label(
    folder: Path,
    start: str,
    end: str,
    insulator: str,
    kind: str,
    seen: str,
    confidence: str,
    who: str,
    version: str,
    note: str,
) -> Exit:
    """Writes one label down, once it holds beside the others."""
    from gateway.field_set import labelling

    asked = labelling.Asked(
        start=start,
        end=end,
        subject=insulator,
        kind=kind,
        seen=labelling.Seen(seen),
        confidence=confidence,
        who=who,
        version=version,
        note=note,
    )
    labelling.label(folder, asked)
    return Exit.FINE


@command.command("check", epilog="Example: seafret field-set check nights --seal-as 'A. Knot'")
@FOLDER
@click.option("--seal-as", metavar="NAME", help="Seal the set under this name if it is whole.")
@click.option("--json", "as_json", is_flag=True, help="For scripts: one JSON object.")
def check(folder: Path, seal_as: str | None, as_json: bool) -> Exit:
    """Whether files and labels are whole, and what they cover.

    Exit code 0: whole, 10: it is not.
    """
    import json
    from datetime import UTC, datetime

    from gateway.clock import Clock
    from gateway.field_set import checking

    now = datetime.fromtimestamp(Clock().utc_us() / 1e6, UTC)
    checked = checking.check(folder) if seal_as is None else checking.seal(folder, seal_as, now)
    if as_json:
        click.echo(json.dumps(checking.checked_document(checked), indent=2, ensure_ascii=False))
    else:
        click.echo("\n".join(checking.checked_lines(checked)))
    return Exit.FOUND if checked.faults else Exit.FINE
