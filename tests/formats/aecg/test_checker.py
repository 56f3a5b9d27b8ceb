"""One parsing for reading and checking gives what both give alone, and integers that the reader saw stay judged."""

from __future__ import annotations

import base64
import json
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from interchange.errors import SourceError
from interchange.findings import Finding
from interchange.formats import aecg
from interchange.formats.aecg.log import MOST, Log
from interchange.formats.aecg.markup import parse
from interchange.formats.aecg.schema import validate
from interchange.model import Recording
from interchange.sources import Source
from tests.formats.aecg.odd import ODD
from tests.formats.aecg.support import LEAD, check, edited, kept
from tests.formats.aecg.test_schema import CASES, broken_text, fast, own

FIXTURES = Path(__file__).parents[3] / "fixtures"
SCENARIO = {path.name: path.read_bytes() for path in sorted((FIXTURES / "scenario").glob("*.xml"))}


def corpus() -> dict[str, bytes]:
    """Mutated inputs that are kept because each ended in another way."""
    found = {}
    for number, case in enumerate(json.loads((FIXTURES / "fuzz" / "aecg.json").read_text("utf-8"))):
        for text in case["files"].values():
            found[f"mutated {number}"] = base64.b85decode(text)
    return found


DOCUMENTS = {
    **{name: odd.data for name, odd in ODD.items()},
    **SCENARIO,
    **{f"{edition}, {case.name}": broken_text(edition, case).encode() for edition, case in CASES},
    **corpus(),
}


def alone(source: Source) -> tuple[Recording | str, tuple[Finding, ...]]:
    try:
        return aecg.read(source), aecg.check(source)
    except SourceError as error:
        return str(error), aecg.check(source)


def schema_findings(data: bytes) -> list[Finding]:
    """What the schema says of the document with all its samples in place."""
    log = Log()
    validate(parse(data).root, log)
    return list(log.findings())


@pytest.mark.parametrize("name", DOCUMENTS)
def test_reading_and_checking_together_give_what_each_gives_alone(name: str) -> None:
    source = Source(DOCUMENTS[name], "x.xml")
    read, findings = alone(source)
    if isinstance(read, str):
        with pytest.raises(SourceError) as caught:
            aecg.read_and_check(source)
        assert str(caught.value) == read
        assert any(finding.severity == "error" for finding in findings)
        return
    recording, found = aecg.read_and_check(source)
    assert recording == read
    assert recording.findings == read.findings
    assert found == findings
    assert sorted(map(str, found)) == sorted(map(str, [*schema_findings(source.data), *read.findings]))


def test_the_documents_are_of_all_kinds() -> None:
    ends = [alone(Source(data, "x.xml")) for data in DOCUMENTS.values()]
    refused = [read for read, _ in ends if isinstance(read, str)]
    assert len(refused) > 10
    assert sum(not findings for _, findings in ends) >= 3
    assert sum(any(f.rule == "aecg.schema" for f in findings) for _, findings in ends) > 60


PIECE = st.sampled_from(
    ["0", "7", "-3", "+4", "32768", "-0", "007", "2147483648", "1-2", "-", "+-1", "x", "1.5", "1,", ""]
)
GAP = st.sampled_from([" ", "\n", "\t ", "&#13;", "\u00a0", "<!-- -->", "<![CDATA[ 5 ]]>", "<b/>"])


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(PIECE, GAP), max_size=6))
def test_samples_that_the_reader_took_are_valid_by_the_schema(parts: list[tuple[str, str]]) -> None:
    text = "".join(piece + gap for piece, gap in parts)
    data = edited(("<digits>4 5 -6</digits>", f"<digits>{text}</digits>")).encode()
    valid = fast(own("r1-2004")).validate(etree.fromstring(data))
    assert valid is all(finding.rule != "aecg.schema" for finding in check(data))
    assert [f for f in check(data) if f.rule == "aecg.schema"] == schema_findings(data)


def test_an_attribute_on_samples_is_still_seen() -> None:
    text = edited(("<digits>4 5 -6</digits>", '<digits unit="uV">4 5 -6</digits>'))
    assert {finding.rule for finding in check(text)} == {"aecg.schema", "aecg.digits-external"}


def test_samples_in_a_value_of_another_type_are_still_seen() -> None:
    text = edited(('xsi:type="SLIST_PQ"', 'xsi:type="GLIST_PQ"'))
    places = [finding.place for finding in check(text) if finding.rule == "aecg.schema"]
    assert places
    assert re.search(r"/sequence/value/(origin|digits), line \d+$", places[0])


def test_every_place_where_the_schema_is_not_met_is_counted() -> None:
    row = f"<component>{LEAD.format(code='MDC_ECG_LEAD_V1', digits='1 2 x')}</component>"
    before = "<component>" if "<component><sequence" in kept() else '<component typeCode="COMP">'
    at = kept().index("<sequence", kept().index("<sequenceSet") + 12)
    start = kept().rindex(before, 0, at)
    text = kept()[:start] + row * 57 + kept()[start:]
    schema = fast(own("r1-2004"))
    assert not schema.validate(etree.fromstring(text.encode()))
    rest = len(schema.error_log) - MOST
    found = [finding.reason for finding in check(text) if finding.rule == "aecg.schema"]
    assert len(found) == MOST + 1
    assert [reason for reason in found if "further" in reason] == [
        f"{found[0].split(' (')[0]} (at {rest} further places)"
    ]
