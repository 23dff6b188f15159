"""The program's answer beside the truth: one trial for each insulator of each simulated site."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from gateway.trends import compare_periods
from gateway.trends.document import trend_document
from tests.second_years.climate import COASTS
from tests.second_years.scenarios import SCENARIOS, Expected
from tests.second_years.site import Rows, Stage, rows_of
from tests.second_years.surface import Truth

WET_ACTIVITY = 0.8


@dataclass(frozen=True, slots=True)
class Trial:
    """said: the insulator's part of the document that `seafret trend --json` prints.

    salt: what the site's fresh salt itself did to the film between the periods, a factor.
    """

    scenario: str
    seed: int
    coast: str
    expected: Expected
    said: dict[str, Any]
    salt: float = 1.0

    @property
    def flagged(self) -> bool:
        """Called changed, whatever the cause."""
        return self.said["changed"] is True

    @property
    def cause(self) -> str:
        """As said."""
        return str(self.said["cause"])

    @property
    def told(self) -> bool:
        """A change and a cause were said."""
        return self.flagged and self.cause != "cannot-tell"

    @property
    def right(self) -> bool:
        """The cause that was said is a right one."""
        return self.cause in self.expected.causes

    @property
    def better(self) -> bool:
        """Called changed, and not for worse, other than by a sensor or the probe."""
        ratio = self.said["index_ratio"]
        less = ratio is not None and ratio < 1
        return self.flagged and self.cause not in ("sensor", "probe") and less

    def covers(self) -> bool | None:
        """Whether the interval of the ratio holds the truth; None without either."""
        low, high = self.said["index_ratio_low"], self.said["index_ratio_high"]
        if self.expected.ratio is None or low is None:
            return None
        return bool(low <= self.expected.ratio * self.salt <= high)

    def wash_covers(self) -> bool | None:
        """The same of a wash."""
        wash = self.said["wash"]
        if self.expected.wash is None or wash is None or wash["low"] is None:
            return None
        return bool(wash["low"] <= self.expected.wash <= wash["high"])

    def line(self) -> str:
        """For a file of trials."""
        kept = asdict(self.expected) | {"causes": sorted(self.expected.causes)}
        return json.dumps(
            {"scenario": self.scenario, "seed": self.seed, "coast": self.coast, "expected": kept}
            | {"said": self.said, "salt": self.salt}
        )


def answer(rows: Rows) -> dict[str, Any]:
    """What `seafret trend --json` prints of these rows."""
    return trend_document(
        compare_periods(
            rows.columns, rows.weather, rows.register, rows.reference, rows.now, rows.maintenance
        )
    )


def fresh_ratio(one: Stage, true: Truth) -> float:
    """Fresh salt in the wet hours (activity above 0.8) of now against the reference's."""
    salt, wet = np.log1p(true.fresh), one.weather.activity > WET_ACTIVITY
    means = [salt[first:end][wet[first:end]].mean() for first, end in (one.reference, one.now)]
    return float(np.exp(means[1] - means[0]))


def trials(scenario: str, seed: int, coast: int, count: int | None = None) -> Iterator[Trial]:
    """All insulators of one site, or the first `count` as if there were no others."""
    one, expected, rng = SCENARIOS[scenario](seed, coast)
    rows, true = rows_of(one, rng)
    salt, names = fresh_ratio(one, true), one.names[:count]
    told = {name: rows.columns.insulators[name] for name in names}
    rows = replace(rows, columns=replace(rows.columns, insulators=told))
    said = {each["insulator"]: each for each in answer(rows)["insulators"]}
    for name, expect in zip(names, expected[:count], strict=True):
        yield Trial(scenario, seed, COASTS[coast].name, expect, said[name], salt)
