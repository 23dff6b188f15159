"""Words and numbers as the report prints them; one way for both forms."""

from __future__ import annotations

import re

import numpy as np

from gateway.trends.assessment import Decision
from gateway.trends.change import InsulatorTrend
from gateway.trends.document import utc_text

DECISION_WORDS = {
    Decision.NONE_INDICATED: "none indicated",
    Decision.INSPECT: "inspect",
    Decision.WASH: "wash",
    Decision.RECOAT: "re-coat",
    Decision.REPLACE: "plan replacement",
    Decision.CANNOT_DECIDE: "cannot decide",
}
BY_THE_CURRENT = (
    "'None indicated' means by the current: faults of the core and of interfaces are invisible to "
    "it."
)
LIMITATIONS = (
    "Leakage current does not see the rod, the core and its interface to the housing, fittings, or "
    "anything inside: none of these faults is excluded by any line of this report.",
    "The index is relative. It compares a surface with its own past and with siblings of one type "
    "and stress; it is no severity class unless deposits were measured on the same structure.",
    "Exposure is shown and ranked. No remaining life is given: no published coefficient from "
    "charge or arcing to erosion was found.",
    "The margin rests on a formula for hydrophilic ceramic (Verma 1978, as recalled) that is not "
    "shown for silicone; the two readings of specific creepage differ threefold, and the lower is "
    "used.",
    "Limits of shape and level are design choices, not taken from a standard; only labelled "
    "recordings from real insulators could confirm them.",
    "Lost or doubted data are left out and never counted as calm. An interval holds the truth 90 % "
    "of the time only if the future is drawn like the past.",
)
CAUTIONS = (
    "Monitoring only: not protection, no interlock, no proof that anything is dead or safe to "
    "approach. A quiet trace may be a dead sensor.",
    "An arcing insulator can flash over without warning: keep clear; no washing and no live work "
    "on it without the responsible engineer.",
    "Never open a collector lead or shunt while energised: earth the ring first. Isolate, prove "
    "dead and earth under permit before touching sensor or ring.",
    "Washing, live work and approach distances follow local codes, the utility's own rules and "
    "licensed people. Site rules always prevail.",
)


def by_name(name: str) -> tuple[tuple[bool, int, str], ...]:
    """Sorts P2 before P10."""
    parts = re.findall(r"\d+|\D+", name)
    return tuple((one.isdigit(), int(one) if one.isdigit() else 0, one) for one in parts)


def month_text(at_us: int) -> str:
    """YYYY-MM."""
    return utc_text(at_us)[:7]


def day_text(at_us: int) -> str:
    """YYYY-MM-DD."""
    return utc_text(at_us)[:10]


def days_text(from_us: int, to_us: int) -> str:
    """First to last day, both included."""
    return f"{day_text(from_us)} to {day_text(to_us - 1)}"


def ratio_text(one: InsulatorTrend) -> str:
    """The index ratio with its interval."""
    if one.index_ratio is None or one.index_ratio_low is None or one.index_ratio_high is None:
        return "cannot be said"
    return f"{one.index_ratio:.2f} ({one.index_ratio_low:.2f} to {one.index_ratio_high:.2f})"


def share_text(share: float | None) -> str:
    """Per cent, rounded down so that nothing short of all is called 100 %."""
    return "-" if share is None else f"{np.floor(share * 1000) / 10:.1f} %"


def number_or_dash(number: float | None, places: int) -> str:
    """With so many decimals."""
    return "-" if number is None else f"{number:,.{places}f}"


def seconds_text(seconds: float) -> str:
    """Minutes, hours or days."""
    for unit, size in (("d", 86_400.0), ("h", 3_600.0), ("min", 60.0)):
        if seconds >= size:
            return f"{seconds / size:.1f} {unit}"
    return f"{seconds:.0f} s"
