"""Each rule has a document that breaks it and one that does not; the files in fixtures/aecg-odd are these documents."""

from __future__ import annotations

import pytest

from interchange.errors import SourceError
from interchange.formats import aecg
from interchange.formats.aecg.rules import RULES
from interchange.sources import Source
from tests.formats.aecg.odd import FOLDER, ODD, expected
from tests.formats.aecg.support import check, kept, read


@pytest.mark.parametrize("name", ODD)
def test_it_is_recognised_and_breaks_what_it_should_and_nothing_else(name: str) -> None:
    odd = ODD[name]
    assert aecg.recognise(Source(odd.data))
    findings = check(odd.data)
    assert {finding.rule for finding in findings} == set(odd.rules), findings
    for finding in findings:
        assert finding.place
        assert finding.clause


@pytest.mark.parametrize("name", ODD)
def test_it_is_read_or_refused_as_it_should(name: str) -> None:
    odd = ODD[name]
    if odd.refused:
        with pytest.raises(SourceError) as caught:
            read(odd.data)
        assert str(caught.value) == f"tracing.xml: {odd.refused}"
    else:
        assert read(odd.data).tracings


@pytest.mark.parametrize("name", ODD)
def test_the_stored_file_is_the_document(name: str) -> None:
    assert (FOLDER / f"{name}.xml").read_bytes() == ODD[name].data


def test_the_stored_list_is_complete() -> None:
    assert (FOLDER / "EXPECTED.toml").read_text("utf-8") == expected()
    assert {path.name for path in FOLDER.iterdir()} == {*(f"{name}.xml" for name in ODD), "EXPECTED.toml"}


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
def test_every_rule_has_a_document_that_breaks_it_and_one_that_does_not(rule: object) -> None:
    id = rule.id  # type: ignore[attr-defined]
    assert any(id in odd.rules for odd in ODD.values())
    assert id not in ODD["sound"].rules


@pytest.mark.parametrize("name", ["r1-2004", "ne2009"])
def test_a_sound_message_breaks_no_rule(name: str) -> None:
    assert check(kept(name)) == ()


def test_findings_come_in_the_order_of_the_file() -> None:
    text = kept().replace("<digits>", "<digits>x ").replace("<title>", "<odd/><title>").replace('"F"', '"X"')
    lines = [int(finding.place.rsplit("line ", 1)[1]) for finding in check(text) if "line " in finding.place]
    assert lines == sorted(lines)
    assert len(set(lines)) > 3


def test_many_findings_of_one_kind_are_counted() -> None:
    text = kept().replace("<title>", "<odd/>" * 500 + "<title>")
    found = [finding for finding in check(text) if finding.rule == "aecg.schema"]
    assert len(found) <= 22
    noted = kept().replace(
        "</annotationSet>",
        '<component><annotation><code code="X"/><value xsi:type="ST">x</value></annotation></component>' * 500
        + "</annotationSet>",
    )
    last = [finding for finding in check(noted) if finding.rule == "aecg.annotation-code"]
    assert len(last) == 21
    assert "480 further places" in "".join(finding.reason for finding in last)


def test_reasons_never_quote_the_document() -> None:
    marked = "Xyzzy"
    text = kept()
    for old, new in (
        ('code="93000"', f'code="{marked} 1"'),
        ('value="1961"', f'value="{marked}"'),
        ("<digits>4 5 -6</digits>", f"<digits>{marked}</digits>"),
        ("<title>", f"<{marked}/><title>"),
        ("<sequenceSet ", f'<sequenceSet {marked}="1" '),
        ('<scale value="4.88"', f'<scale value="{marked}"'),
        ("</AnnotatedECG>", f"{marked}</AnnotatedECG>"),
    ):
        assert old in text
        text = text.replace(old, new, 1)
    findings = check(text)
    assert len(findings) > 6
    assert marked not in str(findings)
