"""Memories of an alarm, kept apart, and the one state that is shown for each combination.

The words and the nine shown states follow alarm management after IEC 62682 (as recalled, and from
secondary texts): in or out and acknowledged or not are two questions, a latch is a third, and three
kinds of suppression lie over them. Nothing edits a shown state: memories change, `SHOWN_OF` tells.
"""

from __future__ import annotations

from enum import StrEnum
from itertools import product
from typing import NamedTuple


class Core(NamedTuple):
    """What is known of an alarm under all suppression.

    is_in: the last condition that good data told; lost data never moves it. latched: stays shown
    until a person resets it, even when it is out.
    """

    is_in: bool
    acknowledged: bool
    latched: bool


class Veil(NamedTuple):
    """What lies over an alarm: maintenance, a rule of the design, a person for a time."""

    out_of_service: bool
    by_design: bool
    shelved: bool


class Shown(StrEnum):
    """What an operator sees; exactly one at a time."""

    NORMAL = "normal"
    NEW = "new"
    ACKNOWLEDGED = "acknowledged"
    CLEARED = "cleared"  # out again, but nobody has acknowledged it
    LATCHED_NEW = "latched-new"
    LATCHED = "latched"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed"
    OUT_OF_SERVICE = "out-of-service"


class Stimulus(StrEnum):
    """What can move a core."""

    IN = "in"
    IN_LATCHING = "in-latching"
    OUT = "out"
    ACKNOWLEDGE = "acknowledge"
    RESET = "reset"
    RENEW = "renew"  # the priority rose, the count doubled, or nobody acknowledged for long
    REVEAL = "reveal"  # the last suppression over it ended


NORMAL = Core(False, True, False)
CLEARED = Core(False, False, False)
NEW = Core(True, False, False)
ACKNOWLEDGED = Core(True, True, False)
NEW_LATCHING = Core(True, False, True)
ACKNOWLEDGED_LATCHING = Core(True, True, True)
LATCHED_NEW = Core(False, False, True)
LATCHED = Core(False, True, True)

CORES = tuple(Core(*flags) for flags in product((False, True), repeat=3))
VEILS = tuple(Veil(*flags) for flags in product((False, True), repeat=3))
BARE = Veil(False, False, False)

_BARE: dict[Core, Shown] = {
    NORMAL: Shown.NORMAL,
    CLEARED: Shown.CLEARED,
    NEW: Shown.NEW,
    ACKNOWLEDGED: Shown.ACKNOWLEDGED,
    NEW_LATCHING: Shown.NEW,
    ACKNOWLEDGED_LATCHING: Shown.ACKNOWLEDGED,
    LATCHED_NEW: Shown.LATCHED_NEW,
    LATCHED: Shown.LATCHED,
}


def _veiled(veil: Veil) -> Shown | None:
    if veil.out_of_service:
        return Shown.OUT_OF_SERVICE
    if veil.by_design:
        return Shown.SUPPRESSED
    return Shown.SHELVED if veil.shelved else None


SHOWN_OF: dict[tuple[Core, Veil], Shown] = {
    (core, veil): _veiled(veil) or _BARE[core] for core, veil in product(CORES, VEILS)
}
"""All 64 combinations: out of service goes before design, design before shelving."""

_MOVES: dict[Core, dict[Stimulus, Core]] = {
    NORMAL: {Stimulus.IN: NEW, Stimulus.IN_LATCHING: NEW_LATCHING},
    CLEARED: {
        Stimulus.IN: NEW,
        Stimulus.IN_LATCHING: NEW_LATCHING,
        Stimulus.ACKNOWLEDGE: NORMAL,
        Stimulus.REVEAL: NORMAL,
    },
    NEW: {
        Stimulus.IN_LATCHING: NEW_LATCHING,
        Stimulus.OUT: CLEARED,
        Stimulus.ACKNOWLEDGE: ACKNOWLEDGED,
    },
    ACKNOWLEDGED: {
        Stimulus.IN_LATCHING: ACKNOWLEDGED_LATCHING,
        Stimulus.OUT: NORMAL,
        Stimulus.RENEW: NEW,
        Stimulus.REVEAL: NEW,
    },
    NEW_LATCHING: {
        Stimulus.OUT: LATCHED_NEW,
        Stimulus.ACKNOWLEDGE: ACKNOWLEDGED_LATCHING,
    },
    ACKNOWLEDGED_LATCHING: {
        Stimulus.OUT: LATCHED,
        Stimulus.RENEW: NEW_LATCHING,
        Stimulus.REVEAL: NEW_LATCHING,
    },
    LATCHED_NEW: {
        Stimulus.IN: NEW_LATCHING,
        Stimulus.IN_LATCHING: NEW_LATCHING,
        Stimulus.ACKNOWLEDGE: LATCHED,
    },
    LATCHED: {
        Stimulus.IN: NEW_LATCHING,
        Stimulus.IN_LATCHING: NEW_LATCHING,
        Stimulus.RESET: NORMAL,
    },
}
"""What moves; every other stimulus leaves its core as it is."""

NEXT: dict[tuple[Core, Stimulus], Core] = {
    (core, stimulus): _MOVES[core].get(stimulus, core) for core in CORES for stimulus in Stimulus
}
"""A latched alarm that goes in again is new, acknowledged or not: a second flashover is no repeat.
A reset waits for the condition to be out and for the acknowledgement."""

CALLS = frozenset({Shown.NEW, Shown.LATCHED_NEW})
"""Shown states that ask for a person now; a cleared one waits without a sound."""

LISTED = frozenset(Shown) - {Shown.NORMAL}


def shown(core: Core, veil: Veil = BARE) -> Shown:
    """The one state of a combination of memories."""
    return SHOWN_OF[core, veil]


def state_diagram() -> str:
    """The tables drawn as a Mermaid state diagram, one arrow for each pair of shown states."""
    lines = ["stateDiagram-v2", f"    [*] --> {_name(Shown.NORMAL)}"]
    lines += [
        f"    {_name(before)} --> {_name(after)} : {', '.join(stimuli)}"
        for (before, after), stimuli in arrows().items()
    ]
    veils = (Shown.SHELVED, Shown.SUPPRESSED, Shown.OUT_OF_SERVICE)
    for veil in veils:
        lines += [f"    any --> {_name(veil)} : on", f"    {_name(veil)} --> any : off (reveal)"]
    return "\n".join(lines) + "\n"


def arrows() -> dict[tuple[Shown, Shown], list[str]]:
    """Every move between two unsuppressed shown states, and the stimuli that make it."""
    found: dict[tuple[Shown, Shown], list[str]] = {}
    for (core, stimulus), after in NEXT.items():
        pair = _BARE[core], _BARE[after]
        named = found.setdefault(pair, []) if pair[0] is not pair[1] else []
        if stimulus.value not in named:
            named.append(stimulus.value)
    return found


def _name(state: Shown) -> str:
    return state.value.replace("-", "_")
