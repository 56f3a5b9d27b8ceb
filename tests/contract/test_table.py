"""What every format's package must have: account, rules, recogniser."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import interchange
from interchange import formats
from interchange.findings import SEVERITIES
from interchange.model import Channel, Mark, Measurement, Statement, Tracing
from interchange.model.paths import field_paths
from interchange.sources import Source
from tests.contract.conftest import Written
from tests.contract.support import FIXTURES, NAMES, SAMPLES, SUFFIX
from tests.everything import everything
from tests.fields import fields_said
from tests.walk import walk

each = pytest.mark.parametrize("format", NAMES)


def place_of(format: str, path: str) -> formats.contract.Place | None:
    """The place that the account gives for a field: its own, else that of what it is part of."""
    account = formats.load(format).ACCOUNT
    steps = path.split(".")
    return next((account[p] for n in range(len(steps), 0, -1) if (p := ".".join(steps[:n])) in account), None)


@each
def test_the_account_has_a_place_for_every_field_of_the_model(format: str) -> None:
    assert [path for path in field_paths() if place_of(format, path) is None] == []


@each
def test_the_account_knows_no_field_that_the_model_has_not(format: str) -> None:
    known = {".".join(path.split(".")[:n]) for path in field_paths() for n in range(1, path.count(".") + 2)}
    assert set(formats.load(format).ACCOUNT) - known == set()


@each
def test_every_place_says_where_or_why_not(format: str) -> None:
    for path, place in formats.load(format).ACCOUNT.items():
        assert place.where.strip(), path
        assert place.how in ("field", "text", "partly", "left"), path
        assert place.clause.strip() or place.how in ("text", "left"), f"{path}: no clause"


@each
def test_what_the_account_says_is_what_happens(format: str, written: Written) -> None:
    """Of a recording that says something everywhere, what is left or changed is accounted as partly or left."""
    found = walk(everything(), written("everything", format).back)
    whole = (Tracing, Channel, Measurement, Mark, Statement)  # what went as a whole says nothing of one field
    differing = {re.sub(r"\[[^\]]*\]", "", d.path) for d in found if not isinstance(d.before, whole)}
    for path in fields_said(everything()):
        place = place_of(format, path)
        assert place is not None
        differs = any(path == d or path.startswith(f"{d}.") for d in differing)
        if place.how in ("field", "text"):
            assert not differs, f"{path} is accounted as carried ({place.how}) and differs"
        elif place.how == "left":
            assert differs, f"{path} is accounted as left behind and arrives"


@each
def test_rules_have_names_severities_reasons_and_clauses(format: str) -> None:
    rules = formats.load(format).RULES
    ids = [rule.id for rule in rules]
    assert rules
    assert len(set(ids)) == len(ids)
    for rule in rules:
        assert re.fullmatch(rf"{format}\.[a-z0-9]+(-[a-z0-9]+)*", rule.id), rule.id
        assert rule.severity in SEVERITIES, rule.id
        assert rule.reason.strip(), rule.id
        assert rule.clause.strip(), rule.id


def test_no_two_formats_share_a_rule() -> None:
    ids = [rule.id for name in NAMES for rule in formats.load(name).RULES]
    assert len(set(ids)) == len(ids)


def test_formats_have_names_and_suffixes_of_their_own() -> None:
    assert len({entry.suffix for entry in formats.FORMATS}) == len({entry.name for entry in formats.FORMATS}) == 4
    for entry in formats.FORMATS:
        assert formats.by_name(entry.name) is entry
        assert formats.by_suffix(f"SOME.Record{entry.suffix.upper()}") is entry


# Recognisers -------------------------------------------------------------------------------------------------------


def recognised_as(source: Source) -> list[str]:
    return [name for name in NAMES if formats.load(name).recognise(source)]


@each
@pytest.mark.parametrize("sample", SAMPLES)
def test_a_file_is_recognised_by_its_own_format_alone(format: str, sample: str, written: Written) -> None:
    path = written(sample, format).path
    data = path.read_bytes()
    assert recognised_as(Source(data, path.name)) == [format]
    assert recognised_as(Source(data, "named.otherwise")) == [format], "recognised by its name"
    assert recognised_as(Source(data)) == [format]
    for name in NAMES:
        assert recognised_as(Source(data, f"lying{SUFFIX[name]}")) == [format], "taken in by a suffix"


FOREIGN = {
    "empty": b"",
    "one byte": b"\n",
    "zeros": bytes(4096),
    "text": b"The quick brown fox\njumps over 12 lazy dogs\n",
    "numbers": b"12 1 500 5000\n0.1 0.2\n",
    "table": b"time,I,II\n0,1,2\n1,2,3\n",
    "json": b'{"leads": ["I", "II"], "rate": 500}',
    "html": b"<!DOCTYPE html><html><body>ECG</body></html>",
    "other xml": b'<?xml version="1.0"?><ClinicalDocument xmlns="urn:hl7-org:v3"><id root="2.999"/></ClinicalDocument>',
    "svg": b'<svg xmlns="http://www.w3.org/2000/svg"/>',
    "pdf": b"%PDF-1.7\n1 0 obj\n",
    "png": b"\x89PNG\r\n\x1a\n" + bytes(64),
    "zip": b"PK\x03\x04" + bytes(64),
    "gzip": b"\x1f\x8b\x08" + bytes(64),
    "edf": b"0       " + b"X" * 248 + bytes(64),
    "utf-16": "12 leads".encode("utf-16"),
    "high bytes": bytes(range(256)) * 8,
    "preamble alone": bytes(128) + b"DICM",
    "script": b"#!/bin/sh\necho 12 500\n",
}


ALMOST = {
    ("numbers", "a.hea"),
    ("script", "a.hea"),
    *(("preamble alone", n) for n in ("", "a.hea", "a.dcm", "a.scp", "a.xml")),
}
"""What begins like a recording and may be taken for a damaged one; reading it must say what is wrong all the same."""


@pytest.mark.parametrize("kind", FOREIGN)
def test_what_is_no_recording_is_no_formats(kind: str) -> None:
    for name in ("", "a.hea", "a.dcm", "a.scp", "a.xml"):
        claims = recognised_as(Source(FOREIGN[kind], name))
        assert claims == [] or (kind, name) in ALMOST, f"taken for {claims} under the name {name!r}"
    with pytest.raises(interchange.SourceError):
        interchange.read(FOREIGN[kind])


def test_signal_files_and_attributes_of_records_are_no_recordings() -> None:
    others = [p for p in sorted((FIXTURES / "open").iterdir()) if p.suffix not in (".hea", ".md", ".toml")]
    assert others
    for path in others:
        assert recognised_as(Source(path.read_bytes(), path.name)) == [], path.name


ODD = [(name, path.name) for name in NAMES for path in sorted((FIXTURES / f"{name}-odd").glob(f"*{SUFFIX[name]}"))]


@pytest.mark.parametrize(("format", "file"), ODD, ids=[f"{name}/{file}" for name, file in ODD])
def test_odd_files_are_taken_for_no_other_format(format: str, file: str) -> None:
    data = (FIXTURES / f"{format}-odd" / file).read_bytes()
    assert set(recognised_as(Source(data, file))) <= {format}
    for name in NAMES:
        assert set(recognised_as(Source(data, f"lying{SUFFIX[name]}"))) <= {
            format,
            "wfdb" if _is_text(data) else format,
        }


def _is_text(data: bytes) -> bool:
    """Whether it might be a damaged WFDB header, which is told by its name alone."""
    return data.isascii() and b"\0" not in data and not data.lstrip().startswith(b"<")


def test_recognisers_never_raise() -> None:
    from hypothesis import given, settings
    from hypothesis import strategies as st

    heads = (b"", b"<?xml", b"<AnnotatedECG", bytes(128) + b"DICM", b"a 1 500 10\n", bytes(6) + bytes(10) + b"SCPECG")

    @settings(max_examples=200, deadline=None)
    @given(st.sampled_from(heads), st.binary(max_size=60))
    def look(head: bytes, tail: bytes) -> None:
        assert len(recognised_as(Source(head + tail))) <= 1

    look()


def test_import_loads_only_what_is_used(tmp_path: Path) -> None:
    """Reading one format does not import the packages of the others."""
    import subprocess
    import sys

    script = (
        "import sys, interchange\n"
        f"interchange.read({str(FIXTURES / 'open' / '00841_lr.hea')!r})\n"
        "heavy = [m for m in ('lxml', 'pydicom', 'xmlschema', 'wfdb', 'pandas', 'scipy') if m in sys.modules]\n"
        "assert heavy == [], heavy\n"
    )
    subprocess.run([sys.executable, "-c", script], check=True, cwd=FIXTURES.parent)
