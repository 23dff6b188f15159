"""Flags as bits while windows are measured; as sorted words in rows and files."""

from __future__ import annotations

from edge.quantities import Flag

BITS: dict[Flag, int] = {flag: 1 << place for place, flag in enumerate(Flag)}
"""One bit a flag."""


def flag_bits(*flags: Flag) -> int:
    """The bits of some flags."""
    bits = 0
    for flag in flags:
        bits |= BITS[flag]
    return bits


def flag_words(bits: int) -> tuple[str, ...]:
    """The words of set bits, sorted."""
    return tuple(sorted(flag.value for flag, bit in BITS.items() if bits & bit))
