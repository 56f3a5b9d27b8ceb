"""Further files of a record: what does not fit in one SCP-ECG record lies in ``NAME-2.scp`` and so on."""

from __future__ import annotations

import re
from hashlib import sha256

__all__ = ["is_further_file", "main_name"]

_NAME = re.compile(r"(.+)-\d{1,4}\.scp", re.ASCII | re.DOTALL)


def main_name(name: str) -> str | None:
    """Name of the record that a file of this name would be a further file of; None where it has no such name."""
    found = _NAME.fullmatch(name)
    return f"{found[1]}.scp" if found else None


def is_further_file(name: str, data: bytes, main: str, main_data: bytes) -> bool:
    """Whether both files say so: this one names the record, and the record names this one with these very bytes.

    Then reading the record reads this file too (see :mod:`interchange.formats.scp.carried`).
    """
    if f"scp.part-of: {main}".encode("utf-8", "surrogateescape") not in data:
        return False
    said = re.escape(name.encode("ascii", "backslashreplace"))
    digest = sha256(data).hexdigest()[:16].encode()
    return re.search(rb"scp\.part: \d{1,4} " + said + rb" [\d/]{1,25} " + digest, main_data) is not None
