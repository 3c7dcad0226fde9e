"""Tokens in addresses: 128 bits that nobody guesses. What is kept of one is only its hash.

Source: RFC 4648, section 5 (base64 that is safe in addresses); FIPS 180-4 (SHA-256). A token is random and long, so a
plain hash of it tells nothing: none of the slow hashes of passwords is needed, and it is found by an index.
"""

from __future__ import annotations

import hashlib
import logging
import re
import secrets

# Bytes of a token: 22 letters in an address.
BYTES = 16
# Nobody's address is longer; what is longer is not hashed at all.
LONGEST = 200


def new_token() -> str:
    """22 letters of the URL-safe alphabet, from the system's random source."""
    return secrets.token_urlsafe(BYTES)


def token_hash(text: str) -> str:
    """SHA-256 as 64 hexadecimal digits; empty for a text that can be no token, which then finds nothing."""
    if not text or len(text) > LONGEST:
        return ""
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()


# What may be a token in an address: a part of a path that is long, and no word of ours (those have neither capitals nor
# digits) and no key of a record.
_PART = re.compile(r"(?<=/)[\w-]{16,}(?=[^\w-]|$)")
_KEY = re.compile(r"[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")


def masked(text: str) -> str:
    """The text without what may be a token in an address; keys of records stay, as errors are looked for by them."""

    def mask(found: re.Match) -> str:
        part = found[0]
        return part if _KEY.fullmatch(part) or not re.search(r"[A-Z0-9]", part) else "(token)"

    return _PART.sub(mask, text)


class Masked(logging.Filter):
    """For a handler: no log holds a token, whoever wrote the line (Django names the path of each refused request)."""

    def filter(self, record: logging.LogRecord) -> bool:
        text = record.getMessage()
        if (shown := masked(text)) != text:
            record.msg, record.args = shown, ()
        return True
