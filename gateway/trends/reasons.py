"""The two strongest reasons of a decision, in numbers: first those that its rule rests on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

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
from gateway.trends.standing import Standing
from gateway.trends.wash import Verdict, WashEffect

REASONS = 2

_RESTS_ON = {
    "damage": "seen",
    "wettable": "seen",
    "near": "near",
    "heavy": "heavy",
    "data": "data",
    "washed": "wash",
}
"""Which reasons stand first, by the fields that a rule asks for."""


@dataclass(frozen=True, slots=True)
class Grounds:
    """What reasons are drawn from. seen: what people found, in words; "" where nothing grave."""

    rule: Rule
    advice: Advice
    quality: Data
    response: Response
    move: Move | None
    check: SensorCheck
    good_share: float | None
    wash: WashEffect | None
    standing: Standing
    seen: str = ""


def reasons_for(grounds: Grounds) -> tuple[str, ...]:
    """The strongest first, two of them; then, for a wash, its reservation."""
    said = [*_all(grounds)]
    first = {topic for field, topic in _RESTS_ON.items() if getattr(grounds.advice, field)}
    if grounds.rule.cause is Cause.SENSOR:
        first.add("sensor")
    ordered = sorted(said, key=lambda one: one[0] not in first)
    reserved = [WASH_RESERVATION] if grounds.advice.decision is Decision.WASH else []
    return (*(text for _, text in ordered[:REASONS]), *reserved)


def _all(grounds: Grounds) -> Iterator[tuple[str, str]]:
    """(topic, reason), in the order that holds where the rule prefers none."""
    yield from (("sensor", text) for text in _of_sensor(grounds.check))
    yield from (
        ("data", text) for text in _of_data(grounds.quality, grounds.response, grounds.good_share)
    )
    yield from (("wash", text) for text in _of_wash(grounds.wash, grounds.advice))
    if grounds.seen and (grounds.advice.damage or grounds.advice.wettable):
        yield "seen", grounds.seen
    if grounds.standing.near:
        yield "near", near_text(grounds.standing)
    if grounds.standing.heavy:
        yield "heavy", arcing_text(grounds.standing)
    moved = _of_move(grounds.rule, grounds.move, grounds.response)
    yield from (("move", text) for text in moved)
    if grounds.check.verdict is Sensor.NO_LEVEL:
        yield "self-test", "no dry current in the reference: the sensor has no self-test"


def near_text(standing: Standing) -> str:
    """The highest peak against what counts as near, with its basis."""
    if standing.limit_ma is None:
        basis = "creepage not in the register"
    else:
        basis = f"a tenth of I_max {standing.limit_ma:.0f} mA, phase-to-phase reading"
    highest = standing.highest_ma or 0.0
    return f"highest peak {highest:.0f} mA, near from {standing.near_ma:.0f} mA ({basis})"


def arcing_text(standing: Standing) -> str:
    """How long it arced."""
    share = standing.arcing_share or 0.0
    return f"arcing for {standing.arcing_h or 0:.1f} h, {share:.1%} of the wet hours"


def _of_sensor(check: SensorCheck) -> list[str]:
    level = f"the dry level of {1000 * check.level_ma:.1f} uA"
    if check.verdict is Sensor.DEAD:
        return [f"no current in {check.silent_share:.0%} of the hours while siblings had one"]
    if check.verdict is Sensor.FADED and check.low is not None:
        return [f"in the lowest month the sensor read {check.low:.2f} times {level}"]
    if check.verdict is Sensor.RAISED and check.high is not None:
        return [f"in the highest month the sensor read {check.high:.2f} times {level}"]
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
    fall, least, most = (
        response.fall_pct(one) for one in (move.shift_pct, move.shift_low_pct, move.shift_high_pct)
    )
    onset = (
        f"onset lower by {fall:.1f} % RH ({least:.1f} to {most:.1f}), siblings: {move.shifts.value}"
    )
    by_onset = move.shifted and not move.stepped
    said = [onset, index] if by_onset else [index, onset]
    if rule.cause is Cause.SENSOR:
        return [f"{index}: a fall that nobody brought about and no sibling shares"]
    return said
