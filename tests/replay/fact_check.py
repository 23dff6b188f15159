"""Facts against what a replay wrote: a sentence for each that does not hold."""

from __future__ import annotations

import math
from collections.abc import Callable

from edge.quantities import State
from tests.replay.expectation import Expectation
from tests.replay.shelf import Replayed

COUNT_TOLERANCE = 0.02
"""Arcing half-cycles may be off by this; rounded outward to whole half-cycles."""

SHARE_TOLERANCE = 0.02
CHARGE_TOLERANCE = 0.05
"""Half-cycles about the limit of detection are the weak ones; 5 % of the charge may be theirs."""

EDGE_HALFCYCLES = 2
"""Half-cycles that may be missing at each end of a record or gap: a window begins at a zero."""

SPIKES_LEAST = 0.5
"""Of the half-cycles with a discharge to be seen, at least this share is counted as spiky where
there are no arcs and no film; in a film or beside arcs the truth does not say how many show."""


def faults_of(expectation: Expectation, found: Replayed) -> list[str]:
    """All facts that do not hold, in words; [] where all do."""
    return [fault for check in CHECKS for fault in check(expectation, found)]


def total(found: Replayed, column: str) -> float:
    """Sum of a column of windows.csv."""
    return math.fsum(float(row[column] or 0) for row in found.windows)


def _within(name: str, said: float, least: float, most: float) -> list[str]:
    if least <= said <= most:
        return []
    return [f"{name} is {said:g}; {least:g} to {most:g} by the truth"]


def insulators(expectation: Expectation, found: Replayed) -> list[str]:
    """Only the one insulator has rows."""
    names = {row["insulator"] for row in found.windows}
    return [] if names == {expectation.insulator} else [f"rows of {sorted(names)}"]


def cover(expectation: Expectation, found: Replayed) -> list[str]:
    """Windows cover what was sampled, never more, and begin no half-cycle twice."""
    facts = expectation.facts
    slack = EDGE_HALFCYCLES * 2 * facts.pieces
    slack_s = slack * facts.seconds / max(facts.halfcycles, 1)
    seconds = _within(
        "seconds", total(found, "seconds"), facts.seconds - slack_s, facts.seconds + 1e-3
    )
    most = facts.halfcycles + facts.doubtful + slack
    said = total(found, "halfcycles")
    return seconds + _within("halfcycles", said, facts.halfcycles - slack, most)


def unjudged(found: Replayed) -> float:
    """Half-cycles of windows that could not be judged; how many there may be, the states limit."""
    return math.fsum(
        float(row["halfcycles"]) for row in found.windows if row["state"] == State.UNKNOWN.value
    )


def arcing(expectation: Expectation, found: Replayed) -> list[str]:
    """Arcing half-cycles, together and by polarity; doubtful ones may fall either way."""
    facts, dark = expectation.facts, unjudged(found)
    faults = []
    for column, true, share in (
        ("arcing_halfcycles", facts.arcing, 1.0),
        ("arcing_positive", facts.arcing_positive, 0.5),
        ("arcing_negative", facts.arcing_negative, 0.5),
    ):
        least = math.floor(true * (1 - COUNT_TOLERANCE) - dark * share)
        most = math.ceil(true * (1 + COUNT_TOLERANCE)) + facts.doubtful
        faults += _within(column, total(found, column), max(least, 0), most)
    return faults


def charge(expectation: Expectation, found: Replayed) -> list[str]:
    """Charge of the arcing half-cycles, each of which weighs about the same."""
    facts = expectation.facts
    if not facts.arcing:
        return []
    doubt, dark = facts.doubtful / facts.arcing, unjudged(found) / facts.arcing
    least = facts.arcing_charge_c * (1 - CHARGE_TOLERANCE - dark)
    most = facts.arcing_charge_c * (1 + CHARGE_TOLERANCE + doubt)
    return _within("arcing_charge_c", total(found, "arcing_charge_c"), least, most)


def spikes(expectation: Expectation, found: Replayed) -> list[str]:
    """Corona on a dry surface is counted as spikes."""
    facts = expectation.facts
    if facts.arcing or State.WET in facts.states:
        return []
    said = total(found, "spike_halfcycles")
    return _within("spike_halfcycles", said, SPIKES_LEAST * facts.spikes, facts.spikes * 1.02)


def states(expectation: Expectation, found: Replayed) -> list[str]:
    """The share of time in each state; one that the truth does not know may not come at all."""
    whole = total(found, "seconds")
    faults = []
    for state in State:
        said = math.fsum(
            float(row["seconds"]) for row in found.windows if row["state"] == state.value
        )
        share = expectation.facts.states.get(state)
        least, most = (share.least, share.most) if share else (0.0, 0.0)
        faults += _within(
            f"share of {state.value}", said / whole, least - SHARE_TOLERANCE, most + SHARE_TOLERANCE
        )
    return faults


def flags(expectation: Expectation, found: Replayed) -> list[str]:
    """Flags that must stand somewhere, and those that must not."""
    seen = found.flags()
    absent = [f"flag {flag} is missing" for flag in expectation.flags if flag not in seen]
    wrong = [f"flag {flag} stands in a window" for flag in expectation.no_flags if flag in seen]
    return absent + wrong


def alarms(expectation: Expectation, found: Replayed) -> list[str]:
    """Exactly the alarms that are due without a delay; a gap may leave one unknown."""
    changes = found.conditions()
    raised = {one["alarm"] for one in changes if one["condition"] == "in"}
    due = set(expectation.facts.alarms)
    subjects = {one["subject"] for one in changes} - {expectation.insulator}
    faults = [f"alarm {alarm} is not raised" for alarm in sorted(due - raised)]
    faults += [f"alarm {alarm} is raised without cause" for alarm in sorted(raised - due)]
    return faults + [f"events of {subject!r}" for subject in sorted(subjects)]


CHECKS: tuple[Callable[[Expectation, Replayed], list[str]], ...] = (
    insulators,
    cover,
    arcing,
    charge,
    spikes,
    states,
    flags,
    alarms,
)
