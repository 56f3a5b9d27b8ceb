"""Parts of documents in the style of other writers."""

from __future__ import annotations

from interchange.model import Recording
from tests.formats.aecg.support import sequence_set, time_boundary

MDC = 'codeSystem="2.16.840.1.113883.6.24"'
WAVE = f'<code code="MDC_ECG_WAVC" {MDC}/><value xsi:type="CE" code="MDC_ECG_WAVC_PWAVE" {MDC}/>'


def moment(milliseconds: int) -> str:
    """That long after the start of every series here, or before it."""
    return f"203101020304{5 + milliseconds // 1000:02}.{milliseconds % 1000:03}+0000"


def bounds(low: int, high: int) -> str:
    return time_boundary(moment(low), moment(high))


def in_lead(name: str) -> str:
    return f'<code code="MDC_ECG_LEAD_{name}" {MDC}/>'


def variable(name: str, value: str, *inside: str) -> str:
    """A control variable with a value and variables inside it."""
    parts = "".join(f"<component>{part}</component>" for part in inside)
    given = f"<value {value}/>" if value else ""
    code = f'<code code="MDC_ECG_CTL_VBL_{name}" {MDC}/>'
    return f"<controlVariable>{code}{given}{parts}</controlVariable>"


def said(name: str, value: str, *inside: str) -> str:
    return f"<controlVariable>{variable(name, value, *inside)}</controlVariable>"


def a_set(leads: dict[str, str], head: int = 0, own: str = "") -> str:
    """A set whose variables are ``own``; each lead comes as ``digits`` or ``digits|its variables``."""
    text = sequence_set(
        {f"MDC_ECG_LEAD_{name}": digits.partition("|")[0] for name, digits in leads.items()}, moment(head)
    )
    for digits in leads.values():
        plain, _, variables = digits.partition("|")
        old = f"<digits>{plain}</digits></value>"
        assert text.count(old) == 1
        text = text.replace(old, old + variables)
    return text.replace("<sequenceSet>", f"<sequenceSet>{own}")


def unread(recording: Recording) -> list[str]:
    """What was not read, without the line."""
    return [
        entry.place.partition(", line")[0].removeprefix("/AnnotatedECG/component/series/") for entry in recording.unread
    ]
