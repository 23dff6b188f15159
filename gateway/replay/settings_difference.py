"""Which settings differ between two runs, and no others."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

Scalar = str | int | float | bool | None

NAMES = ("id", "channel")
"""What an entry of a list is called by, so that one insulator more does not shift all others."""


class Absent:
    """A key that one of the two does not have."""

    def __repr__(self) -> str:
        return "absent"


ABSENT = Absent()


@dataclass(frozen=True, slots=True)
class Difference:
    """One key of the settings; lists of named things by their name, as insulator[M3-A].type."""

    key: str
    a: Scalar | Absent
    b: Scalar | Absent


def differing(a: Mapping[str, object], b: Mapping[str, object]) -> tuple[Difference, ...]:
    """The keys whose contents differ, by name; plain JSON in."""
    flat_a, flat_b = dict(_flat("", a)), dict(_flat("", b))
    return tuple(
        Difference(key, flat_a.get(key, ABSENT), flat_b.get(key, ABSENT))
        for key in sorted(flat_a.keys() | flat_b.keys())
        if not _same(flat_a.get(key, ABSENT), flat_b.get(key, ABSENT))
    )


def _same(a: Scalar | Absent, b: Scalar | Absent) -> bool:
    return a == b and isinstance(a, bool) == isinstance(b, bool)


def _flat(path: str, found: object) -> Iterator[tuple[str, Scalar]]:
    if isinstance(found, Mapping):
        for name, inside in found.items():
            yield from _flat(f"{path}.{name}" if path else str(name), inside)
    elif isinstance(found, list | tuple):
        names = _names(found)
        for name, inside in zip(names, found, strict=True):
            yield from _flat(f"{path}[{name}]", inside)
    else:
        assert found is None or isinstance(found, str | int | float | bool), found
        yield path, found


def _names(found: list[object] | tuple[object, ...]) -> list[str]:
    """By id or channel where all have a different one, else by place."""
    for by in NAMES:
        names = [str(one[by]) for one in found if isinstance(one, Mapping) and by in one]
        if len(names) == len(found) == len(set(names)):
            return names
    return [str(place) for place in range(len(found))]
