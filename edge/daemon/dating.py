"""Time as data: anchors by the host where a source gives none, and what a better clock corrects.

Pure. A sensor unit with its own time source dates its samples itself; the host's clock stands in
for one that has none, and never overrules one that has.
"""

from __future__ import annotations

from dataclasses import dataclass

from edge.clock import Discipline
from edge.records import ClockCorrection, Record, UnitEvent
from edge.samples import AnchorSource, SampleBlock, SourceItem, TimeAnchor

ANCHOR_EVERY_S = 600.0
"""The host dates anew this often; a ten-minute row is never dated by an older anchor."""

ARRIVAL_ERROR_NS = 100_000_000
"""How late a block of the link may be seen by the host: its frame, the line and the reading."""

STEP_NS = 1_000_000_000
"""UTC that moves by more against the sample counter is a step, and told as an event."""

CRYSTAL_PPM = 50
"""How far a sample clock may be off; the error of an anchor grows by it (common practice)."""


@dataclass(frozen=True, slots=True)
class HostDating:
    """source_dates: the source has given a good anchor. due: counter of the next host anchor."""

    source_dates: bool = False
    due: int = 0
    synchronised: bool = False


def host_dated(
    dating: HostDating, item: SourceItem, now_us: int, known: Discipline, rate_hz: float
) -> tuple[HostDating, tuple[SourceItem, ...]]:
    """The item, with the host's anchor before it where one is due. now_us: when it came."""
    if isinstance(item, TimeAnchor):
        good = item.source is not AnchorSource.LOCAL
        kept = HostDating(dating.source_dates or good, dating.due, dating.synchronised)
        return kept, (item,) if good else ()
    better = known.synchronised and not dating.synchronised
    if not isinstance(item, SampleBlock) or dating.source_dates:
        return dating, (item,)
    if item.counter < dating.due and not better:
        return dating, (item,)
    ago_ns = round(len(item.samples) / rate_hz * 1e9)
    anchor = TimeAnchor(
        counter=item.counter,
        utc_ns=now_us * 1000 - ago_ns,
        error_ns=ARRIVAL_ERROR_NS + (known.error_us or 0) * 1000,
        source=AnchorSource.NTP if known.synchronised else AnchorSource.LOCAL,
        synchronised=known.synchronised,
    )
    due = item.counter + round(ANCHOR_EVERY_S * rate_hz)
    return HostDating(False, due, known.synchronised), (anchor, item)


@dataclass(frozen=True, slots=True)
class Dated:
    """The anchor in force, and since which counter the clock has not been synchronised (-1: is)."""

    anchor: TimeAnchor | None = None
    doubtful_from: int = -1


def anchored(
    dated: Dated, anchor: TimeAnchor, rate_hz: float, boot: str
) -> tuple[Dated, tuple[Record, ...]]:
    """What a further anchor says about what was dated before it."""
    before = dated.anchor
    doubtful = -1 if anchor.synchronised else anchor.counter
    if before is None:
        return Dated(anchor, doubtful), ()
    believed_ns = before.utc_ns + round((anchor.counter - before.counter) / rate_hz * 1e9)
    shift_ns = anchor.utc_ns - believed_ns
    records: list[Record] = []
    if abs(shift_ns) > STEP_NS:
        detail: dict[str, int | str] = {"shift_us": shift_ns // 1000}
        detail |= {"counter": anchor.counter, "source": anchor.source.value}
        records.append(UnitEvent(event="clock-step", at_us=anchor.utc_ns // 1000, detail=detail))
    if anchor.synchronised and dated.doubtful_from >= 0:
        records.append(
            ClockCorrection(
                boot=boot,
                from_counter=dated.doubtful_from,
                to_counter=anchor.counter,
                shift_us=shift_ns // 1000,
                error_us=anchor.error_ns // 1000,
                source=anchor.source.value,
            )
        )
    if not anchor.synchronised and dated.doubtful_from >= 0:
        doubtful = dated.doubtful_from
    return Dated(anchor, doubtful), tuple(records)


def utc_us(dated: Dated, counter: int, rate_hz: float) -> int:
    """UTC of a sample by the anchor in force; 0 before any."""
    if (anchor := dated.anchor) is None:
        return 0
    return anchor.utc_ns // 1000 + round((counter - anchor.counter) / rate_hz * 1e6)


def error_us(dated: Dated, counter: int, rate_hz: float) -> int | None:
    """Half-width of what is believed of `utc_us`; None before any anchor."""
    if (anchor := dated.anchor) is None:
        return None
    age_s = max(0.0, (counter - anchor.counter) / rate_hz)
    return anchor.error_ns // 1000 + round(age_s * CRYSTAL_PPM)
