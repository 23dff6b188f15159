"""Accounts over their real file: made, changed, locked, audited."""

from __future__ import annotations

import sqlite3
import stat
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from gateway.accounts.lockout import (
    ADDRESS_FAILURES_MAX,
    ADDRESS_WINDOW_US,
    FAILURES_MAX,
    FIRST_LOCK_US,
    FRESH,
    LONGEST_LOCK_US,
    address_failed,
    after_failure,
    is_address_barred,
)
from gateway.accounts.passwords import PasswordRefused, is_right
from gateway.accounts.people import (
    DAY_US,
    SESSION_US,
    SESSIONS_MAX,
    AccountRefused,
    SignInRefused,
    Way,
)
from gateway.accounts.roles import Role
from gateway.accounts.store import FILE_NAME
from tests.gateway.accounts.build import PASSWORD, House


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = House(tmp_path)
    yield made
    made.file.close()


def guess_wrongly(house: House, name: str = "kr", times: int = FAILURES_MAX) -> None:
    for number in range(times):
        with pytest.raises(SignInRefused):
            house.door.sign_in(name, f"wrong word number {number}", f"10.0.0.{number}")


def test_nobody_can_sign_in_where_there_is_no_account(house: House) -> None:
    for name, password in (("admin", "admin"), ("administrator", ""), ("", ""), ("root", "root")):
        with pytest.raises(SignInRefused):
            house.door.sign_in(name, password, "10.0.0.1")
    assert not house.register.accounts()


def test_the_right_password_begins_a_session_and_signing_out_ends_it(house: House) -> None:
    secret = house.with_account().door.sign_in("kr", PASSWORD, "10.0.0.1")
    caller = house.door.by_session(secret)
    assert caller is not None
    assert (caller.name, caller.role) == ("kr", Role.OPERATOR)
    assert len(caller.csrf) > 30
    house.door.sign_out(secret, "10.0.0.1")
    assert house.door.by_session(secret) is None
    assert house.audited() == ["account-made", "signed-in", "signed-out"]


@pytest.mark.parametrize(
    ("name", "password"),
    [
        ("kr", "short"),
        ("kr", "x" * 300),
        ("kr", "abababababababab"),
        ("gulls", "all the gulls of the coast"),
    ],
)
def test_a_password_that_is_easily_guessed_is_refused(
    house: House, name: str, password: str
) -> None:
    with pytest.raises(PasswordRefused):
        house.register.add(name, Role.VIEWER, password, "test")
    assert not house.register.accounts()


@pytest.mark.parametrize("name", ["", "KR", "k r", "../kr", "k" * 33, "-kr", "kr\n"])
def test_a_name_that_could_be_mistaken_is_refused(house: House, name: str) -> None:
    with pytest.raises(AccountRefused):
        house.register.add(name, Role.VIEWER, PASSWORD, "test")


def test_passwords_sessions_and_tokens_are_kept_as_hashes_in_a_file_of_ones_own(
    house: House,
) -> None:
    house.with_account()
    secrets = (
        PASSWORD,
        house.door.sign_in("kr", PASSWORD, "10.0.0.1"),
        house.door.make_token("kr", "cron", 30, "kr"),
    )
    with closing(sqlite3.connect(house.folder / FILE_NAME)) as reader:
        dump = "\n".join(reader.iterdump())
    assert not [secret for secret in secrets if secret in dump]
    assert "$argon2id$" in dump
    assert stat.S_IMODE((house.folder / FILE_NAME).stat().st_mode) == 0o600


def test_wrong_passwords_lock_the_account_even_for_the_right_one(house: House) -> None:
    guess_wrongly(house.with_account())
    with pytest.raises(SignInRefused):
        house.door.sign_in("kr", PASSWORD, "10.0.0.9")
    house.now_us += FIRST_LOCK_US
    assert house.door.sign_in("kr", PASSWORD, "10.0.0.9")
    assert "locked" in house.audited()


def test_a_lock_in_a_row_lasts_longer_but_never_for_more_than_an_hour() -> None:
    tries, now_us, lasted = FRESH, 0, []
    for _ in range(7):
        for _ in range(FAILURES_MAX):
            tries = after_failure(tries, now_us)
        lasted.append(tries.locked_until_us - now_us)
        now_us = tries.locked_until_us
        assert not tries.is_locked(now_us)
    assert lasted[:3] == [FIRST_LOCK_US, 2 * FIRST_LOCK_US, 4 * FIRST_LOCK_US]
    assert max(lasted) == lasted[-1] == LONGEST_LOCK_US


def test_an_administrator_lifts_a_lock(house: House) -> None:
    guess_wrongly(house.with_account())
    house.register.unlock("kr", "boss")
    assert house.door.sign_in("kr", PASSWORD, "10.0.0.9")


def test_an_address_that_guesses_is_barred_for_a_time_and_no_other_one() -> None:
    failures: dict[str, tuple[int, ...]] = {}
    for number in range(ADDRESS_FAILURES_MAX):
        assert not is_address_barred(failures, "10.0.0.66", number)
        failures = address_failed(failures, "10.0.0.66", number)
    assert is_address_barred(failures, "10.0.0.66", 100)
    assert not is_address_barred(failures, "10.0.0.1", 100)
    assert not is_address_barred(failures, "10.0.0.66", ADDRESS_WINDOW_US + 100)


def test_addresses_without_end_are_forgotten_the_oldest_first() -> None:
    failures: dict[str, tuple[int, ...]] = {}
    for number in range(30):
        failures = address_failed(failures, f"10.0.0.{number}", number, most=20)
    assert list(failures) == [f"10.0.0.{number}" for number in range(10, 30)]


def test_what_is_refused_is_the_same_for_a_name_that_is_not_there(house: House) -> None:
    house.with_account()
    said = set()
    for name in ("kr", "nobody"):
        with pytest.raises(SignInRefused) as refused:
            house.door.sign_in(name, "wrong words", "a")
        said.add(str(refused.value))
    assert len(said) == 1


def test_a_session_ends_with_the_shift_and_a_display_on_the_wall_goes_on(house: House) -> None:
    house.with_account().with_account("wall", Role.VIEWER)
    shift = house.door.sign_in("kr", PASSWORD, "a")
    wall = house.door.sign_in("wall", PASSWORD, "a")
    house.now_us += SESSION_US[Role.OPERATOR]
    assert house.door.by_session(shift) is None
    assert house.door.by_session(wall) is not None
    house.now_us += 30 * DAY_US
    assert house.door.by_session(wall) is None


@pytest.mark.parametrize("change", ["role", "disable", "password"])
def test_a_change_of_the_account_ends_its_sessions(house: House, change: str) -> None:
    secret = house.with_account().door.sign_in("kr", PASSWORD, "a")
    if change == "role":
        house.register.set_role("kr", Role.VIEWER, "boss")
    elif change == "disable":
        house.register.set_disabled("kr", True, "boss")
    else:
        house.register.set_password("kr", "another row of words", "boss")
    assert house.door.by_session(secret) is None


def test_the_last_administrator_can_neither_be_disabled_nor_lowered(house: House) -> None:
    house.with_account("boss", Role.ADMINISTRATOR)
    with pytest.raises(AccountRefused, match="last administrator"):
        house.register.set_role("boss", Role.VIEWER, "boss")
    with pytest.raises(AccountRefused, match="last administrator"):
        house.register.set_disabled("boss", True, "boss")
    house.with_account("second", Role.ADMINISTRATOR)
    house.register.set_disabled("boss", True, "second")
    assert [one.disabled for one in house.register.accounts()] == [True, False]


def test_of_many_sessions_the_oldest_end(house: House) -> None:
    house.with_account()
    secrets = []
    for _ in range(SESSIONS_MAX + 1):
        house.now_us += 1
        secrets.append(house.door.sign_in("kr", PASSWORD, "a"))
    assert house.door.by_session(secrets[0]) is None
    assert house.door.by_session(secrets[-1]) is not None


def test_a_token_has_the_role_its_account_has_now_and_ends(house: House) -> None:
    token = house.with_account().door.make_token("kr", "cron", 30, "kr")
    house.register.set_role("kr", Role.VIEWER, "boss")
    caller = house.door.by_token(token)
    assert caller is not None and caller.role is Role.VIEWER
    assert house.door.by_token(token + "x") is None
    house.now_us += 30 * DAY_US
    assert house.door.by_token(token) is None


def test_the_audit_is_only_ever_added_to(house: House) -> None:
    house.with_account()
    with closing(sqlite3.connect(house.folder / FILE_NAME)) as hand:
        for statement in ("DELETE FROM audit", "UPDATE audit SET who = 'nobody'"):
            with pytest.raises(sqlite3.IntegrityError, match="only ever added"):
                hand.execute(statement)
    assert house.audited() == ["account-made"]


def test_an_account_that_is_disabled_while_its_password_is_looked_at_gets_no_session(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Looking at a password takes a tenth of a second, in which an administrator may act."""
    house.with_account()

    def slow(kept: str | None, password: str) -> bool:
        house.register.set_disabled("kr", True, "test")
        return is_right(kept, password)

    monkeypatch.setattr("gateway.accounts.signing_in.is_right", slow)
    with pytest.raises(SignInRefused):
        house.door.sign_in("kr", PASSWORD, "10.0.0.1")
    assert "signed-in" not in house.audited()


def test_who_is_locked_out_by_others_meanwhile_gets_no_session_either(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else as many guesses as there are threads would be had at once."""
    house.with_account()

    def slow(kept: str | None, password: str) -> bool:
        monkeypatch.undo()
        guess_wrongly(house)
        return is_right(kept, password)

    monkeypatch.setattr("gateway.accounts.signing_in.is_right", slow)
    with pytest.raises(SignInRefused):
        house.door.sign_in("kr", PASSWORD, "10.0.0.1")
    assert "signed-in" not in house.audited()


def test_a_disabled_account_does_not_come_back_through_single_sign_on(house: House) -> None:
    house.with_account().register.set_disabled("kr", True, "test")
    with pytest.raises(SignInRefused, match="disabled"):
        house.door.begin("kr", Role.ENGINEER, Way.SINGLE_SIGN_ON, "10.0.0.1")
    secret = house.door.begin("fl", Role.VIEWER, Way.SINGLE_SIGN_ON, "10.0.0.1")
    assert house.door.by_session(secret) is not None
