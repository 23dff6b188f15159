"""The two strongest reasons of a decision, in numbers."""

from __future__ import annotations

import numpy as np

from gateway.trends.assessment import (
    BASELINE_NIGHTS,
    GOOD_SHARE_LEAST,
    WASH_RESERVATION,
    Advice,
    Data,
    Decision,
)
from gateway.trends.causes import Cause, Rule
from gateway.trends.moves import Move
from gateway.trends.response import Response
from gateway.trends.sensor import Sensor, SensorCheck
from gateway.trends.wash import Verdict, WashEffect

REASONS = 2


def reasons_for(
    rule: Rule,
    advice: Advice,
    quality: Data,
    response: Response,
    move: Move | None,
    check: SensorCheck,
    good_share: float | None,
    wash: WashEffect | None,
) -> tuple[str, ...]:
    """The strongest first, two of them; then, for a wash, its reservation."""
    said = [
        *_of_sensor(check),
        *_of_data(quality, response, good_share),
        *_of_wash(wash, advice),
        *_of_move(rule, move, response),
    ]
    reserved = [WASH_RESERVATION] if advice.decision is Decision.WASH else []
    return (*said[:REASONS], *reserved)


def _of_sensor(check: SensorCheck) -> list[str]:
    level = f"the dry level of {1000 * check.level_ma:.1f} uA"
    if check.verdict is Sensor.DEAD:
        return [f"no current in {check.silent_share:.0%} of the hours while siblings had one"]
    if check.verdict is Sensor.FADED and check.low is not None:
        return [f"in the lowest month the sensor read {check.low:.2f} times {level}"]
    if check.verdict is Sensor.RAISED and check.high is not None:
        return [f"in the highest month the sensor read {check.high:.2f} times {level}"]
    if check.verdict is Sensor.NO_LEVEL:
        return ["no dry current in the reference: the sensor has no self-test"]
    return []


def _of_data(quality: Data, response: Response, good_share: float | None) -> list[str]:
    if quality is Data.LEARNING:
        nights = f"{response.nights_reference} wet nights of reference, {BASELINE_NIGHTS} needed"
        return [response.why or nights]
    if quality is Data.POOR:
        share = "no wet hours" if good_share is None else f"good data in {good_share:.0%} of them"
        return [f"{share}; {GOOD_SHARE_LEAST:.0%} of the wet hours are needed"]
    return []


def _of_wash(wash: WashEffect | None, advice: Advice) -> list[str]:
    if wash is None or wash.ratio is None or "washed" not in advice.name:
        return []
    if wash.verdict is not Verdict.DID_NOT:
        return []
    return [f"washing left {wash.ratio:.2f} ({wash.low:.2f} to {wash.high:.2f}) times the current"]


def _of_move(rule: Rule, move: Move | None, response: Response) -> list[str]:
    if move is None:
        return []
    ratio, low, high = (np.exp(one) for one in (move.step, move.step_low, move.step_high))
    nights = f"{response.nights_reference} and {response.nights_now} wet nights"
    index = f"at equal wetness {ratio:.2f} ({low:.2f} to {high:.2f}) times the current, {nights}"
    onset = (
        f"onset lower by {move.shift_pct:.1f} % RH "
        f"({move.shift_low_pct:.1f} to {move.shift_high_pct:.1f}), siblings: {move.shifts.value}"
    )
    by_onset = move.shifted and not move.stepped
    said = [onset, index] if by_onset else [index, onset]
    if rule.cause is Cause.SENSOR:
        return [f"{index}: a fall that nobody brought about and no sibling shares"]
    return said
