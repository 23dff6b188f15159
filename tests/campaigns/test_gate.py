"""The judge of the campaigns itself: a loss record elsewhere does not speak for what is missing."""

from __future__ import annotations

import pytest

from edge.records import Loss, Stream
from tests.campaigns.gate import Found, holes_in


def loss(count: int) -> Loss:
    return Loss(first=1, last=count, count=count, from_us=0, to_us=1, reason="storage-quota")


@pytest.mark.parametrize(
    ("way", "holes"),
    [
        ([0, 1, 2, 3, 4, 5], 0),
        ([0, 1, loss(2), 4, 5], 0),
        ([0, 1, loss(1), loss(3), 4, 5], 0),
        ([loss(2), 2, 3, loss(2)], 0),
        ([0, 1, 4, 5], 1),
        ([0, loss(9), 1, 2, 5], 1),  # enough named, but elsewhere
        ([0, 1, loss(1), 4, 5], 1),  # in its place, but too few
        ([loss(1), 2, 3], 2),
        ([], 1),
    ],
)
def test_what_is_missing_must_be_named_in_its_place(way: list[int | Loss], holes: int) -> None:
    found = holes_in(Stream.INTERVAL, way, list(range(6)))
    assert len(found) == holes
    assert Found(holes=found).is_accounted_for() is (holes == 0)
