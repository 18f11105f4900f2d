"""Secrets of a browser, and forms that only the browser can send to which the page gave them.

Each form carries a value that is made from the browser's own secret: another site can make a browser send a form, but
can neither read the secret nor guess the value (the signed double-submit of OWASP's Cross-Site Request Forgery
Prevention Cheat Sheet).
"""

import hmac
import secrets
from hashlib import sha256

# The name of the hidden field in each form.
FIELD = "form_key"
# Twice the 128 bits that OWASP's Session Management Cheat Sheet asks for at least.
TOKEN_BYTES = 32


def new_token() -> str:
    """Return a secret that nobody can guess."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def digest(token: str) -> bytes:
    """Return what is kept of a secret: enough to know it again, too little to be it."""
    return sha256(token.encode("utf-8")).digest()


def form_key(token: str) -> str:
    """Return what the forms of a browser carry."""
    return hmac.digest(token.encode("utf-8"), b"swapbell form", "sha256").hex()


def is_ours(token: str, given: str) -> bool:
    """Tell whether a form carries what the page gave to that browser; takes as long for any guess."""
    return hmac.compare_digest(form_key(token).encode("ascii"), given.encode("utf-8", "surrogatepass"))
