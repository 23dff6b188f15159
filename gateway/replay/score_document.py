"""A score for scripts and for people: one JSON object, and text of 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from gateway.replay.comparison_document import (
    LISTED_MAX,
    WIDTH,
    occurrence_document,
    printable,
    utc_text,
)
from gateway.replay.exact import LEVEL, Rate, Share
from gateway.replay.figures import LeadTimes, ScoreFigures, score_figures
from gateway.replay.judging import Verdicts
from gateway.replay.scoring import TOLD_BY, Judged, Rules, Verdict
from gateway.replay.watched import length_us

FEW = 10
"""Fewer events than this: a word of caution is said beside the figures. Design choice."""

HOUR_US = 3_600_000_000


def score_document(told: Verdicts, who: str | None = None) -> dict[str, Any]:
    """Everything, as plain JSON. who: the one annotator that was asked for."""
    score, run = told.score, told.run
    return {
        "software": told.software,
        "run": {
            "result": str(run.folder),
            "software": run.software,
            "settings_sha": run.settings_sha,
            "inputs": dict(run.inputs),
        },
        "labels": {
            "sha": told.labels.sha,
            "count": len(told.labels.labels),
            "versions": sorted({one.version for one in told.labels.labels}),
            "asked_who": who,
            "who": sorted({one.who for one in told.labels.labels}),
        },
        "rules": _rules(score.rules),
        "tuned_on_the_same_period": [[utc_text(a), utc_text(b)] for a, b in told.tuned],
        "figures": figures_document(score_figures(score)),
        "watched_s": {name: length_us(spans) / 1e6 for name, spans in score.watched.items()},
        "alarms": {
            "true": len(score.true_alarms),
            "false": len(score.false_alarms),
            "left_out": len(score.left_out),
        },
        "events": [_event(one) for one in score.judged],
        "false_alarms": [
            {**occurrence_document(one.alarm), "around": [kind.value for kind in one.around]}
            for one in score.false_alarms
        ],
        "answers": None if told.answers is None else [asdict(one) for one in told.answers],
    }


def _rules(rules: Rules) -> dict[str, Any]:
    return {
        "before_s": rules.before_us / 1e6,
        "after_s": rules.after_us / 1e6,
        "join_s": rules.join_us / 1e6,
        "confidence": rules.confidence_ppm / 1e6,
        "kinds": {kind.value: list(TOLD_BY[kind]) for kind in rules.kinds},
        "from": utc_text(rules.period[0]),
        "to": utc_text(rules.period[1]),
        "interval_level": LEVEL,
    }


def figures_document(found: ScoreFigures) -> dict[str, Any]:
    """The figures alone, lead times in seconds."""
    return {
        "recall": asdict(found.recall),
        "precision": asdict(found.precision),
        "chance_recall": found.chance_recall,
        "chance_precision": found.chance_precision,
        "lead": _lead(found.lead),
        "by_kind": {
            kind.value: {"recall": asdict(one.recall), "lead": _lead(one.lead)}
            for kind, one in found.by_kind.items()
        },
        "false_per_insulator_month": asdict(found.false_per_insulator_month),
        "false_per_operator_month": asdict(found.false_per_operator_month),
        "insulator_months": found.insulator_months,
        "operator_months": found.operator_months,
    }


def _lead(lead: LeadTimes) -> dict[str, Any]:
    moments = {"median_s": lead.median_us, "tenth_s": lead.tenth_us}
    moments |= {"least_s": lead.least_us, "most_s": lead.most_us}
    seconds = {name: None if us is None else us / 1e6 for name, us in moments.items()}
    return {"count": lead.count, **seconds}


def _event(one: Judged) -> dict[str, Any]:
    return {
        "verdict": one.verdict.value,
        "kind": one.event.kind.value,
        "subject": one.event.subject,
        "start": utc_text(one.event.start_us),
        "end": utc_text(one.event.end_us),
        "label_lines": list(one.event.lines),
        "alarms": one.alarms,
        "first": None if one.first is None else occurrence_document(one.first),
        "lead_s": None if one.lead_us is None else one.lead_us / 1e6,
        "standing": None if one.standing is None else occurrence_document(one.standing),
        "why": one.why,
    }


def score_text(told: Verdicts) -> str:
    """For a terminal."""
    score = told.score
    found = score_figures(score)
    lines = [
        str(told.run.folder),
        f"settings {told.run.settings_sha}, {told.run.software}, labels {told.labels.sha}",
        *_rule_lines(score.rules),
        *_warnings(told, found),
        "",
        *_figure_lines(found),
        "",
        *_missed(told),
        *_false(told),
        *_not_judged(told),
        *_answer_lines(told),
        "Time that no label covers counts as quiet. No figure is point-adjusted.",
    ]
    return "\n".join(printable(line) for line in lines)


def _rule_lines(rules: Rules) -> Iterator[str]:
    yield f"judged: {utc_text(rules.period[0])[:19]}Z to {utc_text(rules.period[1])[:19]}Z"
    said = (
        f"told: by an alarm that begins from {rules.before_us / 1e6:g} s before the event to "
        f"{rules.after_us / 1e6:g} s after it; labels nearer than {rules.join_us / 1e6:g} s are "
        "one event"
    )
    yield from textwrap.wrap(said, WIDTH)


def _warnings(told: Verdicts, found: ScoreFigures) -> Iterator[str]:
    if told.tuned:
        yield "FORCED: these limits were tuned on part of this period; the figures flatter"
    if found.recall.of < FEW:
        yield f"only {found.recall.of} events: see how wide the intervals are"


def _figure_lines(found: ScoreFigures) -> Iterator[str]:
    yield f"  {'':<32}{'of':>11}{'':>9}{f'{LEVEL:.0%} interval':>17}{'chance':>9}"
    yield _share("events told (recall)", found.recall, found.chance_recall)
    for kind, one in found.by_kind.items():
        yield _share(f"  {kind.value}", one.recall, None)
    yield _share("alarms that tell one (precision)", found.precision, found.chance_precision)
    yield _rate("false alarms, insulator-month", found.false_per_insulator_month)
    yield _rate("false alarms, operator-month", found.false_per_operator_month)
    yield "  lead of the first alarm, s (negative: late)"
    yield f"  {'':<20}{'n':>5}{'median':>11}{'tenth':>11}{'least':>11}{'most':>11}"
    for kind, one in found.by_kind.items():
        yield _lead_line(kind.value, one.lead)
    yield _lead_line("all", found.lead)


def _share(words: str, found: Share, chance: float | None) -> str:
    by_chance = "" if chance is None else f"{chance:.1%}"
    if found.share is None or found.low is None or found.high is None:
        return f"  {words:<32}{'none':>11}{'-':>9}{'-':>17}{by_chance:>9}"
    interval = f"{found.low:.1%}..{found.high:.1%}"
    counts = f"{found.count}/{found.of}"
    return f"  {words:<32}{counts:>11}{found.share:>9.1%}{interval:>17}{by_chance:>9}"


def _rate(words: str, found: Rate) -> str:
    if found.rate is None or found.low is None or found.high is None:
        return f"  {words:<32}{'unwatched':>11}"
    counts = f"{found.count}/{found.exposure:.3g}"
    return f"  {words:<32}{counts:>11}{found.rate:>9.3g}{f'{found.low:.3g}..{found.high:.3g}':>17}"


def _lead_line(words: str, lead: LeadTimes) -> str:
    moments = (lead.median_us, lead.tenth_us, lead.least_us, lead.most_us)
    cells = (f"{'-' if us is None else format(us / 1e6, '.6g'):>11}" for us in moments)
    return f"  {words:<20}{lead.count:>5}{''.join(cells)}"


def _missed(told: Verdicts) -> Iterator[str]:
    missed = told.score.of(Verdict.MISSED)
    yield f"missed: {len(missed) or 'none'}"
    for one in missed[:LISTED_MAX]:
        yield f"  {_event_words(one)}"
        if one.standing is not None:
            yield f"    an alarm stood since {utc_text(one.standing.start_us)[:19]}Z"
    yield from _more(len(missed))


def _event_words(one: Judged) -> str:
    lines = f"label line {', '.join(map(str, one.event.lines[:3]))}"
    subject = one.event.subject or "(the site)"
    return f"{utc_text(one.event.start_us)[:19]}Z  {one.event.kind.value:<13}{subject}, {lines}"


def _false(told: Verdicts) -> Iterator[str]:
    false = told.score.false_alarms
    yield f"false: {len(false) or 'none'}"
    for one in false[:LISTED_MAX]:
        around = f", during {', '.join(kind.value for kind in one.around)}" if one.around else ""
        subject = one.alarm.subject or "(the unit)"
        moment = utc_text(one.alarm.start_us)[:19]
        yield f"  {moment}Z  {one.alarm.alarm:<20}{subject}{around}"
    yield from _more(len(false))


def _not_judged(told: Verdicts) -> Iterator[str]:
    left = told.score.of(Verdict.NOT_JUDGED)
    alarms = len(told.score.left_out)
    if left or alarms:
        yield f"not judged: {len(left)} events, {alarms} alarms in unknown or test time"
    for one in left[:LISTED_MAX]:
        yield f"  {_event_words(one)}: {one.why}"
    yield from _more(len(left))


def _more(count: int) -> Iterator[str]:
    if count > LISTED_MAX:
        yield f"  and {count - LISTED_MAX} more; --json has all"


def _answer_lines(told: Verdicts) -> Iterator[str]:
    if told.answers is None:
        return
    yield "operators' answers, apart from the labels (given only where an alarm called):"
    yield f"  {'':<16}{'given':>8}{'would call again':>20}"
    for one in told.answers:
        yield f"  {one.answer.value:<16}{one.given:>8}{one.calls_again:>20}"
