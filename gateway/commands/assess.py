"""`seafret assess`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from edge.faults import Exit
from gateway.commands.site_options import DATA

if TYPE_CHECKING:
    from gateway.reading.fleet import Assessed


@click.command("assess", epilog="Example: seafret assess --data history")
@DATA
@click.option("--site", metavar="SITE", help="Only this site.")
@click.option("--insulator", metavar="ID", help="The story of this one; needs --site.")
@click.option("--json", "as_json", is_flag=True, help="For scripts: one JSON object.")
def command(data: Path, site: str | None, insulator: str | None, as_json: bool) -> Exit:
    """What is advised for every insulator of the fleet, most urgent first.

    Periods are those of `seafret trend` without --reference and --now. Beside the advice stands
    what a person decided last. With --insulator: what was advised, decided, done and found on it,
    in order of time.

    Exit code 10: something is advised; 20: nothing could be said at all.
    """
    from gateway.commands.one_thread import one_thread

    one_thread()
    if insulator is not None:
        if site is None:
            raise click.UsageError("--insulator needs --site")
        return _story(data, site, insulator, as_json)
    from gateway.commands.stored_site import stored_site
    from gateway.history.opening import open_history
    from gateway.reading.fleet import assessed, in_order

    names = [site] if site is not None else open_history(data).sites()
    found: list[Assessed] = []
    for name in names:
        with stored_site(data, name) as rows:
            found += assessed(rows, name, data)
    ordered = in_order(found)
    if as_json:
        _print_json({"insulators": [_plain(one) for one in ordered]})
    else:
        for one in ordered:
            click.echo(_line(one))
        if not ordered:
            click.echo(f"{data}: no insulator has two periods to compare yet")
    if not ordered:
        return Exit.BLIND
    quiet = all(one.decision in ("none-indicated", "cannot-decide") for one in ordered)
    blind = all(one.decision == "cannot-decide" for one in ordered)
    return Exit.BLIND if blind else Exit.FINE if quiet else Exit.FOUND


def _line(one: Assessed) -> str:
    head = f"{one.site}  {one.insulator}  {one.decision.upper()}"
    decided = "" if one.decided is None else f"  decided: {one.decided}"
    reasons = [f"    {text[:74]}" for text in one.reasons]
    return "\n".join([f"{head}{decided}"[:80], *reasons])


def _plain(one: Assessed) -> dict[str, Any]:
    return {
        "site": one.site,
        "insulator": one.insulator,
        "decision": one.decision,
        "reasons": list(one.reasons),
        "would_change": one.would_change,
        "good_share": one.good_share,
        "decided": one.decided,
    }


def _story(data: Path, site: str, insulator: str, as_json: bool) -> Exit:
    from gateway.commands.stored_site import stored_site
    from gateway.reading.decisions import story_of
    from gateway.trends.document import utc_text

    with stored_site(data, site) as rows:
        lines = story_of(rows, insulator)
    if as_json:
        told = [
            {"at": utc_text(one.at_us), "what": one.told.value, "text": one.text} for one in lines
        ]
        _print_json({"site": site, "insulator": insulator, "lines": told})
    for one in [] if as_json else lines:
        click.echo(f"{utc_text(one.at_us)[:10]}  {one.told.value:8}  {one.text}")
    if not lines and not as_json:
        click.echo(f"{insulator}: nothing advised on record, decided, done or found")
    return Exit.FINE


def _print_json(document: dict[str, Any]) -> None:
    import json

    click.echo(json.dumps(document, indent=1, ensure_ascii=False))
