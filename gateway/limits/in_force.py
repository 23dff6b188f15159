"""What insulators are decided with now, as far as the gateway knows it by their units' own word."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from edge.decide.binding import DecisionPlan
from edge.decide.definitions import Alarm
from gateway.console.limit_lines import LimitLines
from gateway.limits.changing import ChangeRefused
from gateway.limits.contents import Content
from gateway.limits.desk import LimitsDesk
from gateway.limits.preview import plan_of
from gateway.limits.versions import Status, UnitLimits, Version

NOBODY = "-"

DEFAULTS_STAND_IN = "the program's defaults"


@dataclass(frozen=True, slots=True)
class Known:
    """A plan that a unit decides with. said: whose limits these are. sure: whether they are its
    own; else they stand in for limits that only the unit knows."""

    plan: DecisionPlan
    said: str
    sure: bool


def content_of(desk: LimitsDesk, unit: str, number: int) -> Content | None:
    """The content of a version, 0 for the unit's settings file; None where nobody here knows it."""
    version = desk.of(unit).of(number)
    if version is not None and version.alarms is not None:
        return version.alarms
    copy = desk.copy(unit)
    if copy is None or (number and version is None):
        return None
    plain: Mapping[str, object] = copy.model_dump(mode="json")["alarms"]
    return plain


def base_of(limits: UnitLimits) -> int:
    """The version that a change starts from: one that is on its way, else the one in force."""
    wanted = limits.of(limits.wanted)
    on_its_way = wanted is not None and wanted.status is Status.APPROVED
    return limits.wanted if on_its_way else limits.in_force


class InForce:
    """Asked for by pages for every insulator that they draw, so plans are remembered."""

    def __init__(self, desk: LimitsDesk) -> None:
        self._desk = desk
        self._held: dict[str, tuple[UnitLimits, Known]] = {}
        self._units: dict[tuple[str, str], str] = {}

    def lines(self, site: str, insulator: str) -> LimitLines | None:
        """What plots of an insulator draw; None where no unit is known to watch it."""
        unit = self._unit_of(site, insulator)
        if not unit:
            return None
        known = self.known(unit)
        bounds = known.plan.insulators.get(insulator)
        if bounds is None:
            return None
        limits = {one.definition.id: one.limits for one in bounds}
        return LimitLines(
            limits[Alarm.NEAR_MARGIN]["arcing_peak_ua"].at,
            limits[Alarm.ARCING]["arcing_halfcycles_per_min"].at,
            known.said,
            known.sure,
            f"/limits/{unit}",
        )

    def known(self, unit: str) -> Known:
        """The plan that a unit decides with. Raises ChangeRefused where there is no such unit."""
        limits = self._desk.of(unit)
        held = self._held.get(unit)
        if held is None or held[0].in_force != limits.in_force:
            held = self._held[unit] = (limits, self._look(unit, limits))
        if limits.in_force == limits.wanted and self._desk.fault(unit) is not None:
            said = f"{held[1].said}; but the unit's records say that it decides otherwise"
            return replace(held[1], said=said, sure=False)
        return held[1]

    def _unit_of(self, site: str, insulator: str) -> str:
        key = (site, insulator)
        if key not in self._units:
            for unit in self._desk.units_of(site):
                if insulator in self._desk.insulators(unit):
                    self._units[key] = unit
                    break
        return self._units.get(key, "")

    def _look(self, unit: str, limits: UnitLimits) -> Known:
        content, has_copy = content_of(self._desk, unit, limits.in_force), self._desk.copy(unit)
        version = limits.of(limits.in_force)
        named = f"version {limits.in_force}"
        try:
            if content is not None:
                plan = self._plan(unit, content)
                from_file = not limits.in_force or (version is not None and version.alarms is None)
                said = "those of its settings file" if from_file else f"those of {named}"
                if has_copy is not None:
                    return Known(plan, said, True)
                more = "; its creepage is not known here, by which the margin may be lower"
                return Known(plan, said + more, False)
            what = "its own settings file, of which no copy is here"
            if limits.in_force and version is None:
                what = f"{named}, which this gateway does not know"
        except ChangeRefused as fault:
            what = f"{named}, which does not fit the copy of its settings here: {fault}"
        said = f"{DEFAULTS_STAND_IN}; the unit decides with {what}"
        return Known(self._plan(unit, {}, with_copy=False), said, False)

    def _plan(self, unit: str, content: Content, with_copy: bool = True) -> DecisionPlan:
        version = Version(unit, 1, content, NOBODY, NOBODY, 0)
        copy = self._desk.copy(unit) if with_copy else None
        return plan_of(version, self._desk.insulators(unit), copy)
