"""Words and codes that cannot be anybody's name: what may stay as text."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from interchange.model import Code

__all__ = ["KNOWN_SCHEMES", "known_statement", "known_text"]

KNOWN_SCHEMES = {
    "MDC": r"\d{1,3}:\d{1,6}|MDC_[A-Za-z0-9_]{1,60}",
    "SCPECG": r"\d{1,2}(\.\d{1,3}){1,5}(-\d{1,3}){0,2}",
    "DCM": r"\d{6}",
    "LN": r"\d{3,7}-\d",
    "SCT": r"\d{6,9}",
    "SRT": r"[A-Z][A-Z0-9]?-[0-9A-F]{5}",
    "UCUM": r"[A-Za-z0-9%./{}\[\]*^-]{1,16}",
    "2.16.840.1.113883.6.24": r"MDC_[A-Za-z0-9_]{1,60}|\d{1,6}",
    "2.16.840.1.113883.6.96": r"\d{6,9}",
}
"""Public code lists and what a code of theirs looks like.

SNOMED CT codes stop at nine digits here: longer ones exist, but a row of digits of that length can be a number that
somebody has.
"""

_SIGNALS = (
    "RESP", "PLETH", "ABP", "ART", "PAP", "CVP", "ICP", "CO2", "SPO2", "BP", "ECG", "MCL", "Defib", "V", "MLI",
    "MLII", "MLIII", "PLETHl", "PLETHr", "uV", "mV", "mm[Hg]", "mV/V", "ms", "us", "deg", "/min", "%", "1", "uV/s",
    "{beats}", "[degF]", "Cel", "L/min",
)  # fmt: skip
"""Labels of signals other than leads and units as used in open data sets (common practice)."""


@cache
def _known() -> frozenset[str]:
    from interchange.vocabulary import leads

    words = set(_SIGNALS)
    for lead in leads():
        words.update((lead.name, lead.id, *lead.aliases))
    return frozenset(words)


def known_text(text: str) -> bool:
    """Whether this is the name of a lead, of a common signal, or a unit."""
    return text in _known()


@cache
def _public_statements() -> frozenset[str]:
    """Statements that everybody writes alike: the meanings of the rhythm and beat concepts, in any letter case."""
    from interchange.vocabulary import concepts

    return frozenset(c.meaning.casefold() for c in concepts() if c.kind in ("rhythm", "beat"))


def known_statement(text: str, codes: Sequence[Code]) -> str | None:
    """What may stay of a statement's text: all of it when it is from a public list; else the codes in its place."""
    if text.strip().casefold() in _public_statements():
        return text.strip()
    values = [code.value for code in codes if code.value]
    return " ".join(values) if values else None
