"""What came of a step: readings against their limits, what was entered, and the verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import Any


class Verdict(StrEnum):
    """blank: something is missing; it blocks 'in service' as a failure does."""

    PASSED = "passed"
    FAILED = "failed"
    BLANK = "blank"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One figure of a step. low, high: what is allowed, both included; None: not bounded there."""

    name: str
    figure: float
    unit: str = ""
    low: float | None = None
    high: float | None = None

    @property
    def holds(self) -> bool:
        """Whether it lies within its limits; a figure that is no number does not."""
        low_holds = self.low is None or self.figure >= self.low
        return low_holds and (self.high is None or self.figure <= self.high)

    @property
    def allowed(self) -> str:
        """The limits in words; "" where there are none."""
        if self.low is not None and self.high is not None:
            return f"{self.low:g} to {self.high:g}"
        if self.low is not None:
            return f"at least {self.low:g}"
        return "" if self.high is None else f"at most {self.high:g}"

    def line(self) -> str:
        """As shown to the fitter."""
        shown = f"{self.name}: {self.figure:.4g}{' ' + self.unit if self.unit else ''}"
        limits = f" (allowed: {self.allowed})" if self.allowed else ""
        return f"{'ok   ' if self.holds else 'FAULT'} {shown}{limits}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """entered: answers by key. missing: keys without an answer. note: what to do, or what was seen.

    faulty: failed for a reason that no reading shows; the note says it.
    """

    readings: tuple[Reading, ...] = ()
    entered: Mapping[str, str] = field(default_factory=dict)
    missing: tuple[str, ...] = ()
    note: str = ""
    faulty: bool = False
    at_us: int = 0
    software: str = ""
    settings_sha: str = ""

    @property
    def verdict(self) -> Verdict:
        if self.faulty or not all(one.holds for one in self.readings):
            return Verdict.FAILED
        return Verdict.BLANK if self.missing else Verdict.PASSED


def failed(note: str) -> Outcome:
    """Could not be carried out, or something else than expected was seen."""
    return Outcome(note=note, faulty=True)


def outcome_plain(outcome: Outcome) -> dict[str, Any]:
    """As JSON values, the verdict with it for those who read the file."""
    return {**asdict(outcome), "verdict": outcome.verdict.value}


def outcome_of(plain: Mapping[str, Any]) -> Outcome:
    """The outcome of JSON values. Raises KeyError or TypeError where it is none."""
    known = {key: part for key, part in plain.items() if key != "verdict"}
    known["readings"] = tuple(Reading(**one) for one in plain["readings"])
    known["missing"] = tuple(plain["missing"])
    return Outcome(**known)
