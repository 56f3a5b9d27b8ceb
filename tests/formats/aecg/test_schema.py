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


def broken_messages() -> dict[str, list[Broken]]:
    """The table of edits, by edition (``both`` for those that fit each)."""
    found: dict[str, list[Broken]] = {"both": [], "r1-2004": [], "ne2009": []}
    for block in (DATA / "broken.txt").read_text("utf-8").split("== ")[1:]:
        head, old, new, element, libxml2, slow_words = (part.strip("\n") for part in re.split(r"\n-- \w+\n?", block))
        edition, name = head.split(": ", 1)
        found[edition].append(Broken(name, old, new, element, libxml2, slow_words))
    return found


BROKEN = broken_messages()
CASES = [(edition, case) for edition in EDITIONS for case in (*BROKEN["both"], *BROKEN[edition])]


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
@pytest.mark.parametrize("case", [*BROKEN["both"], *BROKEN["ne2009"]], ids=lambda case: case.name)
def test_hl7s_schema_of_2009_refuses_the_same(case: Broken) -> None:
    assert not fast(OFFICIAL / "driver-ne2009.xsd").validate(etree.fromstring(broken_text("ne2009", case).encode()))


CENTER = '<effectiveTime><low value="20310102030405.000+0000"/></effectiveTime>'
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
    ("empty title", "<title>Trial of nothing</title>", "<title/>"),
    ("center alone", CENTER, '<effectiveTime><center value="2031"/></effectiveTime>'),
)


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
