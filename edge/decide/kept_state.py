"""The state of `decide` in plain form, as the durable file keeps it, and back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any

from edge.decide.definitions import Alarm
from edge.decide.setpoints import Phase, Watch
from edge.decide.state import Air, Attention, DecideState, Trail
from edge.records import LineStatus

STATE_VERSION = 1
"""A state of another version is refused: deciding starts anew, and the caller says so."""


class StateFault(ValueError):
    """A kept state cannot be read: the durable file holds something else than was written."""


def state_to_plain(state: DecideState) -> dict[str, object]:
    """Plain dicts with text keys, integers, booleans, text and None: ready for JSON."""
    return {
        "version": STATE_VERSION,
        "insulators": {
            name: {
                "watches": _watches_to_plain(kept.watches),
                "minutes": asdict(kept.minutes),
                "tens": asdict(kept.tens),
                "dark_us": kept.dark_us,
                "damp": kept.damp,
                "idle": kept.idle,
            }
            for name, kept in state.insulators.items()
        },
        "unit": _watches_to_plain(state.unit),
        "air": asdict(state.air),
        "health_start_us": state.health_start_us,
        "line": state.line.value,
    }


def _watches_to_plain(watches: Mapping[Alarm, Watch]) -> dict[str, object]:
    return {
        alarm.value: {**asdict(watch), "phase": watch.phase.value}
        for alarm, watch in watches.items()
    }


def state_from_plain(plain: Mapping[str, Any]) -> DecideState:
    """The state that `state_to_plain` wrote. Raises StateFault with what was found."""
    if plain.get("version") != STATE_VERSION:
        raise StateFault(
            f"kept state of deciding: version {plain.get('version')!r}; {STATE_VERSION} is read. "
            "Start deciding anew"
        )
    try:
        return DecideState(
            insulators={name: _attention(kept) for name, kept in plain["insulators"].items()},
            unit=_watches(plain["unit"]),
            air=Air(**_exactly(Air, plain["air"])),
            health_start_us=int(plain["health_start_us"]),
            line=LineStatus(plain["line"]),
        )
    except (KeyError, TypeError, ValueError, AttributeError) as fault:
        raise StateFault(
            f"kept state of deciding: {type(fault).__name__}: {fault}; it must be as it was "
            "written. Start deciding anew"
        ) from fault


def _attention(kept: Mapping[str, Any]) -> Attention:
    plain = _exactly(Attention, kept)
    return Attention(
        watches=_watches(plain["watches"]),
        minutes=Trail(**_exactly(Trail, plain["minutes"])),
        tens=Trail(**_exactly(Trail, plain["tens"])),
        dark_us=plain["dark_us"],
        damp=plain["damp"],
        idle=plain["idle"],
    )


def _watches(plain: Mapping[str, Any]) -> dict[Alarm, Watch]:
    return {Alarm(alarm): _watch(kept) for alarm, kept in plain.items()}


def _watch(kept: Mapping[str, Any]) -> Watch:
    phase = Phase(kept["phase"])
    rest = {name: part for name, part in kept.items() if name != "phase"}
    return Watch(phase=phase, **_exactly(Watch, rest, but=("phase",)))


def _exactly(kind: type, plain: Mapping[str, Any], but: tuple[str, ...] = ()) -> dict[str, Any]:
    """The fields of `kind`, each an integer, a boolean, None or a dict; no more and no fewer."""
    wanted = {item.name for item in fields(kind)} - set(but)
    if set(plain) != wanted:
        raise ValueError(f"{kind.__name__} has {sorted(plain)}; {sorted(wanted)} is allowed")
    for name, part in plain.items():
        if not isinstance(part, int | dict | None):
            raise ValueError(f"{kind.__name__}.{name} is {part!r}; an integer is allowed")
    return dict(plain)
