"""Passwords: what is accepted, and how one is kept (argon2id)."""

from __future__ import annotations

import threading

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

LEAST = 12
"""Shorter passwords are refused."""
MOST = 256
"""Longer ones are refused: nobody types them, and hashing must stay cheap."""
DISTINCT_LEAST = 5
"""With fewer different characters a password is refused."""

MEMORY_KIB, PASSES, LANES = 19_456, 2, 1
"""Cost of one hash: 19 MiB and two passes (the least that is advised for argon2id, as recalled)."""

AT_ONCE = 2
"""So many hashes are worked out at a time; a flood of guesses waits and takes no more memory."""

_hasher = PasswordHasher(time_cost=PASSES, memory_cost=MEMORY_KIB, parallelism=LANES)
_room = threading.BoundedSemaphore(AT_ONCE)
_NOBODYS = _hasher.hash("the hash of nobody's password: a wrong name takes as long as a wrong word")


class PasswordRefused(ValueError):
    """The person's: the password is not good enough; the text says what is."""


def check_password(name: str, password: str) -> None:
    """Raises PasswordRefused for one that is too short, too long or too plain."""
    if not LEAST <= len(password) <= MOST:
        raise PasswordRefused(
            f"the password has {len(password)} characters; from {LEAST} to {MOST} are allowed"
        )
    if len(set(password)) < DISTINCT_LEAST:
        raise PasswordRefused(
            f"the password has {len(set(password))} different characters; "
            f"at least {DISTINCT_LEAST} are needed"
        )
    if name.casefold() in password.casefold():
        raise PasswordRefused("the password holds the account's name; choose another")


def hashed(password: str) -> str:
    """What is kept of a password."""
    with _room:
        return _hasher.hash(password)


def is_right(kept: str | None, password: str) -> bool:
    """Whether a password is the one that was hashed; None (no such account) takes as long."""
    with _room:
        try:
            return _hasher.verify(kept or _NOBODYS, password[:MOST]) and kept is not None
        except (VerificationError, InvalidHashError):
            return False
