"""The project's own XML Schemas: what they accept, what they refuse and why, and how they compare with HL7's."""

from __future__ import annotations

import os
import re
import runpy
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any, NamedTuple

import pytest
import xmlschema
from lxml import etree
from xmlschema.exceptions import XMLSchemaKeyError

ROOT = Path(__file__).parents[3]
SCHEMAS = ROOT / "schemas" / "aecg"
DATA = Path(__file__).parent / "data"
OFFICIAL = Path(os.environ.get("HL7_V3_SCHEMAS", ROOT.parent / "shared" / "data" / "hl7-v3-schemas"))
needs_hl7 = pytest.mark.skipif(not OFFICIAL.is_dir(), reason="HL7's schema files are not at hand (HL7_V3_SCHEMAS)")
EDITIONS = ("r1-2004", "ne2009")


@cache
def fast(path: Path) -> etree.XMLSchema:
    return etree.XMLSchema(etree.parse(path))


@cache
def slow(path: Path) -> xmlschema.XMLSchema:
    return xmlschema.XMLSchema(path)


def own(edition: str) -> Path:
    return SCHEMAS / f"aecg-{edition}.xsd"


def text_of(edition: str) -> str:
    return (DATA / f"{edition}.xml").read_text("utf-8")


class Broken(NamedTuple):
    """One edit that makes the message invalid: where each validator must see it, and in what words."""

    name: str
    old: str
    new: str
    element: str
    libxml2: str
    xmlschema: str


BROKEN = (
    Broken("no id", '<id root="7a0d6c3e-91b4-4c55-8a53-0c1f2e3d4b5a"/>', "", "code", r"Expected is one of.*id|Expected is.*id", r"'(ns\d:)?code'|Unexpected child with tag"),
    Broken("two ids", '<id root="7a0d6c3e-91b4-4c55-8a53-0c1f2e3d4b5a"/>', '<id root="1.2"/><id root="1.3"/>', "id", r"Expected is.*code", "Unexpected child with tag"),
    Broken("no code", '<code code="93000" codeSystem="2.16.840.1.113883.6.12" codeSystemName="CPT-4"/>', "", "text", r"Expected is.*code", "Unexpected child with tag"),
    Broken("empty display name", 'codeSystemName="CPT-4"', 'displayName=""', "code", "minLength|shorter|underruns", "value length cannot be lesser than 1"),
    Broken("code with a blank", 'code="93000"', 'code="93 000"', "code", "pattern", "pattern"),
    Broken("code system in braces", 'codeSystem="2.16.840.1.113883.6.12"', 'codeSystem="{2.16}"', "code", "not a valid value|union", "doesn't match any pattern"),
    Broken("UUID in braces", 'root="7a0d6c3e-91b4-4c55-8a53-0c1f2e3d4b5a"', 'root="{7a0d6c3e-91b4-4c55-8a53-0c1f2e3d4b5a}"', "id", "not a valid value", "doesn't match any pattern"),
    Broken("OID with a leading zero", 'root="2.999.7.3"', 'root="2.0999.7.3"', "id", "not a valid value", "doesn't match any pattern"),
    Broken("empty extension", 'extension="S-77"', 'extension=""', "id", "minLength|underruns", "value length cannot be lesser than 1"),
    Broken("time in ISO 8601 form", '<low value="2031010203"/>', '<low value="2031-01-02T03:04"/>', "low", "pattern", "pattern"),
    Broken("time with Z", '<activityTime value="20310102030410+0000"/>', '<activityTime value="20310102030410Z"/>', "activityTime", "pattern", "pattern"),
    Broken("zone with a colon", '<activityTime value="20310102030410+0000"/>', '<activityTime value="20310102030410+00:00"/>', "activityTime", "pattern", "pattern"),
    Broken("day with a zone", '<birthTime value="1961"/>', '<birthTime value="19610203+0100"/>', "birthTime", "pattern", "pattern"),
    Broken("fraction after the minute", '<head value="20310102030405.000+0000"/>', '<head value="203101020304.5"/>', "head", "pattern", "pattern"),
    Broken("center and high", '<effectiveTime><low value="20310102030405.000+0000"/></effectiveTime>', '<effectiveTime><center value="2031"/><high value="2032"/></effectiveTime>', "high", r"not expected", "Unexpected child with tag"),
    Broken("inclusive as number", 'inclusive="true"', 'inclusive="1"', "low", "pattern", "pattern"),
    Broken("missing xsi:type", '<value xsi:type="PQ" value="69" unit="a"/>', '<value value="69" unit="a"/>', "value", "abstract", "abstract"),
    Broken("unknown xsi:type", 'xsi:type="SLIST_PQ"', 'xsi:type="SLIST_INT"', "value", "does not resolve|not resolve to a type", "not found"),
    Broken("decimals in digits", "<digits>4 5 -6</digits>", "<digits>4 5.5 -6</digits>", "digits", "not a valid value", r"invalid literal for int"),
    Broken("commas in digits", "<digits>4 5 -6</digits>", "<digits>4,5,-6</digits>", "digits", "not a valid value", r"invalid literal for int"),
    Broken("no origin", '<origin value="0" unit="uV"/>', "", "scale", "Expected is.*origin", "Unexpected child with tag"),
    Broken("digits before scale", '<scale value="4.88" unit="uV"/><digits>4 5 -6</digits>', '<digits>4 5 -6</digits><scale value="4.88" unit="uV"/>', "digits", "Expected is.*scale", "Unexpected child with tag"),
    Broken("comma as decimal sign", 'scale value="4.88"', 'scale value="4,88"', "scale", "not a valid value", "could not convert string to float"),
    Broken("unit with a blank", 'unit="Hz"', 'unit="per s"', "value", "pattern", "pattern"),
    Broken("no increment", '<increment value="0.004" unit="s"/>', "", "value", "Missing child element|Expected is.*increment", "content .* is not complete"),
    Broken("sequence without value", '<value xsi:type="GLIST_PQ"><head value="0" unit="ms"/><increment value="4" unit="ms"/></value>', "", "sequence", "Missing child element", "content .* is not complete"),
    Broken("series without code", '<code code="RHYTHM" codeSystem="2.16.840.1.113883.5.4"/>', "", "effectiveTime", "Expected is.*code", "Unexpected child with tag"),
    Broken("boundary without code", '<boundary classCode="OBS" moodCode="EVN"><code code="TIME_ABSOLUTE" codeSystem="2.16.840.1.113883.5.4"/>', '<boundary classCode="OBS" moodCode="EVN">', "value", "Expected is.*code", "Unexpected child with tag"),
    Broken("two annotations in one component", '<component typeCode="COMP"><annotation classCode="OBS" moodCode="EVN"><code code="MDC_ECG_INTERPRETATION_COMMENT"', '<component typeCode="COMP"><annotation classCode="OBS" moodCode="EVN"><code code="X"/></annotation><annotation classCode="OBS" moodCode="EVN"><code code="MDC_ECG_INTERPRETATION_COMMENT"', "annotation", "not expected", "Unexpected child with tag"),
    Broken("wrong class code", '<series classCode="OBSSER"', '<series classCode="OBS"', "series", "enumeration|not an element of the set", "value must be one of"),
    Broken("wrong mood code", '<annotationSet classCode="OBS" moodCode="EVN">', '<annotationSet classCode="OBS" moodCode="DEF">', "annotationSet", "enumeration|not an element of the set", "value must be one of"),
    Broken("wrong type code", '<subjectOf typeCode="SUBJ">', '<subjectOf typeCode="COMP">', "subjectOf", "enumeration|not an element of the set", "value must be one of"),
    Broken("wrong determiner", '<assignedDevice classCode="DEV" determinerCode="INSTANCE">', '<assignedDevice classCode="DEV" determinerCode="KIND">', "assignedDevice", "enumeration|not an element of the set", "value must be one of"),
    Broken("unknown null flavor", '<administrativeGenderCode code="M" codeSystem="2.16.840.1.113883.5.1"/>', '<administrativeGenderCode nullFlavor="DUNNO"/>', "administrativeGenderCode", "enumeration|not an element of the set", "value must be one of"),
    Broken("unknown attribute", "<sequenceSet classCode", '<sequenceSet leads="2" classCode', "sequenceSet", "attribute 'leads' is not allowed", "leads.* not allowed"),
    Broken("attribute type on the root", '<AnnotatedECG xmlns="urn:hl7-org:v3"', '<AnnotatedECG kind="x" xmlns="urn:hl7-org:v3"', "AnnotatedECG", "attribute 'kind' is not allowed", "kind.* not allowed"),
    Broken("unknown element", "<title>Trial of nothing</title>", "<title>Trial of nothing</title><phase>3</phase>", "phase", "not expected", "Unexpected child with tag"),
    Broken("text between elements", "<title>Trial of nothing</title>", "<title>Trial of nothing</title>phase 3", "clinicalTrial", "Character content other than whitespace", "character data between child elements not allowed"),
    Broken("elements in plain text", "<title>Trial of nothing</title>", "<title>Trial of <id/></title>", "id|title", "not expected|not allowed|content", "Unexpected child|not allowed"),
    Broken("family name of an organization", "<name>Nobody Ltd</name>", "<name><family>Nobody</family></name>", "family", "not expected", "Unexpected child with tag"),
    Broken("subject without id", '<id root="2.999.7.3" extension="S-77"/>', "", "subjectDemographicPerson", "Expected is.*id", "Unexpected child with tag"),
    Broken("demographics in another order", '<name>T. T.</name>\n              <administrativeGenderCode code="M" codeSystem="2.16.840.1.113883.5.1"/>', '<administrativeGenderCode code="M" codeSystem="2.16.840.1.113883.5.1"/><name>T. T.</name>', "name", "not expected", "Unexpected child with tag"),
    Broken("height in the demographics", '<birthTime value="1961"/>', '<birthTime value="1961"/><height value="1.7"/>', "height", "not expected", "Unexpected child with tag"),
    Broken("real as integer period", '<value xsi:type="GLIST_TS">', '<value xsi:type="GLIST_TS" period="1.5">', "value", "not a valid value", "invalid literal for int"),
    Broken("derived series without its series", '<code code="REPRESENTATIVE_BEAT" codeSystem="2.16.840.1.113883.5.4"/>', "", "effectiveTime", "Expected is.*code", "Unexpected child with tag"),
    Broken("another namespace", 'xmlns="urn:hl7-org:v3"', 'xmlns="urn:hl7-org:v2"', "AnnotatedECG", "No matching global declaration", "not an element of the schema"),
)  # fmt: skip
SPECIFIC = {
    "r1-2004": (
        Broken("componentOf at the place of 2009", "  <componentOf typeCode=\"COMP\">\n    <timepointEvent", "  <component xmlns:x='y' typeCode=\"COMP\"/><componentOf typeCode=\"COMP\">\n    <timepointEvent", "component", "Expected is.*componentOf", "Unexpected child with tag"),
        Broken("person and device", "<softwareName>9.1</softwareName></assignedDevice></assignedAuthorType>", "</assignedDevice><assignedPerson/></assignedAuthorType>", "assignedPerson", "not expected", "Unexpected child with tag"),
        Broken("name of the 2009 edition", "<derivedSeries ", "<derivedSeries2 ", "derivedSeries2", "Expected is.*derivedSeries", "Unexpected child with tag"),
    ),
    "ne2009": (
        Broken("structural code left out", '<sequenceSet classCode="OBSCOR" moodCode="EVN">', '<sequenceSet moodCode="EVN">', "sequenceSet", "attribute 'classCode' is required", "missing required attribute 'classCode'"),
        Broken("attribute of 2004", "<sequenceSet classCode", '<sequenceSet type="Observation" classCode', "sequenceSet", "attribute 'type' is not allowed", "type.* not allowed"),
    ),
}  # fmt: skip
CASES = [(edition, case) for edition in EDITIONS for case in (*BROKEN, *SPECIFIC[edition])]


def broken_text(edition: str, case: Broken) -> str:
    text = text_of(edition)
    assert case.old in text, f"the edit of {case.name!r} finds nothing to change"
    text = text.replace(case.old, case.new, 1)
    return text.replace("</derivedSeries>", "</derivedSeries2>") if "derivedSeries2" in case.new else text


def local(path: str) -> str:
    return re.sub(r"\[\d+\]$", "", path.rsplit("/", 1)[-1]).rsplit(":", 1)[-1].rsplit("}", 1)[-1]


@pytest.mark.parametrize("edition", EDITIONS)
def test_each_edition_accepts_its_message(edition: str) -> None:
    document = etree.fromstring(text_of(edition).encode())
    assert fast(own(edition)).validate(document), fast(own(edition)).error_log
    assert list(slow(own(edition)).iter_errors(text_of(edition))) == []


def test_the_2006_edition_accepts_its_order() -> None:
    text = text_of("ne2009")
    moved = []
    root = etree.fromstring(text.encode())
    for parent in root.iter("{*}AnnotatedECG", "{*}series"):
        variables = parent.findall("{*}controlVariable")
        last = parent.findall("{*}component")[-1]
        for variable in reversed(variables):
            last.addnext(variable)
            moved.append(variable)
    assert moved
    for node in root.iter():
        for name in ("classCode", "moodCode", "typeCode", "determinerCode"):
            node.attrib.pop(name, None)
    again = etree.tostring(root).decode()
    assert fast(own("ne2006")).validate(etree.fromstring(again)), fast(own("ne2006")).error_log
    assert slow(own("ne2006")).is_valid(again)
    assert not fast(own("ne2009")).validate(etree.fromstring(again))
    if OFFICIAL.is_dir():
        official = fast(OFFICIAL / "driver-ne2006.xsd")
        assert official.validate(etree.fromstring(again)), official.error_log


@pytest.mark.parametrize(("edition", "case"), CASES, ids=lambda x: x if isinstance(x, str) else x.name)
def test_broken_messages_are_refused_for_the_right_reason(edition: str, case: Broken) -> None:
    text = broken_text(edition, case)
    schema = fast(own(edition))
    document = etree.fromstring(text.encode())
    assert not schema.validate(document)
    first: Any = schema.error_log[0]
    assert re.fullmatch(case.element, local(document.xpath(first.path)[0].tag)), first
    assert any(re.search(case.libxml2, str(entry.message)) for entry in schema.error_log), first.message
    errors = slow_errors(edition, text)
    reasons = [f"{error.path}: {error.reason}" for error in errors]
    assert any(re.search(case.xmlschema, reason) for reason in reasons), reasons
    assert any(re.fullmatch(f"{case.element}", local(place)) for error in errors for place in places(error)), reasons


def slow_errors(edition: str, text: str) -> list[Any]:
    """What xmlschema finds; an unknown type name is an exception there, which is turned into one error here."""
    try:
        return list(slow(own(edition)).iter_errors(text))
    except XMLSchemaKeyError as error:
        return [SimpleNamespace(path="/value", reason=str(error))]


def places(error: Any) -> list[str]:
    """The element that an error is about: its own path, and for a wrong child the child."""
    found = [error.path or ""]
    tag = getattr(error, "invalid_tag", None)
    if tag:
        found.append(str(tag))
    return found


def test_there_are_enough_broken_messages() -> None:
    assert len({case.name for _, case in CASES}) >= 45


@needs_hl7
@pytest.mark.parametrize("case", [*BROKEN, *SPECIFIC["ne2009"]], ids=lambda case: case.name)
def test_hl7s_schema_of_2009_refuses_the_same(case: Broken) -> None:
    assert not fast(OFFICIAL / "driver-ne2009.xsd").validate(etree.fromstring(broken_text("ne2009", case).encode()))


ACCEPTED = (
    ("line breaks and tabs in digits", "4 5 -6", "4\n5\t\n-6 "),
    ("plus sign in digits", "4 5 -6", "+4 +5 -6"),
    ("UUID in upper case", "7a0d6c3e-91b4-4c55-8a53-0c1f2e3d4b5a", "7A0D6C3E-91B4-4C55-8A53-0C1F2E3D4B5A"),
    ("time to the minute with a zone", 'value="2031010203"', 'value="203101020304+0100"'),
    ("micro sign in a unit", 'unit="uV"', 'unit="\u00b5V"'),
    ("scale with an exponent", 'value="4.88"', 'value="4.88e0"'),
    ("code system as a word", 'codeSystem="2.16.840.1.113883.6.24"', 'codeSystem="MDC"'),
    ("no trial", None, None),
    ("prefixed xsi:type", 'xsi:type="SLIST_PQ"', 'xmlns:v3="urn:hl7-org:v3" xsi:type="v3:SLIST_PQ"'),
    ("infrastructure", "<title>Trial of nothing</title>", "<title/>"),
    ("center alone", '<effectiveTime><low value="20310102030405.000+0000"/></effectiveTime>', '<effectiveTime><center value="2031"/></effectiveTime>'),
)  # fmt: skip


@pytest.mark.parametrize("edition", EDITIONS)
@pytest.mark.parametrize(("name", "old", "new"), ACCEPTED, ids=[row[0] for row in ACCEPTED])
def test_sound_variants_are_accepted(edition: str, name: str, old: str | None, new: str | None) -> None:
    text = text_of(edition)
    if old is None:
        pattern = r'<componentOf typeCode="COMP"><clinicalTrial .*?</clinicalTrial></componentOf>'
        changed = re.sub(pattern, '<componentOf typeCode="COMP" xsi:nil="true" nullFlavor="NA"/>', text, flags=re.S)
    else:
        changed = text.replace(old, str(new))
    assert changed != text
    document = etree.fromstring(changed.encode())
    assert fast(own(edition)).validate(document), fast(own(edition)).error_log
    assert slow(own(edition)).is_valid(changed)
    if edition == "ne2009" and OFFICIAL.is_dir():
        assert fast(OFFICIAL / "driver-ne2009.xsd").validate(document)


@needs_hl7
@pytest.mark.parametrize("name", ["minimal", "full"])
@pytest.mark.parametrize("edition", EDITIONS)
def test_independent_skeletons_are_accepted(edition: str, name: str) -> None:
    path = OFFICIAL / "own-skeletons" / f"{name}-{edition}.xml"
    assert fast(own(edition)).validate(etree.parse(path)), fast(own(edition)).error_log
    assert slow(own(edition)).is_valid(str(path))


def test_the_kept_schemas_are_what_the_table_says() -> None:
    made = runpy.run_path(str(SCHEMAS / "make.py"))["schemas"]()
    assert set(made) == {path.name for path in SCHEMAS.glob("aecg-*.xsd")}
    for name, text in made.items():
        assert (SCHEMAS / name).read_text("utf-8") == text, f"{name} is not what make.py writes"
