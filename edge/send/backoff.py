"""How long to wait before trying again: pure, with the chance given from outside."""

from __future__ import annotations

_MASK = (1 << 64) - 1


def full_jitter_ns(attempt: int, chance_ppm: int, base_ns: int, cap_ns: int) -> int:
    """A wait between 0 and base * 2**attempt, at most cap, spread evenly by chance (0 to 999,999).

    Evenly from zero ("full jitter"), so that units cut off together do not come back together.
    """
    longest = min(cap_ns, base_ns << min(attempt, 32))
    return longest * chance_ppm // 1_000_000


def next_chance(seed: int) -> tuple[int, int]:
    """The next seed, and an even chance of 0 to 999,999: splitmix64 (constants as recalled)."""
    seed = (seed + 0x9E3779B97F4A7C15) & _MASK
    mixed = ((seed ^ (seed >> 30)) * 0xBF58476D1CE4E5B9) & _MASK
    mixed = ((mixed ^ (mixed >> 27)) * 0x94D049BB133111EB) & _MASK
    mixed ^= mixed >> 31
    return seed, mixed * 1_000_000 >> 64
