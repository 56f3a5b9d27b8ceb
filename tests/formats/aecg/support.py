"""Documents for the tests: the kept message, edits of it, and small ones made from parts."""

from __future__ import annotations

from pathlib import Path

from interchange.findings import Finding
from interchange.formats import aecg
from interchange.model import Recording
from interchange.sources import Source

DATA = Path(__file__).parent / "data"
HEAD = '<AnnotatedECG xmlns="urn:hl7-org:v3" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">'
TIME = (
    '<sequence><code code="TIME_ABSOLUTE" codeSystem="2.16.840.1.113883.5.4"/><value xsi:type="GLIST_TS">'
    '<head value="{head}"/><increment value="{step}" unit="s"/></value></sequence>'
)
LEAD = (
    '<sequence><code code="{code}" codeSystem="2.16.840.1.113883.6.24"/><value xsi:type="SLIST_PQ">'
    '<origin value="0" unit="uV"/><scale value="5" unit="uV"/><digits>{digits}</digits></value></sequence>'
)
TRIAL = (
    "<componentOf><timepointEvent><componentOf><subjectAssignment><subject><trialSubject>"
    '<id root="2.999.1" extension="7"/></trialSubject></subject><componentOf><clinicalTrial><id nullFlavor="NA"/>'
    "</clinicalTrial></componentOf></subjectAssignment></componentOf></timepointEvent></componentOf>"
)
START = "20310102030405.000+0000"


def kept(name: str = "r1-2004") -> str:
    return (DATA / f"{name}.xml").read_text("utf-8")


def edited(*pairs: tuple[str, str], name: str = "r1-2004") -> str:
    """The kept message with the first occurrence of each text replaced."""
    text = kept(name)
    for old, new in pairs:
        assert old in text, f"nothing to replace: {old}"
        text = text.replace(old, new, 1)
    return text


def read(document: str | bytes) -> Recording:
    data = document.encode() if isinstance(document, str) else document
    return aecg.read(Source(data, "tracing.xml"))


def check(document: str | bytes) -> tuple[Finding, ...]:
    data = document.encode() if isinstance(document, str) else document
    return aecg.check(Source(data, "tracing.xml"))


def rules(recording: Recording) -> set[str]:
    return {finding.rule for finding in recording.findings}


def sequence_set(leads: dict[str, str], head: str = START, step: str = "0.004") -> str:
    """One sequence set of R1-2004 from lead codes and their digits."""
    parts = [TIME.format(head=head, step=step), *(LEAD.format(code=code, digits=d) for code, d in leads.items())]
    inner = "".join(f"<component>{part}</component>" for part in parts)
    return f"<component><sequenceSet>{inner}</sequenceSet></component>"


def series(*parts: str, kind: str = "RHYTHM", name: str = "series", relation: str = "component") -> str:
    """A series with the given content behind its effective time."""
    low = f'<effectiveTime><low value="{START}"/></effectiveTime>'
    code = f'<code code="{kind}" codeSystem="2.16.840.1.113883.5.4"/>'
    return f"<{relation}><{name}>{code}{low}{''.join(parts)}</{name}></{relation}>"


def message(*parts: str) -> str:
    """A message of R1-2004 with the given content behind its header."""
    header = (
        '<id root="7a0d6c3e-91b4-4c55-8a53-0c1f2e3d4b5a"/><code code="93000"/>'
        f'<effectiveTime><low value="{START}"/></effectiveTime>{TRIAL}'
    )
    return f"{HEAD}{header}{''.join(parts)}</AnnotatedECG>"


def annotations(*parts: str, author: str = "") -> str:
    inner = "".join(f"<component><annotation>{part}</annotation></component>" for part in parts)
    return f"<subjectOf><annotationSet>{author}{inner}</annotationSet></subjectOf>"


def region(*boundaries: str) -> str:
    inner = "".join(f"<component><boundary>{part}</boundary></component>" for part in boundaries)
    return f'<support><supportingROI><code code="ROIPS"/>{inner}</supportingROI></support>'


def time_boundary(low: str | None = None, high: str | None = None) -> str:
    bounds = "".join(f'<{n} value="{v}"/>' for n, v in (("low", low), ("high", high)) if v)
    return f'<code code="TIME_ABSOLUTE"/><value xsi:type="IVL_TS">{bounds}</value>'
