"""Signing in and out, sessions and tokens: who somebody is, from what they bring along."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import threading
from collections.abc import Mapping
from typing import Any

from gateway.accounts.lockout import FRESH, address_failed, after_failure, is_address_barred
from gateway.accounts.passwords import is_right
from gateway.accounts.people import (
    DAY_US,
    SESSION_US,
    SESSIONS_MAX,
    TOKEN_DAYS_MAX,
    AccountRefused,
    Caller,
    SignInRefused,
    Way,
)
from gateway.accounts.register import Register
from gateway.accounts.roles import Role

SECRET_BYTES = 32
SEEN_EVERY_US = 60_000_000
"""That a session is in use is written down once a minute, not with every page."""

REFUSED = (
    "name or password is wrong, or the account is locked for a while after too many tries; "
    "an administrator can unlock it"
)


class Door:
    """What the console asks about who is calling. Threads may ask at the same time."""

    def __init__(self, register: Register) -> None:
        self.register = register
        self._file = register.file
        self._failures: Mapping[str, tuple[int, ...]] = {}
        self._one_at_a_time = threading.Lock()

    def sign_in(self, name: str, password: str, address: str) -> str:
        """The secret of a new session. Raises SignInRefused."""
        now_us = self.register.now_us()
        if is_address_barred(self._failures, address, now_us):
            raise SignInRefused("too many wrong passwords from this address; wait a quarter hour")
        account = self.register.account(name)
        right = is_right(self.register.password_of(name), password)
        if account is None or account.tries.is_locked(now_us) or account.disabled or not right:
            raise self._refused(name, address, now_us)
        with self._file.changing():
            # Looking at the password took its time: what was changed meanwhile holds.
            now = self.register.account(name)
            if now is not None and not now.disabled and not now.tries.is_locked(now_us):
                self.register.set_tries(now.name, FRESH)
                return self.begin(now.name, now.role, Way.PASSWORD, address)
        raise self._refused(name, address, now_us)

    def _refused(self, name: str, address: str, now_us: int) -> SignInRefused:
        with self._one_at_a_time:
            self._failures = address_failed(self._failures, address, now_us)
        with self._file.changing():
            account = self.register.account(name)
            what = "sign-in-refused"
            if account is not None and not account.tries.is_locked(now_us):
                tries = after_failure(account.tries, now_us)
                self.register.set_tries(name, tries)
                what = "locked" if tries.is_locked(now_us) else what
            self.register.note(name[:32] if account else "?", what, "", address)
        return SignInRefused(REFUSED)

    def begin(self, name: str, role: Role, way: Way, address: str) -> str:
        """The secret of a new session of somebody who is known. Raises SignInRefused for a name
        whose account here is disabled, whoever else vouches for it."""
        own = self.register.account(name)
        if own is not None and own.disabled:
            raise SignInRefused("this account is disabled here; ask your administrator")
        secret, now_us = secrets.token_urlsafe(SECRET_BYTES), self.register.now_us()
        self._file.ask(
            "INSERT INTO sessions VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            *(sha_of(secret), name, role.value, secrets.token_urlsafe(SECRET_BYTES)),
            *(way.value, address, now_us, now_us),
        )
        self._file.ask(
            "DELETE FROM sessions WHERE name = ? AND sha NOT IN (SELECT sha FROM sessions "
            "WHERE name = ? ORDER BY made_us DESC LIMIT ?)",
            *(name, name, SESSIONS_MAX),
        )
        self.register.note(name, "signed-in", way.value, address)
        return secret

    def by_session(self, secret: str) -> Caller | None:
        """Who has this session, None where it is none or has ended."""
        rows: list[tuple[Any, ...]] = self._file.ask(
            "SELECT s.name, s.role, s.csrf, s.way, s.made_us, s.seen_us FROM sessions s "
            "WHERE s.sha = ?",
            sha_of(secret),
        )
        if not rows:
            return None
        name, role, csrf, way, made_us, seen_us = rows[0]
        now_us = self.register.now_us()
        if not 0 <= now_us - made_us < SESSION_US[Role(role)]:
            self._file.ask("DELETE FROM sessions WHERE sha = ?", sha_of(secret))
            return None
        if now_us - seen_us > SEEN_EVERY_US:
            self._file.ask("UPDATE sessions SET seen_us = ? WHERE sha = ?", now_us, sha_of(secret))
        return Caller(name, Role(role), Way(way), csrf)

    def sign_out(self, secret: str, address: str) -> None:
        """Ends a session."""
        caller = self.by_session(secret)
        if caller is not None:
            with self._file.changing():
                self._file.ask("DELETE FROM sessions WHERE sha = ?", sha_of(secret))
                self.register.note(caller.name, "signed-out", "", address)

    def make_token(self, name: str, label: str, days: int, by: str, address: str = "") -> str:
        """The secret of a token for scripts, told once. Raises AccountRefused."""
        if not 1 <= days <= TOKEN_DAYS_MAX:
            raise AccountRefused(f"{days} days; a token lives 1 to {TOKEN_DAYS_MAX} days")
        if self.register.account(name) is None:
            raise AccountRefused(f"no account {name[:40]!r}; see the list of accounts")
        secret, now_us = secrets.token_urlsafe(SECRET_BYTES), self.register.now_us()
        with self._file.changing():
            self._file.ask(
                "INSERT INTO tokens VALUES (?, ?, ?, ?, ?)",
                *(sha_of(secret), name, label[:64], now_us, now_us + days * DAY_US),
            )
            self.register.note(by, "token-made", name, address, f"{label}, {days} days")
        return secret

    def end_tokens(self, name: str, by: str, address: str = "") -> None:
        """Ends all tokens of an account."""
        with self._file.changing():
            self._file.ask("DELETE FROM tokens WHERE name = ?", name)
            self.register.note(by, "tokens-ended", name, address)

    def by_token(self, secret: str) -> Caller | None:
        """Whose token this is, with the role that the account has now."""
        rows: list[tuple[Any, ...]] = self._file.ask(
            "SELECT t.name, t.until_us, a.role, a.disabled FROM tokens t "
            "JOIN accounts a ON a.name = t.name WHERE t.sha = ?",
            sha_of(secret),
        )
        if not rows:
            return None
        name, until_us, role, disabled = rows[0]
        if disabled or self.register.now_us() >= until_us:
            return None
        return Caller(name, Role(role), Way.TOKEN)


def sha_of(secret: str) -> str:
    """What is kept of a secret."""
    return hashlib.sha256(secret.encode()).hexdigest()


def same(a: str, b: str) -> bool:
    """Whether two secrets are the same, told in the same time whatever they are."""
    return hmac.compare_digest(a.encode(), b.encode())
