"""What stands behind it all: limits in force, what cannot be seen, open actions, provenance."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.version import __version__
from gateway.report.blocks import Block, Heading, Prose, Table
from gateway.report.facts import Facts
from gateway.report.wording import CAUTIONS, LIMITATIONS, by_name
from gateway.trends.assessment import BASELINE_NIGHTS, GOOD_SHARE_LEAST
from gateway.trends.change import InsulatorTrend
from gateway.trends.document import utc_text
from gateway.trends.moves import FALSE_ALARMS, SHIFT_LEAST_PCT, STEP_LEAST
from gateway.trends.response import ONSET_SHARE, REFERENCE_RH_PCT
from gateway.trends.standing import HEAVY_H, HEAVY_SHARE


def end_pages(facts: Facts, ordered: list[InsulatorTrend]) -> Iterator[Block]:
    """In this order."""
    yield Heading("Behind it", 1, new_page=True)
    yield Heading("Limits in force", 2)
    yield from _limits(facts, ordered)
    yield Heading("What leakage current cannot show", 2)
    for text in LIMITATIONS:
        yield Prose(text, "plain")
    yield Heading("Cautions", 2)
    for text in CAUTIONS:
        yield Prose(text, "caution")
    yield Heading("Provenance", 2)
    yield from _provenance(facts)
    yield Heading("Seen and agreed", 2)
    yield Table(("name", "role", "date", "signature"), ((" ", " ", " ", " "),) * 2,
                (0.3, 0.25, 0.15, 0.3), tall=True)  # fmt: skip


def _limits(facts: Facts, ordered: list[InsulatorTrend]) -> Iterator[Block]:
    rows = tuple(
        (
            one.id.value, str(one.priority),
            "; ".join(
                f"{limit.quantity} {limit.side.value} {limit.at:,}, back {limit.deadband:,}"
                for limit in one.limits
            ) or one.valid_when,
            f"{one.on_delay_s} / {one.off_delay_s}", one.owner,
        )
        for one in DEFAULT_ALARMS
    )  # fmt: skip
    head = (
        "alarm, as delivered",
        "prio",
        "limits in the unit of the quantity",
        "delay on / off s",
        "owner",
    )
    yield Table(head, rows, (0.2, 0.06, 0.46, 0.13, 0.15), small=True)
    hashes = sorted({sha for unit in facts.units for sha in unit.settings})
    changed = f"{len(hashes)} settings were in force in the month" if hashes else "no unit said any"
    yield Prose(
        "A site may set others; each row and alarm carries the hash of the settings it was made "
        f"under: {changed}. Trends: reference humidity {REFERENCE_RH_PCT:g} %, onset at "
        f"{ONSET_SHARE:.0%} of the plateau, smallest step {np.exp(STEP_LEAST):.2f}, smallest "
        f"shift {SHIFT_LEAST_PCT:g} % RH, false alarms of a site {FALSE_ALARMS:.0%}; good data "
        f"from {GOOD_SHARE_LEAST:.0%} of the wet hours; {BASELINE_NIGHTS} wet nights of "
        f"reference; heavy arcing from {HEAVY_H:g} h and {HEAVY_SHARE:.0%} of the wet hours.",
        "note",
    )
    if facts.limit_changes:
        changes = tuple(
            (utc_text(one.at_us), one.unit, f"version {one.version} {one.what}", one.who,
             one.reason)
            for one in facts.limit_changes
        )  # fmt: skip
        head = ("changed, UTC", "unit", "what", "by", "why")
        yield Table(head, changes, (0.2, 0.2, 0.2, 0.15, 0.25), small=True)
    else:
        yield Prose("No change of limits is on record for the month.", "note")
    near = ", ".join(f"{one.insulator} {one.standing.near_ma:.0f}" for one in ordered)
    yield Prose(f"Near flashover from [mA peak]: {near}.", "note")


def _provenance(facts: Facts) -> Iterator[Block]:
    rows = [("software", f"seafret {__version__}")]
    rows += [("register", facts.register_sha or "none given")]
    rows += [(f"settings of {unit.unit}", sha) for unit in facts.units for sha in unit.settings]
    named = sorted(facts.hashes.items(), key=lambda one: by_name(one[0]))
    rows += [(f"rows of {name}", sha) for name, sha in named]
    yield Table(("what", "SHA-256, or version"), tuple(rows), (0.25, 0.75), small=True)
