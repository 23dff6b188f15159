"""Two runs side by side: alarms only in A, only in B, and in both, with how far they lie apart."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median_low

from gateway.replay.matching import nearest_pairs
from gateway.replay.occurrences import Key, Occurrence


@dataclass(frozen=True, slots=True)
class Pair:
    """The same alarm in both runs."""

    a: Occurrence
    b: Occurrence

    @property
    def delay_us(self) -> int:
        """How much later it begins in B; negative: earlier."""
        return self.b.start_us - self.a.start_us

    @property
    def alike(self) -> bool:
        """Begins, ends and ranks the same."""
        return self.a == self.b


@dataclass(frozen=True, slots=True)
class Delays:
    """How much later alarms begin in B than in A. median_us: the lower one of an even number."""

    count: int
    median_us: int
    earliest_us: int
    latest_us: int


@dataclass(frozen=True, slots=True)
class Comparison:
    """only_a + both are all of A, only_b + both all of B; each in order of its start."""

    tolerance_us: int
    only_a: tuple[Occurrence, ...]
    only_b: tuple[Occurrence, ...]
    both: tuple[Pair, ...]

    @property
    def alike(self) -> bool:
        """Whether no alarm differs in anything."""
        return not self.only_a and not self.only_b and all(one.alike for one in self.both)

    @property
    def delays(self) -> Delays | None:
        """Of the alarms in both; None where there are none."""
        found = sorted(one.delay_us for one in self.both)
        return Delays(len(found), median_low(found), found[0], found[-1]) if found else None

    def of(self, alarm: str) -> Comparison:
        """Of one alarm alone."""
        return Comparison(
            self.tolerance_us,
            tuple(one for one in self.only_a if one.alarm == alarm),
            tuple(one for one in self.only_b if one.alarm == alarm),
            tuple(one for one in self.both if one.a.alarm == alarm),
        )

    @property
    def alarms(self) -> tuple[str, ...]:
        """Those that occur in either run, by name."""
        own = {one.alarm for one in (*self.only_a, *self.only_b)}
        return tuple(sorted(own | {one.a.alarm for one in self.both}))


def compared(a: Iterable[Occurrence], b: Iterable[Occurrence], tolerance_us: int) -> Comparison:
    """Matched one to one, for each alarm and subject, by when they begin.

    As many as possible are matched, and of all such matches the nearest is taken; an alarm of A and
    one of B that begin more than the tolerance apart are never the same.
    """
    by_key_a, by_key_b = _by_key(a), _by_key(b)
    only_a: list[Occurrence] = []
    only_b: list[Occurrence] = []
    both: list[Pair] = []
    for key in by_key_a.keys() | by_key_b.keys():
        own_a, own_b = by_key_a[key], by_key_b[key]
        pairs = nearest_pairs(_starts(own_a), _starts(own_b), tolerance_us)
        used_a, used_b = {i for i, _ in pairs}, {j for _, j in pairs}
        both += [Pair(own_a[i], own_b[j]) for i, j in pairs]
        only_a += [one for i, one in enumerate(own_a) if i not in used_a]
        only_b += [one for j, one in enumerate(own_b) if j not in used_b]
    return Comparison(
        tolerance_us,
        tuple(sorted(only_a, key=_order)),
        tuple(sorted(only_b, key=_order)),
        tuple(sorted(both, key=lambda one: _order(one.a))),
    )


def _order(one: Occurrence) -> tuple[int, str, str]:
    return one.start_us, one.alarm, one.subject


def _by_key(found: Iterable[Occurrence]) -> dict[Key, list[Occurrence]]:
    by_key: dict[Key, list[Occurrence]] = defaultdict(list)
    for one in sorted(found, key=_order):
        by_key[one.key].append(one)
    return by_key


def _starts(found: Sequence[Occurrence]) -> list[int]:
    return [one.start_us for one in found]
