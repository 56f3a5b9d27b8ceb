"""Measurements: of the recording, of a lead, of a mark, or with a region of time of their own."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

from interchange.formats.aecg.codes import SAME_UNIT, SECONDS, VOLTS
from interchange.formats.aecg.concepts import measured, own_concept
from interchange.formats.aecg.datatypes import absent_of, code_of, factor, physical, text_of
from interchange.formats.aecg.markup import WHITE, Node
from interchange.formats.aecg.read_marks import add_mark
from interchange.formats.aecg.scope import Scope
from interchange.model import Absent, Code, Extras, Measurement
from interchange.model.lines import decimal

if TYPE_CHECKING:
    from interchange.vocabulary import Concept

__all__ = ["read_measurement"]

NO_NUMBER = ("TS", "BL", "II", "TEL", "SXCM_TS", "IVL_TS", "IVXB_TS")
"""Types whose ``value`` is no number, even where it consists of digits (HL7 V3 datatypes)."""

FORMULA = r"bazett|fr[ei]d[eo]?ri|framingham|hodges|qtc[bf]\b"
"""Names of formulas that some put beside the code of a corrected QT interval without one (from memory of files)."""


def read_measurement(
    node: Node, text: str, full: Code | None, value: Node | None, kind: str, own: bool, scope: Scope
) -> None:
    """A measurement, or something with a code that no table has."""
    leads: tuple[str | None, ...] = (scope.region.leads if scope.own or scope.mark is None else ()) or (scope.lead,)
    concept, lead = measured(text, leads != (None,)) if text and not own else own_concept(text, leads != (None,))
    if lead is not None:
        leads = (lead,)
    if concept is None:
        scope.set.log.add("aecg.annotation-code", node)
    placed = scope.mark is None and scope.region.start is not None
    if value is None and placed:
        add_mark(node, "other", full, scope)
        return
    if value is None and concept is None and node.find("component") is not None:
        return
    amount, unit, words, absent = _value(value, kind, concept, node, scope)
    if words is None and concept is not None and concept.id == "qtc-interval" and full is not None:
        words = full.meaning if re.search(FORMULA, full.meaning or "", re.IGNORECASE) else None
    entry = Measurement(
        concept.id if concept else "other",
        amount,
        unit,
        None,
        absent,
        scope.set.beat if not placed and scope.mark is None else None,
        words if placed else words or text_of(node.take("text")),
        (full or Code()) if concept is None else None,
        _extent(scope) if scope.mark is not None else () if placed else scope.set.made,
    )
    entries = tuple(replace(entry, lead=name) for name in leads)
    if scope.mark is not None:
        mark = scope.set.content.marks[scope.mark]
        scope.set.content.marks[scope.mark] = replace(mark, measurements=(*mark.measurements, *entries))
    elif placed:
        _add_placed(node, full, entries, scope)
    else:
        scope.set.content.measurements.extend(entries)


def _add_placed(node: Node, full: Code | None, entries: tuple[Measurement, ...], scope: Scope) -> None:
    """A measurement with a region of time of its own: a mark per lead that holds it."""
    words = node.take("text")
    for entry in entries:
        if words is not None:
            words.used = False
        region = scope.region._replace(leads=(entry.lead,) if entry.lead else ())
        add_mark(node, "other", full, Scope(scope.set, region, True), (entry,))


def _extent(scope: Scope) -> Extras:
    """The span of a measurement inside a mark, where it is another than the mark's: seconds on the tracing."""
    if not scope.own or scope.region.start is None or scope.mark is None:
        return ()
    mark, region = scope.set.content.marks[scope.mark], scope.region
    begin, last = region.start, region.end
    if region.tracing is not None and region.tracing != mark.tracing:
        tracings = scope.set.placed.tracings
        ahead = tracings[region.tracing].start - tracings[mark.tracing].start
        begin, last = (t + ahead if t is not None else None for t in (begin, last))
    if (begin, last) == (mark.start, mark.end) and region.part == "whole":
        return ()
    start = begin if region.part != "end" else None
    end = last if region.part != "end" else begin
    pairs = (("aecg.start", start), ("aecg.end", end))
    return tuple((key, decimal(value)) for key, value in pairs if value is not None)


def _value(
    value: Node | None, kind: str, concept: Concept | None, node: Node, scope: Scope
) -> tuple[int | Fraction | None, str | None, str | None, Absent | None]:
    """Number, unit, words and the reason for neither."""
    if value is None:
        return None, concept.unit or None if concept else None, None, None
    absent = absent_of(value)
    if "code" in value.attributes:
        code = code_of(value)
        return None, None, (code.meaning or code.value) if code else None, absent
    if kind in ("ST", "ED", "SC") or (not kind and "value" not in value.attributes):
        words = text_of(value)
        if words is None and absent is None and concept is not None and concept.kind not in ("text", "code"):
            scope.set.log.add("aecg.annotation-value", node)
        return None, None, words, absent
    if kind in NO_NUMBER:
        scope.set.log.add("aecg.annotation-value", node)
        return None, None, (value.get("value") or "").strip(WHITE) or None, absent
    amount, unit = physical(value, scope.set.log)
    amount, unit = _in_unit(amount, unit, concept, node, scope)
    if amount is None:
        return None, unit or (concept.unit or None if concept else None), None, absent
    return (amount.numerator if amount.denominator == 1 else amount), unit, None, absent


def _in_unit(
    amount: Fraction | None, unit: str | None, concept: Concept | None, node: Node, scope: Scope
) -> tuple[Fraction | None, str | None]:
    """The number in the unit of its concept where the units can be converted."""
    unit = SAME_UNIT.get(unit or "", unit or "") or None
    if concept is None:
        if amount is not None and unit in VOLTS:
            return amount * factor(VOLTS[unit]), "uV"
        return amount, unit
    wanted = concept.unit
    if unit in VOLTS and wanted == "uV":
        return amount * factor(VOLTS[unit]) if amount is not None else None, "uV"
    if unit in SECONDS and wanted in SECONDS:
        return amount * factor(SECONDS[unit]) / factor(SECONDS[wanted]) if amount is not None else None, wanted
    if amount is not None and unit != wanted and not (unit is None and wanted in ("", "1")):
        scope.set.log.add("aecg.annotation-unit", node)
    return amount, unit
