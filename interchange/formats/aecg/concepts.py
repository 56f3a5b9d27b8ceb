"""The words of the trade for codes of annotations, in the spellings that documents have."""

from __future__ import annotations

from functools import cache, lru_cache
from typing import TYPE_CHECKING, Literal

from interchange.formats.aecg.read_series import lead_of

if TYPE_CHECKING:
    from interchange.vocabulary import Concept

__all__ = ["instants", "lead_name", "mark_concept", "measured", "own_concept"]


@lru_cache(maxsize=1024)
def lead_name(code: str) -> str:
    """What a channel with the lead of this code is called; the code itself for an unknown one."""
    from interchange.vocabulary import channel_name

    lead = lead_of(code)
    return channel_name(lead) if lead is not None else code


@lru_cache(maxsize=1024)
def mark_concept(refid: str) -> Concept | None:
    """The mark that a reference id names, None for an unknown one."""
    from interchange.vocabulary import concept_by_refid

    return concept_by_refid(refid, "mark") if refid else None


@cache
def instants() -> dict[tuple[str, str], str]:
    """(wave, part) to the concept of that instant: ("p-wave", "start") to "p-onset"."""
    from interchange.vocabulary import concepts

    found: dict[tuple[str, str], str] = {}
    for row in concepts():
        wave, _, part = row.part_of.partition(":")
        if part and row.scope == "mark":
            found.setdefault((wave, part), row.id)
    return found


@lru_cache(maxsize=1024)
def measured(code: str, lead_known: bool) -> tuple[Concept | None, str | None]:
    """The measurement that a code names, and the lead at its end."""
    from interchange.vocabulary import concept_by_mdc, concept_by_refid, concepts, mdc_code

    scope: Literal["per lead", "global"] = "per lead" if lead_known else "global"
    other: Literal["per lead", "global"] = "global" if lead_known else "per lead"
    text = code.strip().upper()
    if text.isascii() and text.isdigit() and len(text) <= 10 and 131072 <= int(text) < 2**32:
        text = mdc_code(int(text))
    if ":" in text:
        known = concept_by_mdc(text)
        if known is not None:
            return known[0], lead_name(known[1].mdc_refid) if known[1] else None
        return None, None
    row = concept_by_refid(text, scope) or concept_by_refid(text, other)
    if row is not None:
        return row, None
    if text.endswith("_GL") and concept_by_refid(text[:-3], "global"):
        return concept_by_refid(text[:-3], "global"), None
    base, _, tail = text.rpartition("_")
    while base:
        lead = lead_of(f"MDC_ECG_LEAD_{tail}")
        found = concept_by_refid(base, "per lead") if lead is not None else None
        if found is not None:
            return found, lead_name(f"MDC_ECG_LEAD_{tail}")
        base, _, more = base.rpartition("_")
        tail = f"{more}_{tail}"
    own = code.strip()
    return next((c for c in concepts() if c.id == own and c.scope == scope), None), None


@lru_cache(maxsize=1024)
def own_concept(text: str, lead: bool) -> tuple[Concept | None, str | None]:
    """The concept under this project's own name, in the form of :func:`measured`."""
    from interchange.vocabulary import concept

    for scope in ("per lead", "global", "mark") if lead else ("global", "mark", "per lead"):
        try:
            return concept(text, scope), None
        except KeyError:
            continue
    return None, None
