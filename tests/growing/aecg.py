"""aECG documents that grow."""

from __future__ import annotations

from collections.abc import Iterable

from tests.formats.aecg.support import message, sequence_set, series
from tests.growing import Files, Grow

__all__ = ["AECG", "nested"]

LEAD_I = {"MDC_ECG_LEAD_I": "1 2"}
EMPTY_SECTION = "<subjectOf><annotationSet/></subjectOf>"
QT = '<code code="MDC_ECG_TIME_PD_QT"/><value xsi:type="PQ" value="400" unit="ms"/>'


def _in_series(filling: str) -> Grow:
    return lambda count: {"x.xml": message(series(sequence_set(LEAD_I), filling * count)).encode()}


def nested(depth: int, inner: str = "") -> str:
    """A set whose annotations stand inside one another; each level takes two elements."""
    deep = f"<component><annotation>{inner}" * depth + "</annotation></component>" * depth
    return f"<subjectOf><annotationSet>{deep}</annotationSet></subjectOf>"


def _deeper(levels: int) -> Files:
    """Fifty sets, each with measurements in so many levels."""
    return {"x.xml": message(series(sequence_set(LEAD_I), nested(levels, QT) * 50)).encode()}


def _deep_elements(count: int) -> Files:
    text = "<a>" * count + "</a>" * count
    return {"x.xml": f"<AnnotatedECG xmlns='urn:hl7-org:v3'>{text}</AnnotatedECG>".encode()}


def _remarks(contents: Iterable[str]) -> Files:
    parts = (f"<pertainsTo><subjectFindingComment>{x}</subjectFindingComment></pertainsTo>" for x in contents)
    return {"x.xml": message(*parts, series(sequence_set(LEAD_I))).encode()}


FIELD = '<code code="FIELD" codeSystemName="ECG interchange"/>'

AECG: dict[str, Grow] = {
    "comments": _in_series("<!--x-->"),
    "processing instructions": _in_series("<?x y?>"),
    "unknown elements": _in_series("<x/>"),
    "empty annotation sections": _in_series(EMPTY_SECTION),
    "annotations without value": _in_series(nested(1, '<code code="X"/>')),
    "sequence sets": _in_series(sequence_set({"MDC_ECG_LEAD_I": "1"})),
    "control variables": _in_series(
        "<controlVariable><controlVariable><code code='?'/></controlVariable></controlVariable>"
    ),
    "annotations 90 deep": _in_series(nested(90, QT)),
    "levels of annotations": _deeper,
    "elements inside one another": _deep_elements,
    "attributes": lambda n: _in_series("<x " + " ".join(f"a{i}=''" for i in range(n)) + "/>")(1),
    "remarks": lambda n: _remarks("<text>x</text>" for _ in range(n)),
    "lines of text": lambda n: _remarks(f"{FIELD}<text>patient.comments[{i}]: x</text>" for i in range(n)),
    "lines that do not fit": lambda n: _remarks(f"{FIELD}<text>marks[{i}].text: x</text>" for i in range(n)),
}
