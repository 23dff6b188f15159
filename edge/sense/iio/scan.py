"""How one scan of a buffer is laid out, and its bytes as numbers. Pure."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

TYPE = re.compile(r"^(le|be):(s|u)(\d{1,3})/(\d{1,3})(?:X(\d{1,3}))?(?:>>(\d{1,3}))?$")
STORED_BITS = (8, 16, 32, 64)

SAMPLE_BITS_MAX = 32
"""A channel with more is refused: a block holds whole numbers of 32 bits."""


class TypeUnknown(ValueError):
    """The converter's driver describes its samples in a way that this program cannot read."""


@dataclass(frozen=True, slots=True)
class ElementType:
    """A number in a scan, as its `_type` file says: bits that count, of those that are stored,
    after a shift to the right."""

    little_endian: bool
    signed: bool
    bits: int
    stored_bits: int
    shift: int = 0

    @property
    def stored_bytes(self) -> int:
        return self.stored_bits // 8

    @property
    def low(self) -> int:
        """Lowest code."""
        return -(1 << self.bits - 1) if self.signed else 0

    @property
    def high(self) -> int:
        """Highest code."""
        return (1 << self.bits - self.signed) - 1


def element_type(text: str) -> ElementType:
    """The type of a string such as `le:s16/32>>4`. Raises TypeUnknown."""
    found = TYPE.match(text.strip())
    if found is None:
        raise TypeUnknown(f"{text.strip()!r} is no type such as le:s16/32>>4")
    order, sign, bits, stored, repeat, shift = found.groups()
    kind = ElementType(order == "le", sign == "s", int(bits), int(stored), int(shift or 0))
    if int(repeat or 1) != 1:
        raise TypeUnknown(f"{text.strip()!r} holds {repeat} numbers; one each can be read")
    if kind.stored_bits not in STORED_BITS or not 0 < kind.bits + kind.shift <= kind.stored_bits:
        raise TypeUnknown(f"{text.strip()!r} does not fit into 8, 16, 32 or 64 bits")
    return kind


@dataclass(frozen=True, slots=True)
class Element:
    """name: of its files, `in_voltage0`. index: its order in the scan."""

    name: str
    index: int
    type: ElementType


@dataclass(frozen=True, slots=True)
class Layout:
    """elements: in the order of their index. offsets: of each in a scan [bytes]."""

    elements: tuple[Element, ...]
    offsets: tuple[int, ...]
    scan_bytes: int

    def place(self, name: str) -> int:
        """Where an element stands among the elements."""
        return [one.name for one in self.elements].index(name)


def layout_of(elements: Sequence[Element]) -> Layout:
    """Elements in order of index, each aligned to its own size, the whole to the largest."""
    ordered = sorted(elements, key=lambda one: one.index)
    offsets: list[int] = []
    end = 0
    for one in ordered:
        offsets.append(_aligned(end, one.type.stored_bytes))
        end = offsets[-1] + one.type.stored_bytes
    largest = max(one.type.stored_bytes for one in ordered)
    return Layout(tuple(ordered), tuple(offsets), _aligned(end, largest))


def _aligned(offset: int, size: int) -> int:
    return (offset + size - 1) // size * size


def column(scans: bytes, layout: Layout, place: int) -> npt.NDArray[np.int64]:
    """One element of whole scans as numbers, sign and shift undone."""
    kind = layout.elements[place].type
    order = "<" if kind.little_endian else ">"
    stored = np.ndarray(
        shape=(len(scans) // layout.scan_bytes,),
        dtype=np.dtype(f"{order}u{kind.stored_bytes}"),
        buffer=scans,
        offset=layout.offsets[place],
        strides=(layout.scan_bytes,),
    ).astype(np.uint64)
    stored >>= np.uint64(kind.shift)
    unused = np.uint64(64 - kind.bits)
    high = stored << unused
    if kind.signed:
        return high.view(np.int64) >> np.int64(unused)
    return (high >> unused).astype(np.int64)


def table(scans: bytes, layout: Layout, places: Sequence[int]) -> npt.NDArray[np.generic]:
    """Rows by channels, in the narrowest type that a block takes and every code of them fits."""
    kinds = [layout.elements[place].type for place in places]
    columns = [column(scans, layout, place) for place in places]
    return np.stack(columns, axis=1).astype(block_dtype(kinds))


def block_dtype(kinds: Sequence[ElementType]) -> np.dtype[np.generic]:
    """int16 where every code fits, else int32, else (32 bits without sign) float64."""
    for dtype in (np.dtype(np.int16), np.dtype(np.int32)):
        limits = np.iinfo(dtype)
        if all(limits.min <= one.low and one.high <= limits.max for one in kinds):
            return dtype
    return np.dtype(np.float64)
