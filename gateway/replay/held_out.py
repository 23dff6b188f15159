"""Limits must not be judged on the time on which they were tuned."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from gateway.replay.labels import Kind, Label
from gateway.replay.watched import Span


class ScoringRefused(ValueError):
    """The analyst's: what was asked for would flatter."""


def tuned_within(
    labels: Iterable[Label],
    tuned_on: Iterable[tuple[int, int, str]],
    settings_sha: str,
    insulators: Collection[str],
    period: Span,
) -> tuple[Span, ...]:
    """The parts of the period on which these settings were tuned, as the labels and the run say.

    A label speaks of the settings whose hash it begins with, or of any; a subject leaves out the
    other insulators.
    """
    said = [
        (one.start_us, one.end_us, one.subject)
        for one in labels
        if one.kind is Kind.TUNED_ON and settings_sha.startswith(one.settings_sha)
    ]
    return tuple(
        (max(start_us, period[0]), min(end_us, period[1]))
        for start_us, end_us, subject in sorted((*said, *tuned_on))
        if start_us < period[1] and end_us > period[0] and (not subject or subject in insulators)
    )
