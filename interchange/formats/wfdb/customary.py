"""Names of annotators that public archives use (from memory)."""

from __future__ import annotations

from typing import Final

__all__ = ["CUSTOMARY"]

CUSTOMARY: Final = frozenset(
    {"atr", "ari", "ann", "ecg", "qrs", "wqrs", "gqrs", "sqrs", "pwave", "man", "ste", "st", "pu", "pu0", "pu1", "q1c"}
    | {"q2c", "qt1", "xws", "alarms", "apn", "epi", "flt", "cba", "atr_avf", "i", "ii", "iii", "avr", "avl", "avf"}
    | {f"v{number}" for number in range(1, 7)}
)
"""Annotators of public archives (from memory); a file of such a name is read even when it is damaged."""
