"""How people come in, as the settings have it: accounts, and where asked for single sign-on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from gateway.accounts.register import Register
from gateway.accounts.roles import Role
from gateway.accounts.signing_in import Door
from gateway.accounts.single_sign_on import Provider, SingleSignOn
from gateway.accounts.store import AccountsFile
from gateway.settings import Console, SettingsFault


@dataclass(frozen=True, slots=True)
class Entrance:
    """door: None where no accounts are in force."""

    door: Door | None = None
    single_sign_on: SingleSignOn | None = None

    def close(self) -> None:
        """Ends the accounts' file."""
        if self.door is not None:
            self.door.register.file.close()


OPEN_ENTRANCE = Entrance()


def open_entrance(console: Console, data: Path, now_us: Callable[[], int]) -> Entrance:
    """now_us: real time. Raises AccountsFault, SettingsFault."""
    if not console.asks_who:
        return OPEN_ENTRANCE
    single = None
    if console.single_sign_on is not None:
        single = SingleSignOn(_provider(console), now_us)
    return Entrance(Door(Register(AccountsFile(data), now_us)), single)


def _provider(console: Console) -> Provider:
    told = console.single_sign_on
    assert told is not None
    try:
        secret = told.client_secret_file.read_text(encoding="utf-8").strip()
    except OSError as fault:
        raise SettingsFault(
            f"console.single_sign_on.client_secret_file {told.client_secret_file}: "
            f"{fault.strerror}; it must be a readable file that holds the secret"
        ) from fault
    return Provider(
        issuer=told.issuer,
        client_id=told.client_id,
        client_secret=secret,
        console=told.address,
        roles_claim=told.roles_claim,
        roles={word: Role(role) for word, role in told.roles.items()},
        name_claim=told.name_claim,
    )
