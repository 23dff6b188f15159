"""What is compared where nobody says what."""

from __future__ import annotations

from gateway.trends.columns import DAY_US
from gateway.trends.periods import usual_periods
from tests.gateway.trends.years import START_US


def test_years_are_compared_with_years_and_shorter_histories_by_halves() -> None:
    for days, length in ((1_000, 365), (730, 365), (365, 182), (3, 1)):
        found = usual_periods(START_US, START_US + days * DAY_US)
        assert found is not None
        reference, now = found
        assert reference.to_us - reference.from_us == now.to_us - now.from_us == length * DAY_US
        assert (reference.from_us, now.to_us) == (START_US, START_US + days * DAY_US)
        assert reference.to_us <= now.from_us
    assert usual_periods(START_US, START_US + DAY_US) is None
