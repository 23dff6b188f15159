"""What a person decided about an insulator, beside what the program advised at that moment.

A line is written once and never changed; a changed mind is a new line.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass

from edge.wire import canonical
from gateway.trends.assessment import Decision
from gateway.trends.change import InsulatorTrend, SiteTrend
from gateway.trends.columns import Period

NOTE_CHARACTERS_MAX = 500
"""A longer note is refused."""
NAME_CHARACTERS_MAX = 64
"""A longer name, of a person or of a work order, is refused."""


class DecisionFault(ValueError):
    """What was to be written down is not allowed, or a line is not as it was written."""


@dataclass(frozen=True, slots=True)
class Advised:
    """What the program said at that moment. index_ratio_ppm: None where it could not be said."""

    decision: Decision
    rule: str
    cause: str
    reasons: tuple[str, ...]
    index_ratio_ppm: int | None
    reference: Period
    now: Period


@dataclass(frozen=True, slots=True)
class Decided:
    """by: who. reference: a work order. at_us: UTC when it was written down. advised: None where
    the program could not be asked."""

    at_us: int
    insulator: str
    decision: Decision
    by: str
    note: str = ""
    reference: str = ""
    advised: Advised | None = None

    @property
    def agrees(self) -> bool | None:
        """Whether the person followed the advice; None where there was none."""
        return None if self.advised is None else self.decision is self.advised.decision


def advised_by(trend: SiteTrend, one: InsulatorTrend) -> Advised:
    """What is written down of the program's advice."""
    ratio = None if one.index_ratio is None else round(one.index_ratio * 1_000_000)
    return Advised(
        one.advice.decision,
        one.advice.name,
        one.cause.value,
        one.reasons,
        ratio,
        trend.reference,
        trend.now,
    )


def checked(decided: Decided) -> Decided:
    """The same. Raises DecisionFault, saying what is allowed."""
    if not decided.by.strip():
        raise DecisionFault("by is empty; a decision needs the name of the person who takes it")
    for name, text, most in (
        ("by", decided.by, NAME_CHARACTERS_MAX),
        ("reference", decided.reference, NAME_CHARACTERS_MAX),
        ("note", decided.note, NOTE_CHARACTERS_MAX),
    ):
        if len(text) > most or not text.isprintable():
            raise DecisionFault(f"{name} is {text[:60]!r}; it must be printable, at most {most}")
    return decided


def decided_line(decided: Decided) -> bytes:
    """The canonical line."""
    return canonical(asdict(checked(decided)))


def read_decided(line: bytes) -> Decided:
    """The decision of a line that `decided_line` made. Raises DecisionFault."""
    try:
        plain = json.loads(line)
        told = plain.pop("advised")
        decision = Decision(plain.pop("decision"))
        return Decided(decision=decision, advised=None if told is None else _advised(told), **plain)
    except (ValueError, TypeError, KeyError, AssertionError) as fault:
        raise DecisionFault(
            f"decisions: {fault}; the line must be as it was written: {line[:200]!r}; restore the "
            "site's file from its copy"
        ) from fault


def _advised(told: dict[str, object]) -> Advised:
    spans = {name: Period(**told.pop(name)) for name in ("reference", "now")}  # type: ignore[arg-type]
    reasons = told.pop("reasons")
    assert isinstance(reasons, list)
    decision = Decision(str(told.pop("decision")))
    return Advised(decision=decision, reasons=tuple(reasons), **spans, **told)  # type: ignore[arg-type]
