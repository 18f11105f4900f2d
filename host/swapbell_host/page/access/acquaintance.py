"""Browsers that signed in by a name before: each keeps a mark for long, by which it is known again.

The mark is a number of the browser's own, sealed with what the ledger keeps of the account's password: nobody else
can make one, it fits no other account, and a new password makes all of them worthless.
"""

import hmac
import secrets

# 128 bits, as OWASP's Session Management Cheat Sheet asks for at least.
NUMBER_BYTES = 16


def mark(kept: str) -> str:
    """Return a new mark for a browser that knew the password of which `kept` is kept."""
    number = secrets.token_urlsafe(NUMBER_BYTES)
    return f"{number}.{_seal(number, kept)}"


def known(given: str, kept: str) -> str | None:
    """Return the number of a browser whose mark is one of that account; nothing for a stranger's."""
    number, _, seal = given.partition(".")
    return number if hmac.compare_digest(seal.encode("utf-8"), _seal(number, kept).encode("ascii")) else None


def _seal(number: str, kept: str) -> str:
    return hmac.digest(kept.encode("utf-8"), f"swapbell browser {number}".encode(), "sha256").hex()
