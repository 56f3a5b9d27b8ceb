"""Small aECG documents that break one rule each; ``python -m tests.formats.aecg.odd`` writes them.

Each comes with all rules that checking it must name, and with the refusal where it cannot be read.  The content is
invented.
"""

from __future__ import annotations

import gzip
from dataclasses import dataclass
from pathlib import Path

from tests.formats.aecg.support import START, annotations, message, region, sequence_set, series, time_boundary

FOLDER = Path(__file__).resolve().parents[3] / "fixtures" / "aecg-odd"
LATER = "20310102030405.004+0000"


@dataclass(frozen=True)
class Odd:
    """One document, the rules that it breaks, and the place and reason of the refusal if it cannot be read."""

    data: bytes
    rules: tuple[str, ...] = ()
    refused: str = ""


def _set(**changes: str) -> str:
    """Two leads of three samples, with texts replaced; ``old=new`` pairs come as ``a0, b0, a1, b1``."""
    text = sequence_set({"MDC_ECG_LEAD_I": "1 2 3", "MDC_ECG_LEAD_II": "4 5 6"})
    for key in sorted(name for name in changes if name.startswith("a")):
        assert changes[key] in text, changes[key]
        text = text.replace(changes[key], changes[f"b{key[1:]}"], 1)
    return text


def _doc(*rules: str, old: str = "", new: str = "", more: str = "", refused: str = "") -> Odd:
    """A message whose only set has one text replaced, with more content in its series."""
    text = message(series(_set(a0=old, b0=new) if old else _set(), more))
    return Odd(text.encode(), rules, refused)


def _whole(*rules: str, old: str, new: str, refused: str = "") -> Odd:
    """A message with one text replaced anywhere."""
    text = message(series(_set()))
    assert old in text, old
    return Odd(text.replace(old, new, 1).encode(), rules, refused)


def _marked(*rules: str, content: str) -> Odd:
    return _doc(*rules, more=annotations(content))


LEAD_I = 'code="MDC_ECG_LEAD_I" codeSystem="2.16.840.1.113883.6.24"'
DIGITS, SCALE, ORIGIN = "<digits>1 2 3</digits>", '<scale value="5" unit="uV"/>', '<origin value="0" unit="uV"/>'
STEP = '<increment value="0.004" unit="s"/>'
WAVE = '<code code="MDC_ECG_WAVC"/><value xsi:type="CE" code="MDC_ECG_WAVC_PWAVE"/>'
PAD = (
    '<controlVariable><controlVariable><code code="MDC_ECG_CTL_VBL_PAD_VALUE"/>'
    '<value xsi:type="PQ" value="2" unit="uV"/></controlVariable></controlVariable>'
)
FILTER = PAD.replace("PAD_VALUE", "ATTR_FILTER_LOW_PASS").replace("uV", "s")
NOTHING = ("aecg.no-series", "/AnnotatedECG: holds no series with samples that can be read")
FIRST = sequence_set({"MDC_ECG_LEAD_I": "1 2 3"})
BEAT = series(FIRST, kind="REPRESENTATIVE_BEAT", name="derivedSeries", relation="derivation")
DERIVED = series(
    FIRST.replace("TIME_ABSOLUTE", "TIME_RELATIVE"),
    kind="REPRESENTATIVE_BEAT",
    name="derivedSeries",
    relation="derivation",
)
DEEP = "<component><annotation>" * 110 + "</annotation></component>" * 110
PLAIN = message(series(_set()))

TIME_VALUE = "/AnnotatedECG/component/series/component/sequenceSet/component[1]/sequence/value"
REASONS = {
    "time-sequence": "a sequence set has no time sequence, or more than one",
    "increment": "the step of a time sequence is missing, not above zero, or no time",
    "increment-unit": "the step of a time sequence has no unit of time",
    "uneven-time": "the samples of a set are not evenly spaced",
}


def _left_out(place: str, rule: str, detail: str = "") -> str:
    """What is said of a document whose only sequence set was left out."""
    reason = f"{REASONS[rule]} ({detail})" if detail else REASONS[rule]
    return f"{place}, line 1: holds no series with samples that can be read: {reason}"


ODD: dict[str, Odd] = {
    "sound": Odd(PLAIN.encode()),
    "sound-compressed": Odd(gzip.compress(PLAIN.encode(), mtime=0)),
    "cut": Odd(PLAIN.encode()[:900], ("aecg.well-formed",), "line 1, column 901: the XML is not well-formed"),
    "entities": Odd(
        b'<!DOCTYPE AnnotatedECG [<!ENTITY a "a">]>' + PLAIN.encode(),
        ("aecg.well-formed",),
        "has a document type declaration, which aECG does not use",
    ),
    "too-deep": Odd(
        message(series(_set(), f"<subjectOf><annotationSet>{DEEP}</annotationSet></subjectOf>")).encode(),
        ("aecg.schema", "aecg.well-formed"),
        "line 1: more than 200 elements inside one another",
    ),
    "unknown-element": _whole("aecg.schema", old="<timepointEvent>", new="<timepointEvent><mood>good</mood>"),
    "wrong-encoding": Odd(PLAIN.replace('extension="7"', 'extension="7 é"').encode("latin-1"), ("aecg.encoding",)),
    "blanks-in-front": Odd(b" \n<?xml version='1.0'?>" + PLAIN.encode(), ("aecg.leading-blanks",)),
    "nul-behind": Odd(PLAIN.encode() + b"\0\0", ("aecg.trailing-nul",)),
    "no-namespace": _whole("aecg.namespace", "aecg.schema", old=' xmlns="urn:hl7-org:v3"', new=""),
    "other-root": Odd(
        PLAIN.replace("AnnotatedECG", "PORT_MT020001UV01.AnnotatedECG").encode(), ("aecg.root", "aecg.schema")
    ),
    "wrapped": Odd(f'<wrapper xmlns="urn:hl7-org:v3">{PLAIN}</wrapper>'.encode(), ("aecg.wrapped",)),
    "two-messages": Odd(
        f'<wrapper xmlns="urn:hl7-org:v3">{PLAIN}{PLAIN}</wrapper>'.encode(), ("aecg.further-message", "aecg.wrapped")
    ),
    "older-names": _doc(
        "aecg.older-names",
        "aecg.schema",
        more="<subjectOf><annotationSet><activityType value='20310102'/></annotationSet></subjectOf>",
    ),
    "no-type": _doc("aecg.schema", "aecg.value-type", old='<value xsi:type="SLIST_PQ">', new="<value>"),
    "iso-time": _doc("aecg.schema", "aecg.time-form", old=START, new="2031-01-02T03:04:05.000Z"),
    "no-time": _whole(
        "aecg.schema",
        "aecg.time-unreadable",
        old=f'<low value="{START}"/></effectiveTime><componentOf>',
        new='<low value="20311332"/><high value="soon"/></effectiveTime><componentOf>',
    ),
    "no-number": _marked(
        "aecg.number", content='<code code="MDC_ECG_TIME_PD_QT"/><value xsi:type="PQ" value="INF" unit="ms"/>'
    ),
    "id-in-braces": _whole(
        "aecg.id-form",
        "aecg.schema",
        old='root="7a0d6c3e-91b4-4c55-8a53-0c1f2e3d4b5a"',
        new='root="{7a0d6c3e-91b4-4c55-8a53-0c1f2e3d4b5a}"',
    ),
    "id-empty": _whole(
        "aecg.id-empty", old='<id root="7a0d6c3e-91b4-4c55-8a53-0c1f2e3d4b5a"/>', new='<id nullFlavor="NI"/>'
    ),
    "placeholder": _marked(
        "aecg.annotation-code", "aecg.code-placeholder", content='<code code="?code?"/><value xsi:type="ST">x</value>'
    ),
    "no-code-system": _doc("aecg.lead-code-system", old=LEAD_I, new='code="MDC_ECG_LEAD_I"'),
    "no-series": Odd(message().encode(), (NOTHING[0],), NOTHING[1]),
    "series-without-kind": _whole("aecg.series-kind", old='code="RHYTHM"', new='code="SOMETHING"'),
    "effective-time": _whole(
        "aecg.effective-time",
        old=f'<effectiveTime><low value="{START}"/></effectiveTime><component>',
        new='<effectiveTime><low value="20310102030405.008+0000"/></effectiveTime><component>',
    ),
    "beat-with-calendar-time": _doc("aecg.beat-time", more=BEAT),
    "no-time-sequence": _doc(
        "aecg.no-series",
        "aecg.time-sequence",
        old=sequence_set({}).split("<sequenceSet>")[1].split("</sequenceSet>")[0],
        new="",
        refused=_left_out("/AnnotatedECG/component/series/component/sequenceSet", "time-sequence", "0 time sequences"),
    ),
    "time-kind": _doc("aecg.time-kind", old='"TIME_ABSOLUTE"', new='"TIME_RELATIVE"'),
    "no-step": _doc(
        "aecg.increment",
        "aecg.no-series",
        old='value="0.004"',
        new='value="0"',
        refused=_left_out(f"{TIME_VALUE}/increment", "increment", "it is zero"),
    ),
    "frequency-for-step": _doc(
        "aecg.increment-unit",
        "aecg.no-series",
        old='value="0.004" unit="s"',
        new='value="250" unit="Hz"',
        refused=_left_out(f"{TIME_VALUE}/increment", "increment-unit", "a frequency, it seems"),
    ),
    "uneven-time": _doc(
        "aecg.no-series",
        "aecg.uneven-time",
        old='"GLIST_TS"',
        new='"GLIST_TS" period="2"',
        refused=_left_out(TIME_VALUE, "uneven-time", "the times begin again before the samples end"),
    ),
    "unequal-leads": _doc("aecg.lead-lengths", old=DIGITS, new="<digits>1</digits>"),
    "lead-twice": _doc("aecg.lead-repeated", old="MDC_ECG_LEAD_II", new="MDC_ECG_LEAD_I"),
    "unknown-lead": _doc("aecg.lead-unknown", old="MDC_ECG_LEAD_II", new="MDC_ECG_LEAD_Q9"),
    "lead-by-name": _doc("aecg.lead-spelling", old="MDC_ECG_LEAD_II", new="aVR"),
    "lead-without-samples": _doc("aecg.lead-empty", old=DIGITS, new="<digits/>"),
    "words-for-samples": _doc("aecg.digits", "aecg.schema", old=DIGITS, new="<digits>one two</digits>"),
    "wide-samples": _doc(
        "aecg.well-formed",
        old=DIGITS,
        new="<digits>1 4294967296 3</digits>",
        refused="/AnnotatedECG/component/series/component/sequenceSet/component[2]/sequence/value/digits, "
        "line 1: a lead holds a number that needs more than 32 bits",
    ),
    "decimal-samples": _doc("aecg.digits-decimals", "aecg.schema", old=DIGITS, new="<digits>1.5 2 3</digits>"),
    "commas": _doc("aecg.digits-separators", "aecg.schema", old=DIGITS, new="<digits>1, 2, 3</digits>"),
    "samples-elsewhere": _doc("aecg.digits-external", "aecg.schema", old=DIGITS, new='<digits href="x.bin"/>'),
    "no-scale": _doc("aecg.scale", "aecg.schema", old=SCALE, new=""),
    "no-origin": _doc("aecg.origin", "aecg.schema", old=ORIGIN, new=""),
    "scale-without-unit": _doc("aecg.scale-unit", old=SCALE, new='<scale value="5"/>'),
    "scale-in-kilograms": _doc("aecg.scale-no-voltage", old=SCALE, new='<scale value="5" unit="kg"/>'),
    "origin-in-seconds": _doc("aecg.origin-unit", old=ORIGIN, new='<origin value="1" unit="s"/>'),
    "filter-in-seconds": _doc("aecg.filter-unit", old=f"{DIGITS}</value>", new=f"{DIGITS}</value>{FILTER}"),
    "pad-value-in-microvolts": _doc(
        "aecg.pad-value",
        old=f"{DIGITS}</value>",
        new=f"{DIGITS}</value>{PAD}",
    ),
    "overlapping-sets": _doc("aecg.sets-not-joined", more=FIRST),
    "start-unknown": _doc("aecg.sets-not-joined", "aecg.start-unknown", more=FIRST.replace(START, "20310102")),
    "zones-mixed": _doc("aecg.sets-not-joined", "aecg.zone-mixed", more=FIRST.replace(START, START[:-5])),
    "region-outside": _marked(
        "aecg.boundary-outside", content=WAVE + region(time_boundary("20310102030505+0000", "20310102030506+0000"))
    ),
    "region-without-time": _marked("aecg.boundary-time", content=WAVE + region('<code code="TIME_ABSOLUTE"/>')),
    "region-backwards": _marked(
        "aecg.boundary-order", content=WAVE + region(time_boundary("20310102030405.008+0000", LATER))
    ),
    "region-with-two-times": _marked(
        "aecg.boundary-repeated", content=WAVE + region(time_boundary(START, LATER), time_boundary(LATER))
    ),
    "region-of-another-lead": _marked("aecg.boundary-lead", content=WAVE + region('<code code="MDC_ECG_LEAD_V6"/>')),
    "unknown-annotation": _marked("aecg.annotation-code", content='<code code="X-1"/><value xsi:type="ST">x</value>'),
    "measurement-without-value": _marked(
        "aecg.annotation-value", content='<code code="MDC_ECG_TIME_PD_QT"/><value xsi:type="ST"/>'
    ),
    "measurement-in-kilograms": _marked(
        "aecg.annotation-unit", content='<code code="MDC_ECG_TIME_PD_QT"/><value xsi:type="PQ" value="4" unit="kg"/>'
    ),
    "stale-lines": _whole(
        "aecg.lines-stale",
        old="<component><series>",
        new='<pertainsTo><subjectFindingComment><code code="FIELD" codeSystemName="ECG interchange"/>'
        "<text>statements[0].confirmed: yes</text></subjectFindingComment></pertainsTo><component><series>",
    ),
    "line-with-another-identity": _whole(
        "aecg.lines-identity",
        old="<component><series>",
        new='<pertainsTo><subjectFindingComment><code code="FIELD" codeSystemName="ECG interchange"/>'
        "<text>patient.ids[0].value: 8</text></subjectFindingComment></pertainsTo><component><series>",
    ),
    "nobody": _whole("aecg.subject-id", old='<id root="2.999.1" extension="7"/>', new='<id nullFlavor="UNK"/>'),
    "sex-in-words": _whole(
        "aecg.sex-code",
        old='extension="7"/>',
        new='extension="7"/><subjectDemographicPerson>'
        '<administrativeGenderCode code="Female"/></subjectDemographicPerson>',
    ),
}


def expected() -> str:
    """The list of the files as TOML."""
    lines = ["# Odd and broken aECG documents, made by tests/formats/aecg/odd.py; invented content, MIT licence."]
    for name, odd in ODD.items():
        lines += ["", f'["{name}.xml"]', f"rules = [{', '.join(chr(34) + rule + chr(34) for rule in odd.rules)}]"]
        if odd.refused:
            lines.append(f'refused = "{odd.refused}"')
    return "\n".join([*lines, ""])


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, odd in ODD.items():
        (FOLDER / f"{name}.xml").write_bytes(odd.data)
    (FOLDER / "EXPECTED.toml").write_text(expected(), "utf-8")
