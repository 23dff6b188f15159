"""A result judged by a file of labels: what is read, what is refused, what is stated with it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from pathlib import Path

from edge.version import __version__
from gateway.alarms.journal import read_entry
from gateway.history.store import SiteReader
from gateway.replay.answers import AnswerCount, AnswerLabel, answer_counts, answer_labels
from gateway.replay.held_out import ScoringRefused, tuned_within
from gateway.replay.labels import LabelSet, LabelsFault, read_labels
from gateway.replay.occurrences import occurrences
from gateway.replay.results import Run
from gateway.replay.scoring import Rules, Score, scored
from gateway.replay.watched import Span, holds

JOURNAL_PAGE = 5000
"""Lines of an alarm journal that are read at a time."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What a person wants judged. insulators: () for all. who: one annotator alone."""

    labels: Path
    rules: Rules
    insulators: tuple[str, ...] = ()
    who: str | None = None
    forced: bool = False


@dataclass(frozen=True, slots=True)
class Verdicts:
    """A score with all that it rests on. tuned: parts of the period that cannot judge the limits,
    which was overridden. answers: None where no journal was given.
    """

    run: Run
    labels: LabelSet
    score: Score
    tuned: tuple[Span, ...]
    answers: tuple[AnswerCount, ...] | None
    software: str = f"seafret {__version__}"


def judge(run: Run, asked: Asked, answers: tuple[AnswerLabel, ...] | None = None) -> Verdicts:
    """Judges a run. Raises LabelsFault, ScoringRefused, OSError."""
    labels = _labels(run, asked)
    chosen = _chosen(run, asked.insulators)
    rules = _bounded(asked.rules, run)
    tuned = tuned_within(labels.labels, run.tuned_on, run.settings_sha, chosen, rules.period)
    if tuned and not asked.forced:
        raise ScoringRefused(
            f"{asked.labels}: these limits (settings {run.settings_sha}) were tuned on part of the "
            "period; score another period (--from, --to) or other insulators (--insulator), or "
            "--force and say so"
        )
    alarms = occurrences(run.changes)
    watched = {name: run.watched.get(name, ()) for name in chosen}
    counts = None
    if answers is not None:
        own = [
            one
            for one in answers
            if one.subject in ("", *chosen) and holds((rules.period,), one.start_us)
        ]
        counts = answer_counts(own, alarms, rules.before_us, rules.after_us)
    return Verdicts(run, labels, scored(alarms, labels.labels, watched, rules), tuned, counts)


def _labels(run: Run, asked: Asked) -> LabelSet:
    try:
        text = asked.labels.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as fault:
        raise LabelsFault(
            f"{asked.labels}: byte {fault.start} is no UTF-8; save the file as UTF-8 text"
        ) from fault
    return read_labels(text, str(asked.labels), run.insulators, site_names(run), asked.who)


def site_names(run: Run) -> tuple[str, ...]:
    """Words that mean the whole site, as far as the settings of the run tell them."""
    settings = run.settings or {}
    unit = str(settings.get("unit", {}).get("id", ""))
    names = (unit, unit.partition(".")[0], str(settings.get("site", {}).get("name", "")))
    return tuple(name for name in names if name)


def _chosen(run: Run, insulators: Collection[str]) -> tuple[str, ...]:
    unknown = [name for name in insulators if name not in run.insulators]
    if unknown:
        raise ScoringRefused(
            f"--insulator {', '.join(unknown)}: not in {run.folder}; there are "
            f"{', '.join(run.insulators)}"
        )
    return tuple(name for name in run.insulators if not insulators or name in insulators)


def _bounded(rules: Rules, run: Run) -> Rules:
    """The period within what the run covers."""
    period = max(rules.period[0], run.period[0]), min(rules.period[1], run.period[1])
    if period[1] <= period[0]:
        raise ScoringRefused(f"{run.folder}: nothing was watched between --from and --to")
    return replace(rules, period=period)


def journal_answers(reader: SiteReader) -> tuple[AnswerLabel, ...]:
    """The answers in a site's alarm journal. Raises JournalFault, HistoryFault."""
    entries = []
    last = 0
    while page := reader.journal(after=last, limit=JOURNAL_PAGE):
        entries += [read_entry(line.body) for line in page]
        last = page[-1].number
    return answer_labels(entries)
