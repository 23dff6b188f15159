"""The register of accounts: made, changed and audited; the last administrator stays."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from gateway.accounts.lockout import FRESH, Tries
from gateway.accounts.passwords import check_password, hashed
from gateway.accounts.people import Account, AccountRefused, AuditLine, checked_name
from gateway.accounts.roles import Role
from gateway.accounts.store import AccountsFile

AUDIT_DETAIL_MAX = 200
"""Longer details are cut: they come from whoever knocks."""

_COLUMNS = "name, role, disabled, made_us, failures, locks, locked_until_us"


class Register:
    """by: who changes something; it is audited with the change, in one transaction."""

    def __init__(self, file: AccountsFile, now_us: Callable[[], int]) -> None:
        self.file = file
        self.now_us = now_us

    def accounts(self) -> list[Account]:
        """All accounts by name."""
        return [_account(*row) for row in self.file.ask(f"SELECT {_COLUMNS} FROM accounts")]

    def account(self, name: str) -> Account | None:
        """One account, None where there is none of that name."""
        rows = self.file.ask(f"SELECT {_COLUMNS} FROM accounts WHERE name = ?", name)
        return _account(*rows[0]) if rows else None

    def password_of(self, name: str) -> str | None:
        """What is kept of the password."""
        rows = self.file.ask("SELECT password FROM accounts WHERE name = ?", name)
        return str(rows[0][0]) if rows else None

    def add(self, name: str, role: Role, password: str, by: str, address: str = "") -> None:
        """Raises AccountRefused for a name that is taken or none, PasswordRefused."""
        check_password(checked_name(name), password)
        kept = hashed(password)
        with self.file.changing():
            if self.account(name) is not None:
                raise AccountRefused(f"account {name} is there already; change it, or take another")
            self.file.ask(
                "INSERT INTO accounts (name, role, password, made_us) VALUES (?, ?, ?, ?)",
                *(name, role.value, kept, self.now_us()),
            )
            self.note(by, "account-made", name, address, role.value)

    def set_role(self, name: str, role: Role, by: str, address: str = "") -> None:
        """Ends the account's sessions, so that the new role holds at once."""
        with self.file.changing():
            self._known(name)
            self._keep_one_administrator(name, role is Role.ADMINISTRATOR)
            self.file.ask("UPDATE accounts SET role = ? WHERE name = ?", role.value, name)
            self._end_sessions(name)
            self.note(by, "role-changed", name, address, role.value)

    def set_disabled(self, name: str, disabled: bool, by: str, address: str = "") -> None:
        """A disabled account keeps its name in the journal; its sessions and tokens end."""
        with self.file.changing():
            self._known(name)
            self._keep_one_administrator(name, not disabled)
            self.file.ask("UPDATE accounts SET disabled = ? WHERE name = ?", int(disabled), name)
            self._end_sessions(name)
            if disabled:
                self.file.ask("DELETE FROM tokens WHERE name = ?", name)
            self.note(by, "disabled" if disabled else "enabled", name, address)

    def set_password(self, name: str, password: str, by: str, address: str = "") -> None:
        """Ends the account's sessions and lifts a lock. Raises PasswordRefused."""
        check_password(name, password)
        kept = hashed(password)
        with self.file.changing():
            self._known(name)
            self.file.ask("UPDATE accounts SET password = ? WHERE name = ?", kept, name)
            self.set_tries(name, FRESH)
            self._end_sessions(name)
            self.note(by, "password-changed", name, address)

    def unlock(self, name: str, by: str, address: str = "") -> None:
        """Lifts a lock."""
        with self.file.changing():
            self._known(name)
            self.set_tries(name, FRESH)
            self.note(by, "unlocked", name, address)

    def set_tries(self, name: str, tries: Tries) -> None:
        """Counts of wrong passwords."""
        self.file.ask(
            "UPDATE accounts SET failures = ?, locks = ?, locked_until_us = ? WHERE name = ?",
            *(tries.failures, tries.locks, tries.locked_until_us, name),
        )

    def note(self, who: str, what: str, about: str, address: str = "", detail: str = "") -> None:
        """One line of the audit."""
        cut = "".join(c if c.isprintable() else "?" for c in detail)[:AUDIT_DETAIL_MAX]
        self.file.ask(
            "INSERT INTO audit (at_us, who, what, about, address, detail) "
            "VALUES (?, ?, ?, ?, ?, ?)",
            *(self.now_us(), who, what, about, address, cut),
        )

    def audit(self, before: int = 1 << 62, limit: int = 200) -> list[AuditLine]:
        """Lines numbered below `before`, the newest first."""
        rows: list[tuple[Any, ...]] = self.file.ask(
            "SELECT number, at_us, who, what, about, address, detail FROM audit "
            "WHERE number < ? ORDER BY number DESC LIMIT ?",
            *(before, limit),
        )
        return [AuditLine(*row) for row in rows]

    def _known(self, name: str) -> None:
        if self.account(name) is None:
            raise AccountRefused(f"no account {name[:40]!r}; see the list of accounts")

    def _administrators(self) -> set[str]:
        return {
            one.name
            for one in self.accounts()
            if one.role is Role.ADMINISTRATOR and not one.disabled
        }

    def _keep_one_administrator(self, name: str, stays: bool) -> None:
        if not stays and self._administrators() == {name}:
            raise AccountRefused(f"{name} is the last administrator; make another one first")

    def _end_sessions(self, name: str) -> None:
        self.file.ask("DELETE FROM sessions WHERE name = ?", name)


def _account(*row: Any) -> Account:
    name, role, disabled, made_us, failures, locks, locked_until_us = row
    return Account(
        name, Role(role), bool(disabled), made_us, Tries(failures, locks, locked_until_us)
    )
