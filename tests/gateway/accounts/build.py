"""Accounts over a file of their own, with a clock that tests move."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from gateway.accounts.register import Register
from gateway.accounts.roles import Role
from gateway.accounts.signing_in import Door
from gateway.accounts.store import AccountsFile

PASSWORD = "four grey gulls at dusk"
START_US = 1_795_478_400_000_000


@dataclass
class House:
    """A door with its register."""

    folder: Path
    now_us: int = START_US
    file: AccountsFile = field(init=False)
    register: Register = field(init=False)
    door: Door = field(init=False)

    def __post_init__(self) -> None:
        self.file = AccountsFile(self.folder)
        self.register = Register(self.file, lambda: self.now_us)
        self.door = Door(self.register)

    def with_account(self, name: str = "kr", role: Role = Role.OPERATOR) -> House:
        self.register.add(name, role, PASSWORD, "test")
        return self

    def audited(self) -> list[str]:
        """What the audit says, the oldest first."""
        return [one.what for one in self.register.audit()][::-1]
