"""The gateway's settings: TOML in, frozen models out; a fault says file, key, found, allowed."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import available_timezones

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from gateway.outward_settings import (
    LOOPBACK,
    Heartbeat,
    Notices,
    Outstation,
    placed_notices,
    placed_outstation,
)

Port = Annotated[int, Field(ge=1, le=65535)]
SiteName = Annotated[str, Field(pattern=r"^[a-z0-9-]{1,32}$")]
MonitorName = Annotated[str, Field(pattern=r"^[a-z0-9-]{1,32}$")]
InsulatorName = Annotated[str, Field(pattern=r"^[^,\"'/\x00-\x1f\x7f-\x9f]{1,48}$")]


class SettingsFault(ValueError):
    """The installer's: the settings cannot be used as they are."""


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Tls(_Part):
    """ca: who is believed. cert, key: who we are."""

    ca: Path
    cert: Path
    key: Path


class Broker(_Part):
    """The MQTT broker. username: only where it asks for one; with TLS the certificate says who.

    log_command: prints the broker's log as it grows, one word an entry; what the broker refuses is
    seen only there.
    """

    host: str = "127.0.0.1"
    port: Port = 1883
    client_id: Annotated[str, Field(pattern=r"^[a-zA-Z0-9-]{1,64}$")] = "seafret-gateway"
    username: str | None = None
    keepalive_s: Annotated[int, Field(ge=5, le=600)] = 30
    tls: Tls | None = None
    log_command: tuple[Annotated[str, Field(min_length=1)], ...] = ()

    @model_validator(mode="after")
    def _other_machines_only_with_tls(self) -> Broker:
        if self.tls is None and self.host not in LOOPBACK:
            raise ValueError(
                f"host {self.host!r} without [broker.tls]; without TLS only {', '.join(LOOPBACK)}"
            )
        return self


class SingleSignOn(_Part):
    """OpenID Connect. issuer: exactly as the provider names itself. address: the console's own, as
    browsers reach it. roles: word in the claim to role."""

    issuer: Annotated[str, Field(pattern=r"^https?://")]
    client_id: str
    client_secret_file: Path
    address: Annotated[str, Field(pattern=r"^https?://")]
    roles_claim: str = "groups"
    name_claim: str = "preferred_username"
    roles: dict[str, Literal["viewer", "operator", "engineer", "administrator"]]


class Console(_Part):
    """The console and the API. Without a certificate it listens on this machine only.

    accounts: whether people must sign in; over TLS they always must. time_zone: of the times that
    are shown, "" for the machine's own. results: folder with results of `seafret replay`.
    """

    host: str = "127.0.0.1"
    port: Port = 8710
    tls_cert: Path | None = None
    tls_key: Path | None = None
    accounts: bool = False
    single_sign_on: SingleSignOn | None = None
    time_zone: Annotated[str, Field(max_length=64)] = ""
    results: Path | None = None

    @property
    def asks_who(self) -> bool:
        """Whether accounts are in force."""
        return self.accounts or self.tls_cert is not None or self.single_sign_on is not None

    @model_validator(mode="after")
    def _known_zone(self) -> Console:
        if self.time_zone and self.time_zone not in available_timezones():
            raise ValueError(f'time_zone {self.time_zone!r}; it must be like Europe/Dublin, or ""')
        return self

    @model_validator(mode="after")
    def _other_machines_only_with_tls(self) -> Console:
        secured = self.tls_cert is not None and self.tls_key is not None
        if not secured and self.host not in LOOPBACK:
            raise ValueError(
                f"host {self.host!r} without tls_cert and tls_key; without TLS only "
                f"{', '.join(LOOPBACK)}"
            )
        return self


class Watch(_Part):
    """stale_after_s: a unit without newer data than this is stale. certificates: files whose end
    is watched besides those that the gateway itself uses, lists of revoked ones as well."""

    stale_after_s: Annotated[float, Field(ge=10, le=86_400)] = 180.0
    certificates: tuple[Path, ...] = ()


class HistoryAt(_Part):
    """A PostgreSQL database that holds the histories, instead of files in the data folder.
    password_file: its first line is the password; else the client library looks for one. workers:
    whether units are taken in by workers (`seafret ingest`) beside the gateway. lease_s: a worker
    that is silent for so long loses its units to the others."""

    address: Annotated[str, Field(pattern=r"^postgres(ql)?://")]
    password_file: Path | None = None
    workers: bool = False
    lease_s: Annotated[float, Field(ge=1, le=60)] = 3.0

    @field_validator("address")
    @classmethod
    def _says_no_password(cls, address: str) -> str:
        if re.search(r"//[^/@]*:[^/@]*@|[?&]password=", address):
            raise ValueError("it must hold no password; name a password_file")
        return address


class Retention(_Part):
    """keep_days: minute rows are kept so long; then ten-minute and hourly ones stand for them."""

    keep_days: Annotated[int, Field(ge=28, le=36_600)] = 366


class ClockSettings(_Part):
    """A straight line through real time; only a demo sets it."""

    rate: Annotated[float, Field(gt=0, le=10_000)] = 1.0
    real_origin_us: int = 0
    shown_origin_us: int = 0


class Unit(_Part):
    """insulators: those that it watches, so that a missing one is seen to be missing. settings: a
    copy of the unit's settings file, by which limits are tried out and checked."""

    insulators: tuple[InsulatorName, ...] = ()
    settings: Path | None = None


class Site(_Part):
    """title: as people say it. position: the operating position that its alarms call at; budgets
    and figures count by it. call: whom the reader of an alarm calls, with the number. units: by
    the monitor's part of their name."""

    title: Annotated[str, Field(max_length=80)] = ""
    position: Annotated[str, Field(min_length=1, max_length=48)] = "control room"
    call: Annotated[str, Field(max_length=80, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$")] = ""
    units: dict[MonitorName, Unit] = {}


class Settings(_Part):
    """All of the gateway's settings. data: the folder of the histories and of all else that is
    kept. history: None where the histories are files in it. outstation, notices: None where nothing
    is handed on or sent."""

    data: Path
    broker: Broker = Broker()
    console: Console = Console()
    watch: Watch = Watch()
    retention: Retention = Retention()
    history: HistoryAt | None = None
    clock: ClockSettings = ClockSettings()
    heartbeat: Heartbeat = Heartbeat()
    outstation: Outstation | None = None
    notices: Notices | None = None
    sites: Annotated[dict[SiteName, Site], Field(min_length=1)]

    @model_validator(mode="after")
    def _no_invented_time_leaves(self) -> Settings:
        if self.clock.rate != 1 and (self.outstation is not None or self.notices is not None):
            raise ValueError(
                f"clock.rate is {self.clock.rate:g} beside [outstation] or [notices]; a time that "
                "is not the real one calls nobody and is told to no control centre"
            )
        return self


def read_settings(path: Path) -> Settings:
    """The settings of a TOML file; relative paths are meant from the file's folder.

    Raises SettingsFault naming file, key, what was found and what is allowed.
    """
    try:
        parsed = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as fault:
        raise SettingsFault(f"settings {path}: {fault.strerror}; give a readable file") from fault
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise SettingsFault(f"settings {path}: not TOML: {fault}") from fault
    try:
        settings = Settings.model_validate(parsed)
    except ValidationError as fault:
        raise SettingsFault(f"settings {path}: {_first(fault)}") from fault
    return _placed(settings, path.parent)


def _placed(settings: Settings, folder: Path) -> Settings:
    """The same with every path made whole; links stay, for a renewed certificate moves one."""

    def put(part: BaseModel, *names: str) -> dict[str, Path]:
        given = {name: getattr(part, name) for name in names}
        return {name: (folder / path).absolute() for name, path in given.items() if path}

    broker, console, watch = settings.broker, settings.console, settings.watch
    if broker.tls is not None:
        tls = broker.tls.model_copy(update=put(broker.tls, "ca", "cert", "key"))
        broker = broker.model_copy(update={"tls": tls})
    console = console.model_copy(update=put(console, "tls_cert", "tls_key", "results"))
    watched = tuple((folder / path).absolute() for path in watch.certificates)
    watch = watch.model_copy(update={"certificates": watched})
    changes: dict[str, object] = {"broker": broker, "console": console, "watch": watch}
    changes["sites"] = {
        name: site.model_copy(
            update={
                "units": {
                    monitor: unit.model_copy(update=put(unit, "settings"))
                    for monitor, unit in site.units.items()
                }
            }
        )
        for name, site in settings.sites.items()
    }
    if settings.history is not None:
        at = settings.history
        changes["history"] = at.model_copy(update=put(at, "password_file"))
    if settings.outstation is not None:
        changes["outstation"] = placed_outstation(settings.outstation, folder)
    if settings.notices is not None:
        changes["notices"] = placed_notices(settings.notices, folder)
    return settings.model_copy(update={**changes, **put(settings, "data")})


def _first(fault: ValidationError) -> str:
    first = fault.errors()[0]
    key = ".".join(str(part) for part in first["loc"] if part != "[key]") or "top"
    if first["type"] == "extra_forbidden":
        allowed = "this key is not known; see the example settings for those that are"
        return f"{key}: found {str(first['input'])[:80]!r}; {allowed}"
    if first["type"] == "missing":
        return f"{key}: missing; it must be given"
    message = first["msg"].removeprefix("Value error, ")
    found = "" if first["type"] == "value_error" else f"found {str(first['input'])[:80]!r}; "
    return f"{key}: {found}{message}"
