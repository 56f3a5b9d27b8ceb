"""From bytes to a tree: encodings, compression, and everything that an attacker may try."""

from __future__ import annotations

import codecs
import gzip
import tracemalloc
import zlib

import pytest

from interchange.errors import SourceError
from interchange.formats import aecg
from interchange.formats.aecg import markup, recognise
from interchange.limits import DEFAULTS, limits
from interchange.sources import Source
from tests.formats.aecg.support import edited, kept, message, read, rules, sequence_set, series
from tests.growing import MOST, growth
from tests.growing.aecg import AECG

NAME = "Łódź Ümlaut é"
NAMED = ("<name>T. T.</name>", f"<name>{NAME}</name>")
LATIN = ("<name>T. T.</name>", "<name>Ümlaut é</name>")


def declared(text: str, encoding: str) -> str:
    return text.replace('encoding="UTF-8"', f'encoding="{encoding}"')


def without(text: str) -> str:
    return text.split("?>", 1)[1]


def name_in(data: bytes) -> str | None:
    name = read(data).patient.name
    return name.text if name else None


@pytest.mark.parametrize(
    "data",
    [
        edited(NAMED).encode("utf-8"),
        codecs.BOM_UTF8 + edited(NAMED).encode("utf-8"),
        without(edited(NAMED)).encode("utf-8"),
        declared(edited(NAMED), "UTF-16").encode("utf-16"),
        codecs.BOM_UTF16_BE + declared(edited(NAMED), "UTF-16").encode("utf-16-be"),
        without(edited(NAMED)).encode("utf-16-le"),
        without(edited(NAMED)).encode("utf-16-be"),
        gzip.compress(edited(NAMED).encode("utf-8"), mtime=0),
        gzip.compress(edited(NAMED).encode()[:900], mtime=0) + gzip.compress(edited(NAMED).encode()[900:], mtime=0),
    ],
)
def test_unicode_encodings_and_gzip_are_read_without_a_finding(data: bytes) -> None:
    assert name_in(data) == NAME
    assert rules(read(data)) == set()
    assert recognise(Source(data))


@pytest.mark.parametrize("encoding", ["ISO-8859-1", "windows-1252", "iso-8859-15"])
def test_latin_encodings_are_read(encoding: str) -> None:
    data = declared(edited(LATIN), encoding).encode(encoding)
    assert name_in(data) == "Ümlaut é"
    assert rules(read(data)) == set()


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (edited(LATIN).encode("cp1252"), "aecg.encoding"),
        (declared(edited(LATIN), "UTF-16").encode("utf-8"), "aecg.encoding"),
        (declared(edited(LATIN), "no-such").encode("utf-8"), "aecg.encoding"),
        (declared(edited(LATIN), "rot13").encode("utf-8"), "aecg.encoding"),
        (b" \r\n" + edited(LATIN).encode("utf-8"), "aecg.leading-blanks"),
        (edited(LATIN).encode("utf-8") + b"\0\0", "aecg.trailing-nul"),
    ],
)
def test_what_contradicts_its_declaration_is_read_with_a_finding(data: bytes, expected: str) -> None:
    assert name_in(data) == "Ümlaut é"
    assert rules(read(data)) == {expected}


def test_comments_instructions_and_cdata_change_nothing() -> None:
    text = edited(
        ("<digits>4 5 -6</digits>", "<digits>4 <!-- x -->5<?y z?> <![CDATA[-6]]></digits>"),
        ("<title>", "<!-- about --><title>"),
    )
    assert read(text).tracings[0].samples.tolist() == read(kept()).tracings[0].samples.tolist()


# Hostile -----------------------------------------------------------------------------------------------------------

LAUGHS = '<!DOCTYPE l [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>'
DOCTYPES = (
    "<!DOCTYPE AnnotatedECG>",
    LAUGHS,
    '<!DOCTYPE r SYSTEM "file:///etc/passwd">',
    '<!DOCTYPE r [<!ENTITY % p SYSTEM "http://localhost:9/x">%p;]>',
    "<!-- a --><?b c?>\n<!DOCTYPE r>",
)


@pytest.mark.parametrize("doctype", DOCTYPES)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_any_document_type_is_refused(doctype: str, encoding: str) -> None:
    text = declared(kept(), encoding.upper()).replace("?>", f"?>{doctype}", 1)
    with pytest.raises(SourceError, match="document type"):
        read(text.encode(encoding))


def test_an_entity_without_a_document_type_is_no_xml() -> None:
    with pytest.raises(SourceError, match="not well-formed") as caught:
        read(edited(("<name>T. T.</name>", "<name>&secret;</name>")))
    assert caught.value.place == "line 18, column 29"


def test_utf_7_and_friends_cannot_hide_a_document_type() -> None:
    hidden = "+ADw-!DOCTYPE r+AD4-"
    text = declared(kept(), "UTF-7").replace("?>", f"?>{hidden}", 1)
    with pytest.raises(SourceError):
        read(text)


def test_messages_never_quote_the_document() -> None:
    for text in (
        kept().replace("</trialSubject>", "</JohnDoe>"),
        kept().replace("<trialSubject", "<JohnDoe John="),
        kept()[:-40] + "JohnDoe",
        "<AnnotatedECG xmlns='urn:hl7-org:v3'><JohnDoe/></AnnotatedECG>",
    ):
        with pytest.raises(SourceError) as caught:
            read(text)
        assert "Doe" not in str(caught.value)


@pytest.mark.parametrize(
    "data", [b"", b"\x1f\x8b", b"\x1f\x8b\x08junk", b"<", b"<a", b"\xff\xfe<", b"\0" * 50, b"<?xml"]
)
def test_fragments_are_refused(data: bytes) -> None:
    with pytest.raises(SourceError):
        aecg.read(Source(data))


def test_a_cut_gzip_stream_is_refused() -> None:
    whole = gzip.compress(kept().encode(), mtime=0)
    for end in (3, 12, len(whole) // 2, len(whole) - 1):
        with pytest.raises(SourceError, match=r"damaged|too early"):
            markup.unpack(whole[:end])


def test_a_compressed_bomb_is_stopped_before_it_fills_memory() -> None:
    bomb = zlib.compressobj(9, wbits=31)
    data = b"".join(bomb.compress(b" " * 1_000_000) for _ in range(200)) + bomb.flush()
    tracemalloc.start()
    with limits(unpacked=3_000_000), pytest.raises(SourceError, match="unpacks to more"):
        markup.unpack(data)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 12_000_000


def test_nesting_is_limited() -> None:
    deep = "<component><annotation>" * 150 + "</annotation></component>" * 150
    text = message(
        series(sequence_set({"MDC_ECG_LEAD_I": "1 2"}), f"<subjectOf><annotationSet>{deep}</annotationSet></subjectOf>")
    )
    with pytest.raises(SourceError, match=r"inside one another|not well-formed"):
        read(text)
    assert DEFAULTS["xml_depth"][0] < 256


def test_nesting_below_the_limit_is_read() -> None:
    inner = '<code code="MDC_ECG_TIME_PD_QT"/><value xsi:type="PQ" value="400" unit="ms"/>'
    deep = f"<component><annotation>{inner}" * 60 + "</annotation></component>" * 60
    text = message(
        series(sequence_set({"MDC_ECG_LEAD_I": "1 2"}), f"<subjectOf><annotationSet>{deep}</annotationSet></subjectOf>")
    )
    assert len(read(text).measurements) == 60


def test_too_many_elements_are_refused() -> None:
    text = message(series(sequence_set({"MDC_ECG_LEAD_I": "1 2"}), "<x/>" * 6000))
    with limits(xml_markup=5000), pytest.raises(SourceError, match="more than 5000"):
        read(text)


@pytest.mark.parametrize("kind", [kind for kind in AECG if kind not in ("elements inside one another", "attributes")])
def test_time_grows_with_size_and_not_faster(kind: str) -> None:
    few = {"annotations 90 deep": 3, "levels of annotations": 11, "sequence sets": 40}.get(kind, 250)
    assert growth(lambda files: aecg.read(Source(files["x.xml"], "x.xml")), AECG[kind], few) <= MOST


def test_a_hundred_thousand_attributes_of_one_element_are_refused_at_once() -> None:
    with pytest.raises(SourceError, match="more than 256 attributes"):
        aecg.read(Source(AECG["attributes"](100_000)["x.xml"], "x.xml"))


def test_signs_in_texts_are_no_attributes() -> None:
    text = edited(("<name>T. T.</name>", f"<name>{'=' * 5000}</name>"))
    name = read(text).patient.name
    assert name is not None
    assert name.text == "=" * 5000


def test_a_hundred_thousand_elements_inside_one_another_are_refused() -> None:
    with pytest.raises(SourceError, match=r"inside one another|not well-formed"):
        aecg.read(Source(AECG["elements inside one another"](100_000)["x.xml"], "x.xml"))


def test_numbers_cannot_ask_for_memory_that_the_document_does_not_justify() -> None:
    far = sequence_set({"MDC_ECG_LEAD_I": "1 2"}) + sequence_set({"MDC_ECG_LEAD_I": "3 4"}, "20401231235959.000+0000")
    recording = read(message(series(far)))
    assert [tracing.length for tracing in recording.tracings] == [2, 2]


def test_every_other_file_is_not_recognised() -> None:
    for data in (
        b"",
        b"SCPECG",
        b"\0" * 128 + b"DICM",
        b"100 12 500 5000\n",
        b"<html><body/></html>",
        b"\x1f\x8b\0\0",
        b"<AnnotatedEC",
    ):
        assert not recognise(Source(data))
    assert recognise(Source(b"<v3:AnnotatedECG xmlns:v3='urn:hl7-org:v3'>"))
    assert recognise(Source(b"<?xml version='1.0'?><!DOCTYPE x [<!ENTITY y 'z'>]><AnnotatedECG>"))
