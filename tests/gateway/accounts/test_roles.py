"""The table of roles, and every route of the console against it."""

from __future__ import annotations

from itertools import pairwise

import pytest

from gateway.accounts.roles import ALLOWED, Act, Role, may
from gateway.console.acts import ACTS


def test_each_role_may_do_all_that_the_one_before_it_may_and_more() -> None:
    assert set(ALLOWED) == set(Role)
    for lower, higher in pairwise(Role):
        assert ALLOWED[lower] < ALLOWED[higher]


def test_somebody_without_an_account_may_only_come_to_the_door() -> None:
    assert {act for act in Act if may(None, act)} == {Act.ENTER}


WANTED: dict[Act, Role | None] = {
    Act.ENTER: None,
    Act.READ: Role.VIEWER,
    Act.OWN: Role.VIEWER,
    Act.ACKNOWLEDGE: Role.OPERATOR,
    Act.SHELVE: Role.OPERATOR,
    Act.RESET: Role.OPERATOR,
    Act.ANSWER: Role.OPERATOR,
    Act.PLAN_OUTAGE: Role.OPERATOR,
    Act.MAINTAIN: Role.ENGINEER,
    Act.PROPOSE_LIMITS: Role.ENGINEER,
    Act.APPROVE_LIMITS: Role.ENGINEER,
    Act.LIAISE: Role.ENGINEER,
    Act.GOVERN: Role.ADMINISTRATOR,
}
"""The lowest role that may do each."""


@pytest.mark.parametrize("act", list(Act))
def test_the_lowest_role_that_may_do_it_is_the_one_meant(act: Act) -> None:
    lowest = next((role for role in (None, *Role) if may(role, act)), "nobody")
    assert lowest == WANTED[act]


def test_whatever_changes_something_asks_for_more_than_looking_on() -> None:
    harmless = {"/sign-in", "/sign-in/elsewhere", "/preferences", "/sign-out"}
    changing = {
        (method, path): act
        for (method, path), act in ACTS.items()
        if method != "GET" and path not in harmless and not path.startswith("/account/")
    }
    assert changing
    assert not set(changing.values()) & {Act.ENTER, Act.READ}
