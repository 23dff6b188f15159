"""`seafret score`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from edge.faults import Exit

if TYPE_CHECKING:
    from gateway.replay.answers import AnswerLabel

KINDS = ("arcing", "flashover", "sensor-fault")


@click.command(
    "score", epilog="Example: seafret score results --labels nights.csv --from 2026-10-01T00:00:00Z"
)
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option(
    "--labels",
    required=True,
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="CSV: start,end,subject,kind,confidence,who,version; UTC; subject empty: the site.",
)
@click.option("--from", "from_", metavar="TIME", help="Judge from this time on.")
@click.option("--to", metavar="TIME", help="Judge until this time.")
@click.option("--insulator", "insulators", multiple=True, metavar="ID", help="Only these.")
@click.option("--who", metavar="NAME", help="Only this annotator's labels.")
@click.option(
    "--kind",
    "kinds",
    multiple=True,
    default=KINDS[:2],
    show_default=True,
    type=click.Choice(KINDS),
    metavar="KIND",
    help="Kinds of events: arcing, flashover, sensor-fault.",
)
@click.option(
    "--before",
    default="1h",
    show_default=True,
    metavar="DURATION",
    help="An alarm tells an event if it begins no longer before it ...",
)
@click.option(
    "--after",
    default="15min",
    show_default=True,
    metavar="DURATION",
    help="... and no longer after it.",
)
@click.option(
    "--join",
    default="1h",
    show_default=True,
    metavar="DURATION",
    help="Labels of one kind and subject nearer than this are one event.",
)
@click.option(
    "--confidence",
    default=0.5,
    show_default=True,
    metavar="SHARE",
    type=click.FloatRange(0, 1),
    help="Less sure events are not judged.",
)
@click.option(
    "--data",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="The gateway's history, for the operators' answers; with --site.",
)
@click.option("--site", metavar="SITE", help="Whose answers.")
@click.option("--force", is_flag=True, help="Even where the limits were tuned on this period.")
@click.option("--json", "as_json", is_flag=True, help="For scripts: one JSON object.")
def command(
    folder: Path,
    labels: Path,
    from_: str | None,
    to: str | None,
    insulators: tuple[str, ...],
    who: str | None,
    kinds: tuple[str, ...],
    before: str,
    after: str,
    join: str,
    confidence: float,
    data: Path | None,
    site: str | None,
    force: bool,
    as_json: bool,
) -> Exit:
    """A replay's events against labels: what was told, missed, and called in vain.

    Kinds of labels: arcing, flashover, salt-storm, wash, rain, lightning, switching, bird, noise,
    sensor-fault; test and unknown are not judged; tuned-on marks time on which limits were tuned
    (column settings_sha: whose), and that cannot judge them.

    Exit code 0: judged, whatever came of it.
    """
    import json
    import sys

    from gateway.commands.durations import duration_s
    from gateway.replay.judging import Asked, judge
    from gateway.replay.labels import Kind
    from gateway.replay.results import read_run
    from gateway.replay.score_document import score_document, score_text
    from gateway.replay.scoring import Rules

    rules = Rules(
        before_us=duration_s("--before", before) * 1_000_000,
        after_us=duration_s("--after", after) * 1_000_000,
        join_us=duration_s("--join", join) * 1_000_000,
        confidence_ppm=round(confidence * 1e6),
        kinds=tuple(Kind(name) for name in dict.fromkeys(kinds)),
        period=_period(from_, to),
    )
    answers = _answers(data, site)
    told = judge(read_run(folder), Asked(labels, rules, insulators, who, force), answers)
    for text in told.labels.warnings:
        print(f"warning: {text}", file=sys.stderr)
    if as_json:
        click.echo(json.dumps(score_document(told, who), indent=2, ensure_ascii=False))
    else:
        click.echo(score_text(told))
    return Exit.FINE


def _period(from_: str | None, to: str | None) -> tuple[int, int]:
    from edge.quantities import INT64_MAX
    from gateway.replay.instants import instant_us

    start_us = 0 if from_ is None else instant_us(from_, "--from")
    return start_us, INT64_MAX if to is None else instant_us(to, "--to")


def _answers(data: Path | None, site: str | None) -> tuple[AnswerLabel, ...] | None:
    if (data is None) != (site is None):
        raise click.UsageError("--data and --site belong together: give both or neither")
    if data is None or site is None:
        return None
    from gateway.history.opening import open_history
    from gateway.replay.judging import journal_answers

    reader = open_history(data).reader(site)
    try:
        return journal_answers(reader)
    finally:
        reader.close()
