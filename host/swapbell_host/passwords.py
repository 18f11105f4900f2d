"""Passwords: only their Argon2id hashes are kept."""

from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerifyMismatchError

from swapbell_models.fault import Mistake

# NIST SP 800-63B (2017), 5.1.1.2: at least 8 characters, at least 64 allowed; the upper bound is our choice.
LETTERS_MIN = 8
LETTERS_MAX = 500
# RFC 9106, section 4, the second recommended option, which needs 64 MiB: the defaults of argon2-cffi.
_HASHER = PasswordHasher()


def hashed(password: str) -> str:
    """Return what is kept of a password.

    Raises
    ------
    Mistake
        If it is too short or too long, or holds what no field of a form takes, such as the end of a line.
    """
    if not password.isprintable():
        raise Mistake("password: it has more than one line, or letters that cannot be typed; write it on one line")
    if not LETTERS_MIN <= len(password) <= LETTERS_MAX:
        raise Mistake(
            f"password: it has {len(password)} letters; choose one of {LETTERS_MIN} to {LETTERS_MAX}, "
            "such as four or more words that have nothing to do with each other"
        )
    return _HASHER.hash(password)


def is_right(kept: str | None, given: str) -> bool:
    """Tell whether a password is the one of which that was kept; without one it takes as long, and it is not."""
    try:
        return _HASHER.verify(kept or _nobodys(), given[:LETTERS_MAX]) and kept is not None
    except (VerifyMismatchError, InvalidHashError):
        return False


@cache
def _nobodys() -> str:
    return _HASHER.hash("nobody has this password")
