"""WFDB records that grow (header(5), annot(5))."""

from __future__ import annotations

import struct
from collections.abc import Callable

from tests.growing import Grow

__all__ = ["HEADERS", "WFDB"]

BASE = "rec 1 500 4\nrec.dat 16 200/mV 12 0 0 0 0 II\n"
NEIGHBOURS = {"rec.dat": bytes(8), "odd.hea": BASE.encode(), "rec.atr": b"\x02\x04\0\0"}

HEADERS: dict[str, Callable[[int], str]] = {
    "comments": lambda n: BASE + "# x\n" * n,
    "ages": lambda n: BASE + "# Age: 5\n" * n,
    "ids": lambda n: BASE + "".join(f"# patient.ids[{i}]: value=x\n" for i in range(n)),
    "marks": lambda n: BASE + "".join(f"# marks[{i}]: concept=note; tracing=0; start=1\n" for i in range(n)),
    "unknown lines": lambda n: BASE + "# patient.foo: 3\n" * n,
    "continued lines": lambda n: BASE + "# a\\\n" + "#+a\\\n" * n,
    "layout": lambda n: BASE + "".join(f"# Tracing {i + 1} of {n}: signal {i + 1}, samples 0 to 3\n" for i in range(n)),
    "further records": lambda n: (
        BASE
        + f"# Tracing 1 of {n}: signal 1, samples 0 to 3\n"
        + "".join(f"# Tracing {i + 2} of {n}: record odd\n" for i in range(n - 1))
    ),
    "annotation files": lambda n: BASE + "# Annotations atr: 5 marks\n" * n,
    "signals": lambda n: f"rec {n} 500 4\n" + "rec.dat 16 200/mV 12 0 0 0 0 II\n" * n,
    "signals without words": lambda n: f"rec {n} 500 4\n" + "rec.dat 16\n" * n,
    "files": lambda n: f"rec {n} 500 4\n" + "".join(f"rec.d{i} 16 200/mV 12 0 0 0 0 II\n" for i in range(n)),
    "null signals": lambda n: f"rec {n} 500 4\n" + "".join(f"~ 0x{i + 1} 200/mV 12 0 0 0 0 II\n" for i in range(n)),
    "segments": lambda n: f"rec/{n} 1 500 4\n" + "".join(f"seg{i} 1\n" for i in range(n)),
    "gaps": lambda n: f"rec/{n} 1 500 4\n" + "~ 0\n" * n,
    "angle brackets": lambda n: BASE + "# " + "<a>: b " * n + "\n",
    "blanks": lambda n: BASE + " " * 10 * n + "#x\n",
    "digits": lambda n: f"rec {'1' * 10 * n} 500 4\n",
    "backslashes": lambda n: BASE + "# patient.comments[0]: " + "\\\\" * 5 * n + "\n",
}
"""Headers of a record ``rec`` beside the files of ``NEIGHBOURS``."""


def _header(kind: str) -> Grow:
    return lambda count: {"rec.hea": HEADERS[kind](count).encode(), **NEIGHBOURS}


def _annotations(words: bytes) -> Grow:
    """An annotation file in which these words repeat, with one annotation at the end."""
    return lambda count: {"rec.hea": BASE.encode(), **NEIGHBOURS, "rec.atr": words * count + NEIGHBOURS["rec.atr"]}


def _word(code: int, interval: int) -> bytes:
    return struct.pack("<H", code << 10 | interval)


SKIP = _word(59, 0) + b"\0\0\1\0"
AUX = _word(63, 2) + b"xy"

WFDB: dict[str, Grow] = {
    **{kind: _header(kind) for kind in HEADERS},
    "skips in an annotation file": _annotations(SKIP),
    "skips back and forth": _annotations(SKIP + _word(59, 0) + b"\xff\xff\xff\xff"),
    "texts of no annotation": _annotations(AUX),
    "numbers of no annotation": _annotations(_word(60, 1) + _word(61, 1) + _word(62, 1)),
    "annotations of unknown codes": _annotations(_word(58, 1)),
    "annotations with a text each": _annotations(_word(22, 1) + AUX),
}
