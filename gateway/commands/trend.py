"""`seafret trend`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from edge.faults import Exit
from gateway.commands.site_options import site_options
from gateway.commands.stored_site import stored_site

if TYPE_CHECKING:
    from gateway.reading.question import Question
    from gateway.trends.change import SiteTrend


@click.command(
    "trend",
    epilog="Example: seafret trend --site north-head --data history --now 2026-06-01,2026-12-01",
)
@site_options
@click.option("--insulator", metavar="ID", help="Only this one; siblings are still looked at.")
@click.option("--reference", metavar="FROM,TO", help="The period to compare with.")
@click.option("--now", metavar="FROM,TO", help="The period to judge.")
@click.option(
    "--register",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="TOML with type and stress of each insulator; else DIR/SITE.register.toml if it is there.",
)
@click.option("--json", "as_json", is_flag=True, help="For scripts: one JSON object.")
@click.option(
    "--plot",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Draws response, trend and exposure; .png, .svg or .pdf.",
)
def command(
    site: str,
    data: Path,
    insulator: str | None,
    reference: str | None,
    now: str | None,
    register: Path | None,
    as_json: bool,
    plot: Path | None,
) -> Exit:
    """Is each surface worse than it was, at equal wetness, and what to do.

    FROM,TO are UTC dates or times, the end excluded. Without --reference it is the first year of
    the history where that has two or more, else its first half; without --now, all that follows
    the reference.

    An insulator's type decides which advice is allowed; where it is not known, neither re-coating
    nor replacing is advised. In the register:

    \b
    coast_bearing_deg = 250
    [insulator.P1]
    type = "composite"       # coated-ceramic, coated-glass, ceramic, glass
    stress = "24 kV post"    # currents are compared within one type and stress
    creepage_mm_kv = 31
    creepage_basis = "phase-phase"

    Exit code 10: something changed; 20: of no change can be said for an insulator; 64: no history.
    """
    from gateway.commands.one_thread import one_thread

    one_thread()
    from gateway.commands.trend_text import trend_text
    from gateway.reading.question import answered, asked
    from gateway.reading.register import beside
    from gateway.trends.document import trend_document

    if plot is not None:
        from gateway.commands.trend_plot import check_plot

        check_plot(plot)
    with stored_site(data, site) as rows:
        question = asked(rows, site, register or beside(data, site), reference, now)
        _check_insulator(insulator, question)
        trend = _only(answered(question), insulator)
        if plot is not None:
            from gateway.commands.trend_plot import draw_trend

            draw_trend(trend, question, plot)
    if as_json:
        import json

        click.echo(json.dumps(trend_document(trend), indent=1, ensure_ascii=False))
    else:
        click.echo(trend_text(trend, question.register))
    if any(one.changed for one in trend.insulators):
        return Exit.FOUND
    return Exit.BLIND if any(one.changed is None for one in trend.insulators) else Exit.FINE


def _check_insulator(insulator: str | None, question: Question) -> None:
    if insulator is not None and insulator not in question.insulators:
        known = ", ".join(question.insulators)
        raise click.UsageError(f"--insulator is {insulator!r}; the site has {known}")


def _only(trend: SiteTrend, insulator: str | None) -> SiteTrend:
    from dataclasses import replace

    if insulator is None:
        return trend
    kept = tuple(one for one in trend.insulators if one.insulator == insulator)
    return replace(trend, insulators=kept)
