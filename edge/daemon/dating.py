"""Time as data: anchors by the host where a source gives none, and what a better clock corrects.

Pure. A sensor unit with its own time source dates its samples itself; the host's clock stands in
for one that has none, and never overrules one that has.
"""

from __future__ import annotations

from collections.abc import Mapping
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
    """The anchor in force, and what was dated by a clock that nobody kept.

    doubts: stretches of the counter up to now, each with what is already known to be added to its
    dates [us]; a step of such a clock begins a new one. Empty while the clock is kept.
    """

    anchor: TimeAnchor | None = None
    doubts: tuple[tuple[int, int], ...] = ()


STATE = "dating"
"""Name of the state in the durable file."""


def kept_plain(dated: Dated, boot: str) -> object:
    """What a restart needs so that what is in doubt can still be corrected; None while nothing is.

    boot: of the machine, for the counters and the clock are of one."""
    if dated.anchor is None or not dated.doubts:
        return None
    anchor = dated.anchor
    marks = [anchor.counter, anchor.utc_ns, anchor.error_ns, anchor.source.value]
    return {"boot": boot, "anchor": marks, "doubts": [list(one) for one in dated.doubts]}


def recalled(plain: object, boot: str) -> Dated:
    """What `kept_plain` kept in the same boot."""
    if not isinstance(plain, Mapping) or plain["boot"] != boot:
        return Dated()
    counter, utc_ns, error_ns, source = plain["anchor"]
    anchor = TimeAnchor(counter, utc_ns, error_ns, AnchorSource(source), synchronised=False)
    return Dated(anchor, tuple((start, known_us) for start, known_us in plain["doubts"]))


DOUBTS_MAX = 64
"""Steps remembered of a clock that nobody keeps; beyond it the oldest two are taken for one."""


def anchored(
    dated: Dated, anchor: TimeAnchor, rate_hz: float, boot: str
) -> tuple[Dated, tuple[Record, ...]]:
    """What a further anchor says about what was dated before it."""
    if dated.anchor is not None and anchor.counter < dated.anchor.counter:
        dated = Dated()  # the sensor unit counts anew: nothing follows for what it counted before
    shift_us = 0 if dated.anchor is None else _shift_us(dated.anchor, anchor, rate_hz)
    stepped = abs(shift_us) * 1000 > STEP_NS
    records = [*_told(dated.anchor, anchor), *(_step(anchor, shift_us) if stepped else ())]
    if anchor.synchronised:
        records += _corrections(dated.doubts, anchor, shift_us, boot)
        return Dated(anchor), tuple(records)
    return Dated(anchor, _doubted(dated.doubts, anchor, shift_us if stepped else 0)), tuple(records)


def _shift_us(before: TimeAnchor, anchor: TimeAnchor, rate_hz: float) -> int:
    """By how much the newer anchor moves UTC against the sample counter."""
    believed_ns = before.utc_ns + round((anchor.counter - before.counter) / rate_hz * 1e9)
    return (anchor.utc_ns - believed_ns) // 1000


def _told(before: TimeAnchor | None, anchor: TimeAnchor) -> list[Record]:
    """Whose time rows bear from here on, and how good it is: where that changes, it is told."""
    known = None if before is None else (before.source, before.synchronised)
    if known == (anchor.source, anchor.synchronised):
        return []
    detail: dict[str, int | str] = {"counter": anchor.counter, "source": anchor.source.value}
    detail |= {"synchronised": int(anchor.synchronised), "error_us": anchor.error_ns // 1000}
    return [UnitEvent(event="clock", at_us=anchor.utc_ns // 1000, detail=detail)]


def _step(anchor: TimeAnchor, shift_us: int) -> tuple[Record, ...]:
    detail: dict[str, int | str] = {"shift_us": shift_us, "counter": anchor.counter}
    detail |= {"source": anchor.source.value}
    return (UnitEvent(event="clock-step", at_us=anchor.utc_ns // 1000, detail=detail),)


def _doubted(
    doubts: tuple[tuple[int, int], ...], anchor: TimeAnchor, step_us: int
) -> tuple[tuple[int, int], ...]:
    """With a step added to what lies before it."""
    if doubts and not step_us:
        return doubts
    moved = [(start, known_us + step_us) for start, known_us in doubts]
    if len(moved) >= DOUBTS_MAX:
        moved[:2] = [(moved[0][0], moved[1][1])]
    return (*moved, (anchor.counter, 0))


def _corrections(
    doubts: tuple[tuple[int, int], ...], anchor: TimeAnchor, shift_us: int, boot: str
) -> list[Record]:
    """What is to be added to the dates of each doubtful stretch, now that the time is known."""
    if not doubts:
        return []
    ends = (*(start for start, _ in doubts[1:]), anchor.counter)
    return [
        ClockCorrection(
            boot=boot,
            from_counter=start,
            to_counter=end,
            shift_us=known_us + shift_us,
            error_us=anchor.error_ns // 1000,
            source=anchor.source.value,
        )
        for (start, known_us), end in zip(doubts, ends, strict=True)
        if end > start
    ]


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
