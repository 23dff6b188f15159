"""Accounts and what a signed-in person, a script or the gateway's own machine is known by."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from gateway.accounts.lockout import Tries
from gateway.accounts.roles import Act, Role, may

NAME = re.compile(r"[a-z0-9][a-z0-9._-]{0,31}")

HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US

SESSION_US: dict[Role, int] = {
    Role.VIEWER: 30 * DAY_US,
    Role.OPERATOR: 13 * HOUR_US,
    Role.ENGINEER: 13 * HOUR_US,
    Role.ADMINISTRATOR: 13 * HOUR_US,
}
"""A session ends so long after signing in: a shift of twelve hours and an hour to hand over. A
viewer can change nothing, and a display on the wall must not go dark in the night."""

SESSIONS_MAX = 20
"""Of more sessions of one account the oldest end."""

TOKEN_DAYS_MAX = 400
"""A token for scripts lives no longer than this and is then made anew."""


class AccountRefused(ValueError):
    """The person's: an account cannot be made or changed so; the text says what is allowed."""


class SignInRefused(ValueError):
    """The person's: nobody is signed in. The text never says whether there is such an account."""


class Way(StrEnum):
    """How a caller came to be known."""

    OPEN = "open"  # this machine itself, without accounts
    PASSWORD = "password"
    TOKEN = "token"
    SINGLE_SIGN_ON = "single-sign-on"


@dataclass(frozen=True, slots=True)
class Account:
    """One person's account."""

    name: str
    role: Role
    disabled: bool
    made_us: int
    tries: Tries


@dataclass(frozen=True, slots=True)
class Caller:
    """Who asks. name: "" on a machine without accounts, where each action names its person. csrf:
    what a form of a browser must bring along, "" where there is no cookie to misuse."""

    name: str
    role: Role
    way: Way
    csrf: str = ""

    def may(self, act: Act) -> bool:
        """Whether the caller's role allows it."""
        return may(self.role, act)


OPEN = Caller("", Role.ENGINEER, Way.OPEN)
"""Whoever sits at the gateway's own machine, where no accounts are in force: all that the site's
own people do, nothing about accounts."""


@dataclass(frozen=True, slots=True)
class AuditLine:
    """What was done about accounts and who was refused what."""

    number: int
    at_us: int
    who: str
    what: str
    about: str
    address: str
    detail: str


def checked_name(name: str) -> str:
    """The name. Raises AccountRefused for one that is no name."""
    if not NAME.fullmatch(name):
        raise AccountRefused(
            f"account name {name[:40]!r}; it must be 1 to 32 of a-z, 0-9, '.', '_' and '-', "
            "the first a letter or a digit"
        )
    return name


def checked_role(role: str) -> Role:
    """The role of that word. Raises AccountRefused."""
    try:
        return Role(role)
    except ValueError as fault:
        known = ", ".join(one.value for one in Role)
        raise AccountRefused(f"role {role[:40]!r} is none of {known}") from fault
