"""The document of a month: every page in order, from its facts. Pure."""

from __future__ import annotations

import hashlib

from edge.version import __version__
from gateway.report.blocks import Block, Counter, Document
from gateway.report.end_pages import end_pages
from gateway.report.facts import Facts
from gateway.report.front_page import front_page
from gateway.report.insulator_pages import insulator_pages
from gateway.report.site_pages import site_pages
from gateway.report.wording import days_text, month_text
from gateway.trends.ranking import urgency


def composed(facts: Facts, author: str) -> Document:
    """One document; what prints it decides nothing of it."""
    ordered = sorted(facts.trend.insulators, key=urgency)
    count = Counter()
    blocks: list[Block] = [
        *front_page(facts, ordered),
        *site_pages(facts, ordered, count),
        *insulator_pages(facts, ordered, count),
        *end_pages(facts, ordered),
    ]
    site, month = facts.trend.site, facts.month
    by = f"prepared by {author}" if author else "prepared by seafret, unsigned"
    return Document(
        title=f"{site}: condition of insulators in {month_text(month.from_us)}",
        subtitle=(
            f"{days_text(month.from_us, month.to_us)}, all times UTC; {by}; seafret {__version__}; "
            f"settings {_settings(facts)}; data {data_hash(facts)[:12]}"
        ),
        foot=f"{site} {month_text(month.from_us)}  data {data_hash(facts)[:12]}  UTC",
        blocks=tuple(blocks),
    )


def data_hash(facts: Facts) -> str:
    """One SHA-256 over those of all insulators' rows."""
    whole = "\n".join(f"{name} {sha}" for name, sha in sorted(facts.hashes.items()))
    return hashlib.sha256(whole.encode()).hexdigest()


def _settings(facts: Facts) -> str:
    known = [sha for unit in facts.units for sha in unit.settings]
    known += [facts.register_sha] if facts.register_sha else []
    if not known:
        return "none"
    if len(known) == 1:
        return known[0][:12]
    return hashlib.sha256("\n".join(sorted(known)).encode()).hexdigest()[:12]
