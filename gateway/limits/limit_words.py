"""Limits as people read and write them: a word, a unit, and the factor to the whole number."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from edge.quantities import INT64_MAX
from gateway.limits.changing import ChangeRefused
from gateway.limits.contents import OFF, ON, OWNER, PRIORITY, REASON


@dataclass(frozen=True, slots=True)
class Written:
    """word: what it is. unit: as people say it. per: so many whole units are one of theirs,
    a power of ten, so that every whole number can be written and read again exactly.
    is_yes: a condition that is there or not; such a limit is nobody's to set."""

    word: str
    unit: str = ""
    per: int = 1
    is_yes: bool = False


WRITTEN: Mapping[str, Written] = {
    "arcing_halfcycles_per_min": Written("arcing half-cycles a minute"),
    "arc_pulses_100ma": Written("arcing half-cycles over 100 mA in ten seconds"),
    "arcing_peak_ua": Written("arcing peak", "mA", 1_000),
    "arc_to_silence_us": Written("from last arc to silence, at most", "s", 1_000_000),
    "clipped_halfcycles": Written("clipped half-cycles in a row"),
    "conducting_ppm": Written("share of the time that current flows", "%", 10_000),
    "air_dry_us": Written("air dry for", "s", 1_000_000),
    "rh_cpct": Written("air is dry below a humidity of", "%", 100),
    "sensor_fault": Written("sensor fault", is_yes=True),
    "clock_unsynchronised": Written("clock not synchronised", is_yes=True),
    "clock_error_us": Written("clock error", "ms", 1_000),
    "storage_free_ppm": Written("free storage, less than", "%", 10_000),
    "failure_or_out_of_specification": Written("failure or out of specification", is_yes=True),
    ON: Written("delay before it comes", "s"),
    OFF: Written("delay before it goes", "s"),
    PRIORITY: Written("priority"),
}
"""Every quantity that an alarm is limited by, and what else may be set; its test finds one that
is missing."""

WORDS = {OWNER: "owner", REASON: "reason"}


def word_of(what: str) -> str:
    """What it is."""
    return WORDS[what] if what in WORDS else WRITTEN[what].word


def unit_of(what: str) -> str:
    """What it is written in, "" for a bare number."""
    return WRITTEN[what].unit


def bare(what: str, at: int) -> str:
    """The amount as it is typed: exact, without unit."""
    text = f"{Decimal(at) / WRITTEN[what].per:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def amount(what: str, at: int | str) -> str:
    """The amount with its unit; yes for a condition that is there or not."""
    if isinstance(at, str):
        return at
    written = WRITTEN[what]
    if written.is_yes:
        return "yes"
    if written.unit == "s":
        return _lasting(what, at)
    return f"{bare(what, at)} {written.unit}".strip()


def _lasting(what: str, at: int) -> str:
    """In the largest unit that leaves nothing over."""
    for unit, seconds in (("h", 3_600), ("min", 60)):
        whole, over = divmod(at, seconds * WRITTEN[what].per)
        if whole and not over:
            return f"{whole} {unit}"
    return f"{bare(what, at)} s"


def read_amount(what: str, text: str) -> int:
    """The whole number that is meant, exactly. Raises ChangeRefused."""
    written = WRITTEN[what]
    try:
        found = Decimal(text.strip().replace(",", "."))
        whole = found * written.per
        exact = whole == whole.to_integral_value() and 0 <= whole <= INT64_MAX
    except (InvalidOperation, ValueError):
        exact, whole = False, Decimal(0)
    if not exact:
        least = bare(what, 1)
        unit = f" {written.unit}" if written.unit else ""
        raise ChangeRefused(
            f"{written.word}: {text.strip()[:40]!r} is no amount; write a number of at least 0, "
            f"in steps of {least}{unit}"
        )
    return int(whole)
