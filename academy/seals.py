"""Salted digests: what the ledger holds in place of a name or a sentence.

While the salt is kept, a text can be proved to be the one that was recorded. Wipe the salt, and the digest
says nothing any more; the chain it sits in still verifies.
"""

import hmac
import secrets

SALT_BYTES = 32


def new_salt() -> str:
    """Return a fresh salt, as hexadecimal."""
    return secrets.token_hex(SALT_BYTES)


def sealed(text: str, salt: str) -> str:
    """Return HMAC-SHA-256 (RFC 2104) of the UTF-8 text under `salt`, in hexadecimal.

    Raises ValueError without a salt.
    """
    if not salt:
        raise ValueError("A text can't be sealed without a salt.")
    return hmac.digest(bytes.fromhex(salt), text.encode(), "sha256").hex()
