"""Type strings and layouts as the kernel's ABI describes them."""

from __future__ import annotations

import pytest

from edge.sense.iio.scan import Element, TypeUnknown, column, element_type, layout_of

TYPES = [
    ("le:s16/16>>0", "0180", -32767),
    ("le:s16/32>>4", "f0ff0f00", -1),
    ("le:s16/32>>4", "f0ff0700", 32767),
    ("be:u12/16>>4", "fff0", 4095),
    ("be:s12/16>>4", "8000", -2048),
    ("le:s24/32>>8", "00000080", -8388608),
    ("be:s24/32>>0", "ff7fffff", 8388607),
    ("le:u32/32", "ffffffff", 4294967295),
    ("le:s64/64>>0", "feffffffffffffff", -2),
    ("be:u8/8>>2", "fc", None),
    ("le:u6/8>>2", "fc", 63),
]


@pytest.mark.parametrize(("text", "stored", "number"), TYPES)
def test_a_stored_number_reads_as_its_type_says(text: str, stored: str, number: int | None) -> None:
    if number is None:
        with pytest.raises(TypeUnknown, match="does not fit"):
            element_type(text)
        return
    kind = element_type(text)
    layout = layout_of([Element("in_voltage0", 0, kind)])
    found = column(bytes.fromhex(stored) * 3, layout, 0)
    assert found.tolist() == [number] * 3
    assert kind.low <= number <= kind.high


@pytest.mark.parametrize(
    "text", ["", "s16/16", "le:f32/32", "le:s16/24>>0", "le:s16/16X4>>0", "le:s0/16", "le:s33/32"]
)
def test_a_type_that_cannot_be_read_is_refused_with_its_text(text: str) -> None:
    with pytest.raises(TypeUnknown, match=text or "''"):
        element_type(text)


def test_each_element_is_aligned_to_its_own_size_and_the_scan_to_the_largest() -> None:
    kinds = ["le:s64/64>>0", "le:s16/16>>0", "le:s24/32>>8", "le:u8/8>>0"]
    indexes = [9, 0, 3, 5]
    elements = [
        Element(f"in_voltage{n}", index, element_type(kind))
        for n, (kind, index) in enumerate(zip(kinds, indexes, strict=True))
    ]
    layout = layout_of(elements)
    assert [one.index for one in layout.elements] == [0, 3, 5, 9]
    assert layout.offsets == (0, 4, 8, 16) and layout.scan_bytes == 24
    short = layout_of(elements[1:3])
    assert short.offsets == (0, 4) and short.scan_bytes == 8
