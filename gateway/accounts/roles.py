"""Roles and what each may do: one table, proven total by its test."""

from __future__ import annotations

from enum import StrEnum


class Role(StrEnum):
    """Each may do all that the one before it may."""

    VIEWER = "viewer"
    OPERATOR = "operator"
    ENGINEER = "engineer"
    ADMINISTRATOR = "administrator"


class Act(StrEnum):
    """What a route asks of whoever calls it."""

    ENTER = "enter"  # needs no account: signing in itself, and what it looks like
    READ = "read"
    OWN = "own"  # one's own session, password and tokens
    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"  # and take back
    RESET = "reset"  # of a latched alarm
    ANSWER = "answer"  # what was seen on site; kept as a label
    PLAN_OUTAGE = "plan-outage"
    MAINTAIN = "maintain"  # out of service under a work order, and back
    PROPOSE_LIMITS = "propose-limits"
    APPROVE_LIMITS = "approve-limits"  # of somebody else's proposal
    LIAISE = "liaise"  # with those outside: trial notices, which point list the control centre has
    GOVERN = "govern"  # accounts, roles, the audit


OPERATING = frozenset({Act.ACKNOWLEDGE, Act.SHELVE, Act.RESET, Act.ANSWER, Act.PLAN_OUTAGE})
ENGINEERING = frozenset({Act.MAINTAIN, Act.PROPOSE_LIMITS, Act.APPROVE_LIMITS, Act.LIAISE})

_VIEWING = frozenset({Act.ENTER, Act.READ, Act.OWN})

ALLOWED: dict[Role, frozenset[Act]] = {
    Role.VIEWER: _VIEWING,
    Role.OPERATOR: _VIEWING | OPERATING,
    Role.ENGINEER: _VIEWING | OPERATING | ENGINEERING,
    Role.ADMINISTRATOR: frozenset(Act),
}


def may(role: Role | None, act: Act) -> bool:
    """Whether a role may do this; None is somebody without an account."""
    return act is Act.ENTER if role is None else act in ALLOWED[role]
