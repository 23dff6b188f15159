"""`seafret load`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from edge.faults import Exit
from gateway.commands.site_options import check_site, site_options

if TYPE_CHECKING:
    from gateway.history.loaded import SiteLoader
    from gateway.loading.load import Outcome

REFUSALS_SHOWN = 10
"""Refused rows that are printed for each file; all of them are kept."""

HELP = """History from elsewhere, as CSV.

The header names the columns, in any order, and tells what the rows are. Times are UTC
(2026-01-31T23:50:00Z); an empty cell was not measured.

\b
interval     insulator,start,seconds and any column of intervals.csv
             (rms_ma, peak_ma, charge_c, halfcycles, arcing_halfcycles,
             state, ...), flags joined by |
weather      start,seconds,rh_pct,air_c; dew_point_c, rain_mm, wind_m_s,
             wind_from_deg, uv_w_m2
forecast     issued,start,seconds,rh_pct: what a later night will be like
maintenance  insulator,start,action; note. action: wash, inspect, recoat,
             replace, sensor, outage
inspection   insulator,start,finding; grade, depth_mm, photo, note.
             finding: chalking, crazing, tracking, erosion,
             hydrophobicity (grade 1 to 7), corrosion, other;
             grade: light, moderate, severe
deposit      insulator,start,esdd_mg_cm2; nsdd_mg_cm2, note
line status  start,seconds,line_status: in-service, out-of-service,
             unknown

In maintenance, inspection and deposit rows an empty insulator means the whole site. Bad rows are
named and kept in DIR/refused/SITE, the good ones load. Loading a file again changes nothing. Not
possible while `seafret serve` holds the data.

Exit code 64: a row or a file was refused; 69: the data are held.
"""


@click.command(
    "load", help=HELP, epilog="Example: seafret load may.csv --site north-head --data history"
)
@click.argument(
    "files", nargs=-1, required=True, metavar="FILE.csv...", type=click.Path(path_type=Path)
)
@site_options
@click.option(
    "--source",
    default="csv",
    show_default=True,
    metavar="NAME",
    help="Where the rows come from; a row is known by insulator, start and source.",
)
@click.option("--json", "as_json", is_flag=True, help="For scripts: one JSON object.")
def command(files: tuple[Path, ...], site: str, data: Path, source: str, as_json: bool) -> Exit:
    """See HELP."""
    from gateway.history.lock import hold_data
    from gateway.history.opening import open_history
    from gateway.loading.kinds import FileRefused

    check_site(site)
    if not 1 <= len(source) <= 64 or not source.isprintable():
        raise click.UsageError(f"--source is {source!r}; it must be 1 to 64 printable characters")
    for path in files:
        if not path.exists():
            raise click.UsageError(f"{path}: there is no such file")
    outcomes: list[Outcome] = []
    faults: list[str] = []
    with hold_data(data, "seafret load"):
        loader = open_history(data).loader(site)
        try:
            for path in files:
                try:
                    outcomes.append(_loaded(loader, path, site, data, source))
                except FileRefused as fault:
                    faults.append(str(fault))
                    click.echo(f"refused: {fault}", err=True)
        finally:
            loader.close()
    _say(outcomes, faults, as_json)
    return Exit.WRONG_USE if faults or any(one.refused for one in outcomes) else Exit.FINE


def _loaded(loader: SiteLoader, path: Path, site: str, data: Path, source: str) -> Outcome:
    import sys

    from gateway.loading.load import load_file
    from gateway.loading.refused import keep_refused

    shown = sys.stderr.isatty()

    def progress(rows: int) -> None:
        if shown:
            click.echo(f"\r{path.name}: {rows:,} rows", nl=False, err=True)

    outcome = load_file(loader, path, source, progress)
    if shown:
        click.echo(err=True)
    if outcome.told:
        kept = keep_refused(data, site, path, outcome.told)
        outcome.warnings.append(f"{outcome.refused} rows refused; kept in {kept}")
    return outcome


def _say(outcomes: list[Outcome], faults: list[str], as_json: bool) -> None:
    for one in outcomes:
        if one.unknown:
            click.echo(f"warning: {one.path}: not read: {', '.join(one.unknown)}", err=True)
        for refusal in one.told[:REFUSALS_SHOWN]:
            where = f", {refusal.column}" if refusal.column else ""
            said = f"{one.path} line {refusal.line}{where}: {refusal.reason}"
            click.echo(f"refused: {_printable(said)}", err=True)
        for text in one.warnings:
            click.echo(f"warning: {one.path}: {text}", err=True)
    if as_json:
        import json

        click.echo(json.dumps({"files": [_plain(one) for one in outcomes], "refused": faults}))
        return
    for one in outcomes:
        click.echo(
            f"{one.path}: {one.title} rows: {one.added} added, {one.there} there already, "
            f"{one.refused} refused"
        )


def _plain(one: Outcome) -> dict[str, object]:
    return {
        "file": str(one.path),
        "kind": one.title.replace(" ", "-"),
        "rows": one.rows,
        "added": one.added,
        "there": one.there,
        "refused": one.refused,
        "refusals": [
            {"line": refusal.line, "column": refusal.column, "reason": refusal.reason}
            for refusal in one.told[:REFUSALS_SHOWN]
        ],
        "unknown_columns": one.unknown,
        "warnings": one.warnings,
    }


def _printable(text: str) -> str:
    return text.encode(errors="backslashreplace").decode()
