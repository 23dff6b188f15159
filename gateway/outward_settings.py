"""Settings of what the gateway says beside its console: outstation, notices, heartbeat."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import available_timezones

from pydantic import BaseModel, ConfigDict, Field, model_validator

LOOPBACK = ("127.0.0.1", "::1", "localhost")
Word = Annotated[str, Field(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f-\x9f]+$")]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class TlsFiles(_Part):
    """ca: who is believed. cert, key: who we are."""

    ca: Path
    cert: Path
    key: Path


class Outstation(_Part):
    """IEC 60870-5-104, monitoring direction only. masters: addresses that may connect, none named:
    all. plain_because: why a listener of other machines goes without TLS; it must be said."""

    host: str = "127.0.0.1"
    port: Annotated[int, Field(ge=0, le=65_535)] = 2404
    common_address: Annotated[int, Field(ge=1, le=65_534)] = 1
    masters: tuple[Word, ...] = ()
    tls: TlsFiles | None = None
    plain_because: Annotated[str, Field(max_length=200)] = ""

    @model_validator(mode="after")
    def _protected(self) -> Outstation:
        if self.tls is not None or self.host in LOOPBACK:
            return self
        if not self.plain_because or not self.masters:
            raise ValueError(
                f"host {self.host!r} without [outstation.tls]; else say plain_because and name "
                "the masters that may connect"
            )
        return self


class Recipient(_Part):
    """Somebody, or something, that notices go to.

    address: as apprise takes it (mailto://, json://, ...); address_file: a file that holds it,
    for one with a password in it. form: short (a text message of 160 characters) or long (mail).
    order: 1 is told at once, 2 when nobody has acknowledged. digest: also gets what a storm was.
    """

    name: Word
    address: Word | None = None
    address_file: Path | None = None
    form: Literal["short", "long"] = "short"
    order: Annotated[int, Field(ge=1, le=2)] = 1
    digest: bool = False
    sites: tuple[Annotated[str, Field(pattern=r"^[a-z0-9-]{1,32}$")], ...] = ()

    @model_validator(mode="after")
    def _one_address(self) -> Recipient:
        if (self.address is None) == (self.address_file is None):
            raise ValueError("give address or address_file, and not both")
        return self


class Notices(_Part):
    """Who is told of what the alarm list announces, off the console.

    test_at: time of day of the daily test, in time_zone; its absence is the sign that something is
    wrong. escalate_after_s: until the second person is told. console_url: for the link in a mail.
    """

    recipients: Annotated[tuple[Recipient, ...], Field(min_length=1)]
    test_at: Annotated[str, Field(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")] = "09:00"
    time_zone: Annotated[str, Field(max_length=64)] = "UTC"
    escalate_after_s: Annotated[int, Field(ge=60, le=7_200)] = 600
    priorities: tuple[Annotated[int, Field(ge=1, le=3)], ...] = (1, 2, 3)
    console_url: Annotated[str, Field(max_length=200)] = ""

    @model_validator(mode="after")
    def _sound(self) -> Notices:
        if self.time_zone not in available_timezones():
            raise ValueError(f"time_zone {self.time_zone!r}; it must be like Europe/Dublin")
        names = [one.name for one in self.recipients]
        if len(set(names)) != len(names):
            raise ValueError("recipients: a name is used twice; each needs its own")
        if all(one.order != 1 for one in self.recipients):
            raise ValueError("recipients: nobody has order 1; somebody must be told at once")
        return self


class Heartbeat(_Part):
    """What something else can miss. ping_url: asked every ping_every_s while the gateway is sound;
    a service that watches for it calls people when it stays away. mqtt: a retained message."""

    ping_url: Annotated[str, Field(pattern=r"^https?://")] | None = None
    ping_every_s: Annotated[float, Field(gt=0, le=3_600)] = 60.0
    mqtt: bool = True


def placed_outstation(part: Outstation, folder: Path) -> Outstation:
    """With every path made whole."""
    if part.tls is None:
        return part
    names = ("ca", "cert", "key")
    paths = {name: (folder / getattr(part.tls, name)).absolute() for name in names}
    return part.model_copy(update={"tls": part.tls.model_copy(update=paths)})


def placed_notices(part: Notices, folder: Path) -> Notices:
    """With every path made whole."""
    recipients = tuple(
        one
        if one.address_file is None
        else one.model_copy(update={"address_file": (folder / one.address_file).absolute()})
        for one in part.recipients
    )
    return part.model_copy(update={"recipients": recipients})
