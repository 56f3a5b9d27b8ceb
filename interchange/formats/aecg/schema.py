"""Validation against the schema of the message's edition, by libxml2, in words that quote nothing of the document."""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING

from interchange.formats.aecg.log import MOST, Log
from interchange.formats.aecg.markup import HL7, local_name, namespace_of, place_of
from interchange.resources import schema

if TYPE_CHECKING:
    from lxml import etree

__all__ = ["edition_of", "validate"]

EDITIONS = {"r1-2004": "R1-2004", "ne2006": "the normative edition of 2006", "ne2009": "the normative edition of 2009"}
LATER = ("rOI", "findingComment", "asManufacturedDevice", "asIdentifiedEntity")
EARLIER = (
    "supportingROI",
    "subjectFindingComment",
    "playedManufacturedDevice",
    "identification",
    "assignedAuthorType",
    "derivedSeries",
)

KINDS = {
    "SCHEMAV_ELEMENT_CONTENT": "an element does not belong here, or one before it is missing",
    "SCHEMAV_CVC_COMPLEX_TYPE_2_3": "text stands between elements",
    "SCHEMAV_CVC_COMPLEX_TYPE_2_1": "something stands where nothing may",
    "SCHEMAV_CVC_COMPLEX_TYPE_2_2": "elements stand where only text may",
    "SCHEMAV_CVC_COMPLEX_TYPE_3_2_1": "an attribute does not belong here",
    "SCHEMAV_CVC_COMPLEX_TYPE_3_2_2": "an attribute does not belong here",
    "SCHEMAV_CVC_COMPLEX_TYPE_4": "an attribute is missing",
    "SCHEMAV_CVC_ELT_1": "the document element is not that of the message",
    "SCHEMAV_CVC_ELT_4_2": "xsi:type names no type of the message",
    "SCHEMAV_CVC_ELT_4_3": "xsi:type names a type that does not fit",
    "SCHEMAV_CVC_TYPE_2": "xsi:type is missing where the type is open",
    "SCHEMAV_CVC_ENUMERATION_VALID": "a code is not in its set",
    "SCHEMAV_CVC_PATTERN_VALID": "a value is not written as its type demands",
    "SCHEMAV_CVC_MINLENGTH_VALID": "a value is empty",
    "SCHEMAV_CVC_DATATYPE_VALID_1_2_1": "a value is not of its type",
    "SCHEMAV_CVC_DATATYPE_VALID_1_2_2": "a list holds something that is not of its type",
    "SCHEMAV_CVC_DATATYPE_VALID_1_2_3": "a value has none of the forms that its type allows",
}
"""What libxml2 calls an error, in words."""


def edition_of(root: etree._Element) -> tuple[str, ...]:
    """The editions that a message may follow, likeliest first, by the names and the order that it uses."""
    names = {local_name(child) for child in root.iter(*(f"{{*}}{name}" for name in (*LATER, *EARLIER)))}
    order = [local_name(child) for child in root]
    late = "componentOf" in order and "component" in order and order.index("componentOf") > order.index("component")
    if names & set(EARLIER) or (not names & set(LATER) and not late):
        return ("r1-2004",)
    if (
        "controlVariable" in order
        and "component" in order
        and order.index("component") < order.index("controlVariable")
    ):
        return "ne2006", "ne2009"
    return "ne2009", "ne2006"


@cache
def _schema(edition: str) -> etree.XMLSchema:
    from lxml import etree

    return etree.XMLSchema(etree.parse(schema(f"aecg/aecg-{edition}.xsd")))


def validate(root: etree._Element, log: Log) -> None:
    """Findings of the schema that fits best, for a document or the message that it wraps."""
    message = (
        root
        if local_name(root) == "AnnotatedECG" and namespace_of(root) == HL7
        else next(iter(root.iter(f"{{{HL7}}}AnnotatedECG", f"{{{HL7}}}annotatedECG")), None)
    )
    if message is None:
        log.add("aecg.schema", None, "there is no AnnotatedECG in HL7's namespace", place_of(root))
        return
    best: tuple[int, str, list[etree._LogEntry]] | None = None
    for edition in edition_of(message):
        judge = _schema(edition)
        if judge.validate(message):
            return
        errors = list(judge.error_log)
        if best is None or len(errors) < best[0]:
            best = len(errors), edition, errors
    if best is not None:
        for error in best[2][:MOST]:
            log.add("aecg.schema", None, _words(error, best[1]), _place(message, error))
        for _ in best[2][MOST:]:
            log.add("aecg.schema")


def _words(error: etree._LogEntry, edition: str) -> str:
    """The reason, without the value that was found; names of elements and attributes are those of the schema."""
    reason = KINDS.get(str(error.type_name), "the schema is not met")
    expected = re.search(r"Expected is (?:one of )?\( (.*) \)", error.message)
    attribute = re.search(r"attribute '(?:\{[^}]*\})?([A-Za-z]+)'", error.message)
    if expected:
        names = expected[1].replace(f"{{{HL7}}}", "").split(", ")
        shown = [name for name in names if name not in ("realmCode", "typeId", "templateId")]
        reason += f"; expected: {' or '.join(shown)}"
    elif attribute and str(error.type_name) not in ("SCHEMAV_CVC_COMPLEX_TYPE_3_2_1", "SCHEMAV_CVC_COMPLEX_TYPE_3_2_2"):
        reason += f"; attribute {attribute[1]}"
    return f"{reason}; {EDITIONS[edition]}"


def _place(root: etree._Element, error: etree._LogEntry) -> str:
    try:
        found = root.getroottree().xpath(error.path) if error.path else []
    except (SyntaxError, ValueError, TypeError):
        found = []
    if isinstance(found, list) and found and hasattr(found[0], "tag"):
        return place_of(found[0])
    return f"line {error.line}"
