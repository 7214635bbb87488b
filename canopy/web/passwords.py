"""PINs and passwords: hashed by Argon2id, and no quicker to guess for a name that is not known."""

from __future__ import annotations

import threading
from functools import lru_cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from canopy.errors import UsageError

PASSES, MEMORY_KIB, LANES = 3, 65536, 4
"""RFC 9106, section 4, second recommended option of Argon2id."""

_HASHER = PasswordHasher(time_cost=PASSES, memory_cost=MEMORY_KIB, parallelism=LANES)
# Each takes 64 MiB: many sign-ins at once must not take all memory.
_TURNS = threading.Semaphore(2)
_EASY = frozenset({"123456", "654321", "000000", "111111", "123123", "121212", "password", "12345678", "canopy"})
LONGEST = 200


def hashed(secret: str, *, length_min: int) -> str:
    """Argon2id hash of a new PIN or password.

    Raises
    ------
    UsageError
        It is too short or too easy.
    """
    if not length_min <= len(secret) <= LONGEST:
        raise UsageError(f"PIN: has {len(secret)} characters; give {length_min} to {LONGEST}")
    if secret.casefold() in _EASY or len(set(secret)) < 3:
        raise UsageError("PIN: is among the first that anyone would try; choose another")
    with _TURNS:
        return _HASHER.hash(secret)


def is_right(secret: str, hash_: str | None) -> bool:
    """Whether it is the secret behind the hash; takes as long where there is no hash."""
    try:
        known = hash_ if hash_ is not None else _nobodys()
        with _TURNS:
            return _HASHER.verify(known, secret[:LONGEST]) and hash_ is not None
    except (VerificationError, InvalidHashError):
        return False


@lru_cache(maxsize=1)
def _nobodys() -> str:
    return _HASHER.hash("nobody has this one")
