"""The sheet that is filled in by hand in the field, made for one unit."""

from __future__ import annotations

import textwrap

from edge.settings import Settings
from gateway.field_set.labelling import Seen
from gateway.replay.labels import Kind

WIDTH = 78
ROWS = 14
RULE = "-" * WIDTH

CAUTIONS = (
    "Monitoring only: nothing that a screen shows proves that anything is dead or safe.",
    "Watch from outside the approach distances of the utility's rules. An arcing insulator can "
    "flash over without warning: keep clear, no washing and no live work on it.",
    "Two people, and a vehicle to leave with; not below the insulators, not in a thunderstorm.",
    "Drones, lamps and ladders near lines: only with the utility's and the authorities' leave.",
)
HOW = (
    "Film the unit's clock, or a GNSS clock, at the beginning and at the end, so that the film's "
    "time can be set against the recording's.",
    "Write down what you saw, not what the instruments said: do not look at the screen meanwhile.",
    "A time that nobody watched is 'unknown'. A time without any label counts as: nothing "
    "happened.",
    "Confidence: 1 certain, 0.8 likely, 0.5 a coin; leave faint glow that may be corona at 0.5.",
)


def sheet_text(settings: Settings, title: str) -> str:
    """Plain text of 78 columns, to be printed."""
    lines = [f"{title}: {settings.site.name}, {settings.unit.id}", RULE]
    for words in CAUTIONS:
        lines += _wrapped(f"CAUTION  {words}")
    for words in HOW:
        lines += _wrapped(words)
    lines += [RULE, *_wrapped("insulators: " + ", ".join(one.id for one in settings.insulator))]
    lines += _wrapped("kinds: " + ", ".join(one.value for one in Kind if one is not Kind.TUNED_ON))
    lines += _wrapped("seen: " + ", ".join(one.value for one in Seen))
    lines += ["", "name: ____________________________   date (UTC): ______________", "", RULE]
    head = f"{'from UTC':<10}{'to UTC':<10}{'insulator':<13}{'kind':<15}{'seen':<9}{'conf.':<7}note"
    lines += [head, RULE]
    for _ in range(ROWS):
        lines += ["", "_" * WIDTH]
    return "\n".join(lines) + "\n"


def _wrapped(words: str) -> list[str]:
    return textwrap.wrap(words, WIDTH, subsequent_indent="  ")
