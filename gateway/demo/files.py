"""The settings files of the demo's processes, as an installer would write them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from edge.sense.virtual_site import SITES, InsulatorPlan, SitePlan
from gateway.demo.invented import (
    ARCING_SHARE,
    CALIBRATED,
    DRY_SPREAD_MA,
    TOLD,
    Dry,
    dry_phasors,
    installed_on,
    type_of,
    unit_of,
)
from gateway.demo.night import Night, NightClock

LOOPBACK = "127.0.0.1"

STALE_AFTER_S = 900.0
"""Dry minutes are sent as rows of up to ten minutes, so that younger data are not old."""

BROKER = """\
id = 0

[router]
id = 0
max_connections = 100
max_outgoing_packet_count = 200
max_segment_size = 1048576
max_segment_count = 10

[v5.1]
name = "loopback"
listen = "{host}:{port}"
next_connection_delay_ms = 1

[v5.1.connections]
connection_timeout_ms = 60000
max_payload_size = 131072
max_inflight_count = 100
"""


@dataclass(frozen=True, slots=True)
class Layout:
    """Where everything lies below one folder."""

    top: Path

    @property
    def history(self) -> Path:
        """The gateway's histories."""
        return self.top / "history"

    @property
    def logs(self) -> Path:
        """What each process said."""
        return self.top / "logs"

    @property
    def clock(self) -> Path:
        """The clock of the edge daemons."""
        return self.top / "clock.json"

    @property
    def gateway(self) -> Path:
        """The gateway's settings."""
        return self.top / "gateway.toml"

    @property
    def broker(self) -> Path:
        """The broker's settings."""
        return self.top / "broker.toml"

    def pole(self, plan: SitePlan) -> Path:
        """The settings of a site's edge daemon."""
        return self.top / f"{plan.name}.toml"

    def outbox(self, plan: SitePlan) -> Path:
        """The durable file of a site's edge daemon."""
        return self.top / "poles" / plan.name / "outbox.sqlite"


def make_folders(layout: Layout) -> None:
    """Those of the histories and the logs."""
    for folder in (layout.history, layout.logs):
        folder.mkdir(parents=True)


def write_broker(layout: Layout, port: int) -> None:
    """The broker's settings."""
    layout.broker.write_text(BROKER.format(host=LOOPBACK, port=port), encoding="utf-8")


def write_gateway(layout: Layout, clock: NightClock, ports: Mapping[str, int]) -> None:
    """The gateway's settings. ports: of the `broker` and the `gateway`."""
    layout.gateway.write_text(gateway_text(clock, ports), encoding="utf-8")


def write_poles(layout: Layout, night: Night, clock: NightClock, broker_port: int) -> None:
    """Settings and clock of the edge daemons."""
    layout.clock.write_text(json.dumps(asdict(clock)), encoding="utf-8")
    for place, plan in enumerate(SITES):
        text = pole_text(plan, night, night.site_seed(place), broker_port)
        layout.pole(plan).write_text(text, encoding="utf-8")


def table(name: str, /, **keys: object) -> str:
    """A TOML table. Texts, numbers and truth values are written alike in JSON and TOML."""
    lines = [f"{key} = {json.dumps(held)}" for key, held in keys.items()]
    return "\n".join([f"[{name}]" if not name.startswith("[") else name, *lines, "", ""])


def gateway_text(clock: NightClock, ports: Mapping[str, int]) -> str:
    """Settings of `seafret serve`."""
    sites = [
        table(f"sites.{plan.name}", title=TOLD[plan.name].title)
        + table(
            f"sites.{plan.name}.units.{plan.monitor}",
            insulators=[unit.name for unit in plan.insulators],
        )
        for plan in SITES
    ]
    return (
        'data = "history"\n\n'
        + table("broker", host=LOOPBACK, port=ports["broker"])
        + table("console", host=LOOPBACK, port=ports["gateway"])
        + table("watch", stale_after_s=STALE_AFTER_S)
        + table("clock", **asdict(clock))
        + "".join(sites)
    )


def pole_text(plan: SitePlan, night: Night, seed: int, broker_port: int) -> str:
    """Settings of a site's `seafret-edge run`."""
    dry = dry_phasors(plan)
    return (
        table("unit", id=unit_of(plan))
        + table(
            "site",
            name=TOLD[plan.name].title,
            nominal_hz=round(plan.nominal_hz),
            nominal_kv=plan.voltage_kv,
            coast_bearing_deg=plan.climate.coast_faces_deg,
        )
        + table(
            "source",
            kind="virtual-site",
            plan=plan.name,
            seed=seed,
            night_minutes=night.minutes,
            voltage_channel="UA",
        )
        + table("store", folder=f"poles/{plan.name}", quota_mb=200)
        + table("broker", host=LOOPBACK, port=broker_port)
        + "".join(_insulator(plan, unit, dry[unit.name]) for unit in plan.insulators)
    )


def _insulator(plan: SitePlan, unit: InsulatorPlan, dry: Dry) -> str:
    surface, profile = type_of(unit.name)
    entry = table(
        "[[insulator]]",
        id=unit.name,
        type=surface,
        profile=profile,
        voltage_class_kv=TOLD[plan.name].class_kv,
        creepage_mm=10.0 * unit.creepage_cm,
        arcing_distance_mm=round(10.0 * unit.creepage_cm * ARCING_SHARE),
        creepage_basis="phase-phase",
        phase=unit.phase,
        sensor_place="ring at the foot",
    ).rstrip("\n")
    ranges = "".join(
        table("[[insulator.ranges]]", channel=channel, full_scale_ma=scale_ma)
        for channel, scale_ma in _ranges(unit)
    )
    calibration = table(
        "[[insulator.calibrations]]",
        id=f"{unit.name} dry 1",
        dry_ma=round(dry.rms_ma, 6),
        dry_deg=round(dry.lead_deg, 3),
        dry_spread_ma=DRY_SPREAD_MA,
        lag_deg=round(dry.lag_deg, 3),
    ).rstrip("\n")
    dates = f"\ninstalled = {installed_on(unit)}\n\n"
    return entry + dates + ranges + calibration + f"\nvalid_from = {CALIBRATED}\n\n"


def _ranges(unit: InsulatorPlan) -> list[tuple[str, float]]:
    coarse = (unit.name, unit.full_scale_ma)
    fine_ma = unit.fine_full_scale_ma
    return [coarse] if fine_ma is None else [(f"{unit.name} fine", fine_ma), coarse]
