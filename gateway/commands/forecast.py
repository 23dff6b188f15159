"""`seafret forecast`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from edge.faults import Exit
from gateway.commands.site_options import site_options
from gateway.commands.stored_site import stored_site

if TYPE_CHECKING:
    from gateway.trends.forecast import NightForecast


@click.command("forecast", epilog="Example: seafret forecast --site north-head --data history")
@site_options
@click.option("--at", metavar="T", help="UTC; as if nothing later were known. Else: all rows.")
@click.option(
    "--humidity-error",
    "humidity_sd_pct",
    type=click.FloatRange(0, 30),
    default=0.0,
    show_default=True,
    metavar="PCT",
    help="How far the humidity forecast usually errs for a night (standard deviation).",
)
@click.option("--json", "as_json", is_flag=True, help="For scripts: one JSON object.")
def command(site: str, data: Path, at: str | None, humidity_sd_pct: float, as_json: bool) -> Exit:
    """What the next fog would do: each insulator's range of current and arcing.

    From the latest loaded humidity forecast (`seafret load` of rows with the columns
    issued,start,seconds,rh_pct) and the nights of the history. The highest hourly current of nine
    nights in ten should fall within the range; how like nights went is all that it knows.

    Exit code 20: nothing could be said of an insulator; 64: no forecast lies ahead.
    """
    from gateway.commands.one_thread import one_thread

    one_thread()
    from gateway.reading.fog import night_ahead
    from gateway.reading.periods import moment_us

    try:
        until = None if at is None else moment_us(at)
    except ValueError as fault:
        raise click.UsageError(
            f"--at is {at!r}; it must be UTC like 2026-01-31T18:00:00Z"
        ) from fault
    with stored_site(data, site) as rows:
        issued, found = night_ahead(rows, site, until, humidity_sd_pct)
    if as_json:
        import json

        document = {
            "site": site,
            "issued": issued,
            "insulators": [_plain(n) for n in found.values()],
        }
        click.echo(json.dumps(document, indent=1, ensure_ascii=False))
    else:
        _print(site, issued, list(found.values()))
    return Exit.BLIND if any(one.current_ma is None for one in found.values()) else Exit.FINE


def _print(site: str, issued: str, found: list[NightForecast]) -> None:
    from gateway.trends.document import utc_text

    for one in found[:1]:
        click.echo(f"{site}: {utc_text(one.from_us)} to {utc_text(one.to_us)}, issued {issued}")
        wettest = "?" if one.wettest_pct is None else f"{one.wettest_pct:.0f} %"
        click.echo(f"  wettest {wettest} RH; ranges hold {one.level:.0%} of such nights")
    for one in sorted(found, key=lambda one: -(one.current_high_ma or 0.0)):
        if one.current_ma is None:
            click.echo(f"{one.insulator:12} cannot be said: {one.why}")
            continue
        click.echo(
            f"{one.insulator:12} {one.current_ma:8.2f} mA ({one.current_low_ma:.2f} to "
            f"{one.current_high_ma:.2f}); arcing in {one.arcing_chance:.0%} of like nights"
        )
    for text in dict.fromkeys(text for one in found for text in one.reservations):
        click.echo(f"  {text}")


def _plain(one: NightForecast) -> dict[str, Any]:
    from gateway.trends.document import utc_text

    plain = {name: getattr(one, name) for name in one.__slots__}
    plain |= {"from": utc_text(plain.pop("from_us")), "to": utc_text(plain.pop("to_us"))}
    return {
        name: round(said, 6) if isinstance(said, float) else said for name, said in plain.items()
    }
