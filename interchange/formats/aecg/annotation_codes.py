"""The codes that annotations are written with."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from interchange.formats.aecg.codes import MDC, OWN
from interchange.formats.aecg.concepts import mark_concept
from interchange.formats.aecg.write_types import code_attributes, is_token
from interchange.model import Code, Mark

if TYPE_CHECKING:
    from interchange.vocabulary import Concept

__all__ = ["concept_in", "is_placed_measurement", "lead_code", "mark_code", "measurement_code", "statement_code"]


Scope = Literal["global", "per lead", "mark"]


@lru_cache(maxsize=1024)
def concept_in(name: str, scope: Scope) -> Concept | None:
    """The concept in that scope, None where there is none."""
    from interchange.vocabulary import concept

    try:
        return concept(name, scope)
    except KeyError:
        return None


@lru_cache(maxsize=1024)
def measurement_code(concept: str, lead: bool, in_mark: bool, source: Code | None) -> tuple[tuple[str, str], ...]:
    """Attributes of the code of a measurement; empty for one that has words only."""
    scopes: tuple[Scope, ...] = ("per lead", "global", "mark") if lead else ("global", "per lead", "mark")
    if in_mark:
        scopes = ("mark", *scopes[:2])
    row = next((found for scope in scopes if (found := concept_in(concept, scope)) is not None), None)
    if row is not None and row.aecg_code and not row.aecg_value and row.scope != "mark":
        return (("code", row.aecg_code), ("codeSystem", MDC), ("codeSystemName", "MDC"))
    if row is None and source is not None and code_attributes(source):
        return tuple(code_attributes(source).items())
    if concept == "other":
        return ()
    return (("code", concept), ("codeSystemName", OWN)) if is_token(concept) else ()


@lru_cache(maxsize=1024)
def lead_code(lead: str) -> str | None:
    """The code of a boundary that names a lead; None for a channel that has none."""
    from interchange.vocabulary import lead_for_channel

    row = lead_for_channel(lead)
    return row.aecg_code or None if row is not None else None


@lru_cache(maxsize=1024)
def mark_code(concept: str, source: Code | None) -> tuple[tuple[tuple[str, str], ...], str, str]:
    """Attributes of the code of a mark, its coded value, and for an instant which part of the wave it is."""
    system = (("codeSystem", MDC), ("codeSystemName", "MDC"))
    row = concept_in(concept, "mark")
    if row is not None and row.part_of:
        wave, _, part = row.part_of.partition(":")
        base = concept_in(wave, "mark")
        if base is not None and base.aecg_code:
            return (("code", base.aecg_code), *system), base.aecg_value, part
    if row is not None and row.aecg_code:
        return (("code", row.aecg_code), *system), row.aecg_value, ""
    if row is None and source is not None and code_attributes(source):
        return tuple(code_attributes(source).items()), "", ""
    if row is None and concept == "other":
        return (), "", ""
    return ((("code", concept), ("codeSystemName", OWN)) if is_token(concept) else ()), "", ""


@lru_cache(maxsize=1024)
def statement_code(kind: str) -> str:
    """The code of a kind of statement; that of a plain statement for kinds that have none."""
    row = concept_in(kind, "global")
    return row.aecg_code if row is not None and row.aecg_code else "MDC_ECG_INTERPRETATION_STATEMENT"


def is_placed_measurement(mark: Mark) -> bool:
    """Whether a mark is nothing but a measurement with a region of its own, as the reader makes them."""
    if mark.concept != "other" or mark.source_code is None or len(mark.measurements) != 1:
        return False
    entry = mark.measurements[0]
    code = measurement_code(entry.concept, entry.lead is not None, True, entry.source_code)
    given = dict(entry.extras).keys() & {"aecg.start", "aecg.end"}
    same = entry.lead == mark.lead and not given and not (entry.text and (mark.text or entry.value is not None))
    return same and bool(code) and dict(code).get("code") == mark.source_code.value and mark_concept(code[0][1]) is None
