"""How things are written on a page: times, quantities, states. Pure but for the zone's table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

from markupsafe import Markup

from edge.quantities import BY_NAME, column_text
from gateway.alarms.messages import MessageClass
from gateway.alarms.states import Shown
from gateway.console.alarm_picture import AlarmTold
from gateway.console.drawing import number

_BEGIN = datetime(1970, 1, 1, tzinfo=UTC)

PRIORITY_WORD = {1: "urgent", 2: "high", 3: "low"}

STATE_WORD = {
    Shown.NEW: "NEW",
    Shown.ACKNOWLEDGED: "acknowledged",
    Shown.CLEARED: "CLEARED, not acknowledged",
    Shown.LATCHED_NEW: "LATCHED, not acknowledged",
    Shown.LATCHED: "LATCHED, reset needed",
    Shown.SHELVED: "shelved",
    Shown.SUPPRESSED: "suppressed",
    Shown.OUT_OF_SERVICE: "out of service",
}

DATA_WORD = {
    "good": "data good",
    "uncertain": "data UNCERTAIN",
    "stale": "data OLD: its unit is not live",
    "lost": "DATA LOST",
}

STATE_OF_SURFACE = {
    "dry": "dry",
    "wet": "wet",
    "arcing-sparse": "arcing, sparse",
    "arcing-dense": "arcing, dense",
    "de-energised": "de-energised",
    "unknown": "unknown",
}

UNIT_TEXT = {"degC": "°C", "deg": "°", "A2s": "A²s", "W/m2": "W/m²"}

_STEPS = ("M2 13L5 3", "M7 13L10 3", "M12 13L15 3")


@dataclass(frozen=True, slots=True)
class Times:
    """zone: local. utc: whether people asked for UTC. now_us: the moment of the page."""

    zone: tzinfo | None
    utc: bool
    now_us: int

    def local(self, at_us: int) -> datetime:
        """In the zone that is shown."""
        moment = _BEGIN + timedelta(microseconds=at_us)
        return moment if self.utc else moment.astimezone(self.zone)

    def other(self, at_us: int) -> str:
        """The same in full in the other of UTC and local time."""
        moment = _BEGIN + timedelta(microseconds=at_us)
        if self.utc:
            local = moment.astimezone(self.zone)
            return f"{local:%Y-%m-%d %H:%M:%S} {local:%Z}"
        return f"{moment:%Y-%m-%d %H:%M:%S} UTC"

    def offset_us(self, at_us: int) -> int:
        """Shown time less UTC."""
        return round((self.local(at_us).utcoffset() or timedelta()).total_seconds()) * 1_000_000

    def text(self, at_us: int, seconds: bool = False) -> str:
        """The clock alone for a moment of today, with its date otherwise."""
        local, today = self.local(at_us), self.local(self.now_us).date()
        clock = f"{local:%H:%M:%S}" if seconds else f"{local:%H:%M}"
        near = local.date() == today
        year = "" if local.year == today.year else f" {local.year}"
        return clock if near else f"{local.day} {local:%b}{year} {clock}"

    def mark(self, at_us: int, seconds: bool = False) -> Markup:
        """As an element whose title has the other time."""
        if not at_us:
            return Markup("<span class=none>–</span>")
        moment = _BEGIN + timedelta(microseconds=at_us)
        return Markup('<time datetime="{}" title="{}">{}</time>').format(
            f"{moment:%Y-%m-%dT%H:%M:%SZ}", self.other(at_us), self.text(at_us, seconds)
        )

    @property
    def zone_word(self) -> str:
        """Name of what is shown."""
        return "UTC" if self.utc else f"{self.local(self.now_us):%Z}"

    @property
    def clocks(self) -> tuple[tuple[str, int], ...]:
        """(zone, offset from UTC in seconds) of the clocks at the top: what is shown, then the
        other one where it differs."""
        local = (_BEGIN + timedelta(microseconds=self.now_us)).astimezone(self.zone)
        away_s = round((local.utcoffset() or timedelta()).total_seconds())
        both = [(f"{local:%Z}", away_s), ("UTC", 0)]
        if both[0] == both[1] or both[0][0] == "UTC":
            return (("UTC", 0),)
        return tuple(both[::-1] if self.utc else both)


def since(at_us: int) -> Markup:
    """A time since then, which the script counts on."""
    return Markup('<span class="age" data-since="{}"></span>').format(at_us)


def span_text(lasts_us: int) -> str:
    """A duration in its two largest sensible units."""
    minutes = max(0, lasts_us) // 60_000_000
    if minutes < 60:
        return f"{minutes} min" if minutes else f"{max(0, lasts_us) // 1_000_000} s"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {minutes:02d} min"
    return f"{hours // 24} d {hours % 24} h"


def quantity(name: str, units: int | None) -> str:
    """An amount with its unit, three significant digits where it is measured."""
    if units is None:
        return "–"
    known = BY_NAME.get(name)
    if known is None:
        return f"{units}"
    text = column_text(known, units)
    shown = number(float(text)) if known.decimals else text
    unit = UNIT_TEXT.get(known.unit, known.unit)
    return f"{grouped(shown)} {unit}".strip()


def grouped(text: str) -> str:
    """Digits of a long number in threes, with narrow spaces that do not break."""
    whole, dot, rest = text.partition(".")
    digits = whole.lstrip("-")
    if not digits.isdigit() or len(digits) < 5:
        return text
    return f"{'-' if whole[:1] == '-' else ''}{int(digits):,}".replace(",", "\u202f") + dot + rest


def quantity_name(name: str) -> str:
    """What an amount is, in words a reader knows."""
    words = {
        "arcing_halfcycles": "arcing half-cycles",
        "arcing_halfcycles_per_min": "arcing half-cycles a minute",
        "arc_pulses_100ma": "arcing half-cycles over 100 mA in ten seconds",
        "insulators_arcing": "insulators arcing",
        "unheard_us": "unheard for",
        "arcing_peak_ua": "arcing peak",
        "arc_to_silence_us": "from last arc to silence",
    }
    return words.get(name, name.rpartition("_")[0].replace("_", " ") or name)


def deciding_text(told: AlarmTold) -> list[str]:
    """What decided, against its limit."""
    return [_against(name, found, told.limits) for name, found in told.deciding.items()]


def _against(name: str, found: int, limits: Mapping[str, int]) -> str:
    limit = f", limit {_amount(name, limits[name])}" if name in limits else ""
    return f"{quantity_name(name)} {_amount(name, found)}{limit}"


def _amount(name: str, found: int) -> str:
    return (
        span_text(found) if name.endswith("_us") and name not in BY_NAME else quantity(name, found)
    )


def strokes(priority: int, shown: Shown | str = Shown.NEW) -> Markup:
    """Our mark of a priority: three, two or one slanted strokes, filled while it stands, hollow
    when it is out; never alone, a word stands beside it."""
    hollow = shown in (Shown.CLEARED, Shown.LATCHED, Shown.LATCHED_NEW)
    faint = shown in (Shown.SHELVED, Shown.SUPPRESSED, Shown.OUT_OF_SERVICE)
    look = "hollow" if hollow else "faint" if faint else "full"
    calls = " calls" if shown in (Shown.NEW, Shown.LATCHED_NEW) else ""
    under = '<path d="M1 15.5H16"/>' if shown in (Shown.LATCHED, Shown.LATCHED_NEW) else ""
    paths = "".join(f'<path d="{_STEPS[k]}"/>' for k in range(4 - priority))
    return Markup(
        f'<svg class="strokes p{priority} {look}{calls}" viewBox="0 0 17 16" width="17" '
        f'height="16" aria-hidden="true">{paths}{under}</svg>'
    )


def boxed(letter: str) -> Markup:
    """A device's status letter, in ink: colour is kept for alarms."""
    words = {"F": "failure", "C": "function check", "S": "out of specification",
             "M": "maintenance needed"}  # fmt: skip
    if letter not in words:
        return Markup("")
    return Markup('<span class="letter"><b>{}</b> {}</span>').format(letter, words[letter])


def place_of(told: AlarmTold, title: str) -> str:
    """What and where in plain words; the code comes after."""
    where = title or told.site
    return f"{where}, {told.subject}" if told.subject else where


def is_alarm(told: AlarmTold) -> bool:
    """Whether an operator is meant, not maintenance."""
    return told.message is MessageClass.ALARM
