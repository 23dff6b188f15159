"""The words of notices: short ones that fit one text message, long ones for mail. Pure.

A short one says, in this order: priority, where, what, whether to believe it, what to do, whom to
call, when, which. Names give way first; the words that keep people safe never do.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from edge.decide.alarm_table import KEEP_CLEAR, MONITORING_ONLY
from edge.decide.definitions import Alarm
from gateway.alarms.messages import (
    MONITOR_SILENT,
    NOTICES_FAIL,
    SITE_ARCING,
    SITE_SILENT,
)
from gateway.notices.alphabet import SHORT_MAX, plain, shortened

CLEAR = "Keep clear, no washing."
WATCH = "Tell maintenance."

WORDS: dict[str, tuple[str, str]] = {
    SITE_ARCING: ("arcing at the site", "Keep yard clear, no washing."),
    Alarm.ARCING: ("arcing", CLEAR),
    Alarm.NEAR_MARGIN: ("NEAR FLASHOVER", CLEAR),
    Alarm.FLASHOVER_SUSPECTED: ("FLASHOVER/TRIP suspected", CLEAR),
    Alarm.OVER_RANGE: ("over range, true current unknown", CLEAR),
    Alarm.DRY_AIR_CURRENT: ("current in dry air", "Keep clear. Tell maintenance."),
    Alarm.SENSOR_FAILED: ("sensor failed, NOT watched", WATCH),
    Alarm.UNIT_HEALTH: ("monitor unwell", WATCH),
    MONITOR_SILENT: ("monitor silent, NOT watched", WATCH),
    SITE_SILENT: ("NO DATA, site NOT watched", WATCH),
    NOTICES_FAIL: ("notices fail", "Call by telephone."),
}
"""What and what to do, by alarm; of one that is not here its own name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What a notice tells. title: of the site. place: insulator or unit, "" for the site. counted:
    '7 of 12' of a roll-up, else "". peak_ua: 0 where none is known. call: whom, with the number.
    worst: the names of a roll-up. text, action, safety: as the alarm list tells them."""

    id: str
    title: str
    alarm: str
    place: str
    priority: int
    trust: str
    at_us: int
    since_us: int
    counted: str = ""
    worst: tuple[str, ...] = ()
    peak_ua: int = 0
    call: str = ""
    text: str = ""
    action: str = ""
    safety: str = ""
    cause: str = ""
    watched: str = ""
    weather: str = ""
    position: str = ""
    held_by: str = ""


WHOLE = -1


@dataclass(frozen=True, slots=True)
class _Piece:
    """A piece of a short text. least: to how many characters it may be shortened; None: never;
    WHOLE: it goes as a whole, for half a telephone number is none. yields: pieces of a lower number
    give way first."""

    text: str
    least: int | None = None
    yields: int = 0


def call_text(facts: Facts, again: str = "") -> str:
    """An alarm that was announced. again: why it is told once more, e.g. 'not acked 10min'."""
    what, action = WORDS.get(facts.alarm, (facts.alarm.replace("-", " "), WATCH))
    count = f"{facts.counted} " if facts.counted else ""
    peak = f" {facts.peak_ua // 1000}mA" if facts.peak_ua >= 1000 else ""
    worst = f", worst {' '.join(facts.worst)}" if facts.worst else ""
    return _fitted(
        [
            _Piece(f"P{facts.priority} "),
            _Piece(f"{again} " if again else ""),
            _Piece(facts.title, 9, 2),
            _Piece(f" {facts.place}" if facts.place else "", 12, 3),
            _Piece(": "),
            _Piece(count),
            _Piece(what, 12, 6),
            _Piece(peak),
            _Piece(worst, 0, 1),
            _Piece(f". Data {facts.trust.upper()}. "),
            _Piece(action),
            _Piece(f" Call {facts.call}." if facts.call else "", WHOLE, 4),
            _Piece(f" {_clock(facts.at_us)}"),
            _Piece(f" #{facts.id}", 10, 5),
        ]
    )


def clear_text(facts: Facts, now_us: int, acknowledged: bool) -> str:
    """An alarm whose condition is over."""
    what, _ = WORDS.get(facts.alarm, (facts.alarm.replace("-", " "), ""))
    return _fitted(
        [
            _Piece("CLR "),
            _Piece(facts.title, 9, 2),
            _Piece(f" {facts.place}" if facts.place else "", 12, 3),
            _Piece(": "),
            _Piece(what, 12, 6),
            _Piece(f" is over {_clock(now_us)}, open {_span(now_us - facts.since_us)}."),
            _Piece("" if acknowledged else " NOT acked."),
            _Piece(" Not proof of safe or dead."),
            _Piece(f" #{facts.id}", 10, 5),
        ]
    )


def daily_text(number: int, watched: str, at_us: int, next_us: int) -> str:
    """The daily test: whoever does not get it knows that nothing would come."""
    return _fitted(
        [
            _Piece(f"TEST {number} seafret notices, {_clock(at_us)}. "),
            _Piece(f"{watched}. ", 10, 1),
            _Piece(f"Next {_moment(next_us)}. If it stays away, tell the gateway's keeper."),
        ]
    )


def trial_text(by: str, watched: str, at_us: int) -> str:
    """A test that somebody asked for: nothing is wrong and nothing is to be done."""
    return _fitted(
        [
            _Piece(f"TRIAL seafret notices, {_clock(at_us)}, asked for by "),
            _Piece(by, 8, 1),
            _Piece(". "),
            _Piece(f"{watched}. ", 10, 2),
            _Piece("Nothing to do but to say that it came."),
        ]
    )


def _fitted(pieces: list[_Piece]) -> str:
    """The pieces in the alphabet, shortened where they must be."""
    texts = [plain(one.text) for one in pieces]
    giving = sorted(
        (one.yields, place) for place, one in enumerate(pieces) if one.least is not None
    )
    for _, place in giving:
        over = sum(map(len, texts)) - SHORT_MAX
        if over <= 0:
            break
        least = pieces[place].least or 0
        most = 0 if least == WHOLE else max(least, len(texts[place]) - over)
        texts[place] = shortened(texts[place], most) if most > 2 else ""
    fitted = "".join(texts)
    assert len(fitted) <= SHORT_MAX, f"{len(fitted)} characters: {fitted!r}"
    return fitted


def subject_text(facts: Facts, word: str) -> str:
    """Subject of a mail. word: NEW, CLEARED, NOT ACKNOWLEDGED."""
    where = f"{facts.title} {facts.place}".strip()
    return f"[P{facts.priority} {word}] {where}: {facts.text} #{facts.id}"


def body_text(facts: Facts, word: str, console_url: str) -> str:
    """Body of a mail: the eight points in reading order, then a link."""
    what = WORDS.get(facts.alarm, (facts.alarm, ""))[0]
    where = ", ".join(one for one in (facts.title, facts.place) if one)
    lines = [
        f"{where}: {facts.text or what} ({facts.alarm})",
        f"Priority {facts.priority} of 3 (1 is the highest), {word}",
        f"One or many: {facts.counted or 'this one'}{_named(facts.worst)}. {facts.weather}".strip(),
        f"Since {_moment(facts.since_us)}; told {_moment(facts.at_us)}"
        + (f"; highest arcing current {facts.peak_ua / 1000:.0f} mA" if facts.peak_ua else ""),
        f"Data: {facts.trust.upper()}. {facts.watched}".strip(),
        f"Do: {facts.action}" + (f". Call {facts.call}" if facts.call else ""),
        f"Held by: {facts.held_by or 'nobody has acknowledged it'}",
        f"Safety: {facts.safety or MONITORING_ONLY}",
    ]
    link = [f"Console: {console_url}"] if console_url else []
    return "\n".join([*lines, "", *link, f"Alarm {facts.id}", ""])


def digest_text(title: str, from_us: int, until_us: int, stood_s: dict[str, int]) -> str:
    """What a storm was, for the asset engineer."""
    longest = sorted(stood_s.items(), key=lambda one: (-one[1], one[0]))
    lines = [
        f"{title}: the arcing that reached the whole site is over.",
        f"From {_moment(from_us)} to {_moment(until_us)}, {_span(until_us - from_us)}.",
        f"{len(stood_s)} insulators arced; how long each alarm stood, the longest first:",
        *(f"  {name}: {_span(seconds * 1_000_000)}" for name, seconds in longest),
        "",
        KEEP_CLEAR,
        "",
    ]
    return "\n".join(lines)


def _named(worst: tuple[str, ...]) -> str:
    return f", worst {', '.join(worst)}" if worst else ""


def _clock(at_us: int) -> str:
    return f"{datetime.fromtimestamp(at_us // 1_000_000, UTC):%H:%M}Z"


def _moment(at_us: int) -> str:
    return f"{datetime.fromtimestamp(at_us // 1_000_000, UTC):%Y-%m-%dT%H:%M:%SZ}"


def _span(span_us: int) -> str:
    minutes = max(0, span_us) // 60_000_000
    return f"{minutes // 60}h{minutes % 60:02}" if minutes >= 60 else f"{minutes}min"
