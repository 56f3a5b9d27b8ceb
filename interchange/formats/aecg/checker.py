"""Conformance of an aECG document: valid against the schema of its edition, and right in what a schema cannot say.

The schema is that of the edition that the document seems to follow (:func:`edition_of`), validated by libxml2.  The
rest are the findings of the reader, which looks at every value that it takes in.  Messages name elements, attributes
and what was expected, and never quote a value.
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING

from interchange.errors import SourceError
from interchange.formats.aecg.log import MOST, Log
from interchange.formats.aecg.markup import HL7, local_name, namespace_of, parse, place_of
from interchange.formats.aecg.reader import read_document
from interchange.resources import schema

if TYPE_CHECKING:
    from lxml import etree

    from interchange.findings import Finding
    from interchange.sources import Source

__all__ = ["check", "edition_of"]

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

_EXPECTED = re.compile(r"Expected is (?:one of )?\( (.*) \)")
_ATTRIBUTE = re.compile(r"attribute '(?:\{[^}]*\})?([A-Za-z]+)'")
_LINE = re.compile(r"line (\d+)")
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


def check(source: Source) -> tuple[Finding, ...]:
    """All findings on conformance in the order of the file; one that says so for a document that cannot be read."""
    log = Log()
    try:
        document = parse(source.data)
    except SourceError as error:
        log.add("aecg.well-formed", None, error.reason, error.place)
        return log.findings()
    _validate(document.root, log)
    try:
        read_document(document, log)
    except SourceError as error:
        log.add("aecg.no-series" if "series" in error.reason else "aecg.well-formed", None, error.reason, error.place)
    return tuple(sorted(log.findings(), key=_line_of))


def _line_of(finding: Finding) -> int:
    found = _LINE.search(finding.place)
    return int(found[1]) if found else 0


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


def _validate(root: etree._Element, log: Log) -> None:
    """Findings of the schema that fits best."""
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
        if len(best[2]) > MOST:
            log.add("aecg.schema", None, f"at {len(best[2]) - MOST} further places", place_of(message))


def _words(error: etree._LogEntry, edition: str) -> str:
    """The reason, without the value that was found; names of elements and attributes are those of the schema."""
    reason = KINDS.get(str(error.type_name), "the schema is not met")
    expected = _EXPECTED.search(error.message)
    attribute = _ATTRIBUTE.search(error.message)
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
