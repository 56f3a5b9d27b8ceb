"""The secret that pseudonyms and date offsets come from.

Everything is HMAC-SHA256 of what is to be replaced, under a key of 32 random bytes: without the key nothing can be
turned back or guessed from a list of known ids; with it the same person gets the same pseudonym again.
"""

from __future__ import annotations

import base64
import contextlib
import hashlib
import hmac
import os
import re
import secrets
from pathlib import Path

from interchange.errors import UsageError

__all__ = ["Key", "load_key"]

_LINE = re.compile(r"interchange pseudonym key v1: ([0-9a-f]{64})\n?")


class Key:
    """A secret key; see :func:`load_key`."""

    __slots__ = ("_secret",)

    def __init__(self, secret: bytes | None = None) -> None:
        """Use these 32 bytes; without them a key for this run alone."""
        if secret is not None and len(secret) != 32:
            raise UsageError("a key has 32 bytes")
        self._secret = secret or secrets.token_bytes(32)

    @property
    def secret(self) -> bytes:
        """The 32 bytes, to hand the key to a worker process; never written anywhere."""
        return self._secret

    def digest(self, purpose: str, value: str) -> bytes:
        """32 bytes that stand for ``value``; different for each purpose."""
        return hmac.new(self._secret, f"{purpose}\0{value}".encode("utf-8", "surrogatepass"), hashlib.sha256).digest()

    def pseudonym(self, purpose: str, value: str) -> str:
        """Sixteen letters and digits (80 bits) that stand for ``value``."""
        return base64.b32encode(self.digest(purpose, value)[:10]).decode("ascii")

    def uid(self, purpose: str, value: str) -> str:
        """A UID under 2.25 (ITU-T X.667: a UUID as an integer; here with the bits of a version 8 UUID)."""
        number = int.from_bytes(self.digest(purpose, value)[:16], "big")
        number = number & ~(0xF << 76) | 0x8 << 76
        number = number & ~(0x3 << 62) | 0x2 << 62
        return f"2.25.{number}"

    def days(self, value: str) -> int:
        """Days to move this person's dates back: 366 to 3650, so that no date can stay as it was."""
        return 366 + int.from_bytes(self.digest("dates", value)[:8], "big") % 3285


def load_key(path: str | Path) -> Key:
    """The key in this file; made, readable by its owner alone, where there is none.

    Raises UsageError for a file that holds no key, that others can read (on systems with such rights), or that cannot
    be made.
    """
    if not os.fspath(path):
        raise UsageError("needs the name of a file", "--key")
    file = Path(path)
    try:
        if not os.path.lexists(file):
            _make(file)
        if os.name == "posix" and file.stat().st_mode & 0o077:
            raise UsageError("others can read this key file; take their rights away (chmod 600)", file=str(path))
        found = _LINE.fullmatch(file.read_text(encoding="ascii"))
    except OSError as error:
        raise UsageError(f"the key file cannot be used: {error.strerror}", file=str(path)) from None
    except UnicodeDecodeError:
        found = None
    if not found:
        raise UsageError("holds no key of this program", file=str(path))
    return Key(bytes.fromhex(found[1]))


def _make(file: Path) -> None:
    """Make the file, whole from the first moment; of several who make it at once one wins, and it stays."""
    aside = file.with_name(f".interchange-{secrets.token_hex(8)}.part")
    handle = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "w", encoding="ascii") as out:
            out.write(f"interchange pseudonym key v1: {secrets.token_hex(32)}\n")
            out.flush()
            os.fsync(out.fileno())
        with contextlib.suppress(FileExistsError):
            try:
                file.hardlink_to(aside)
            except FileExistsError:
                raise
            except OSError:  # a file system without such links; the name is free a moment ago
                if not os.path.lexists(file):
                    aside.rename(file)
    finally:
        aside.unlink(missing_ok=True)
