"""The report on a receipt: taken back from its file, with before and after, and with the files that are at hand."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from lxml import html

import interchange
from fixtures.field import twelve_leads
from interchange.errors import SourceError
from interchange.receipt import Receipt
from interchange.receipt.content import TracingSummary
from interchange.report.receipt_file import looks_like_receipt, read_receipt
from interchange.requests import Requests
from tests.report.made import converted
from tests.report.test_page import sound, words


@pytest.fixture
def receipt(tmp_path: Path) -> Receipt:
    """A receipt with something in every list."""
    source = tmp_path / "a.hea"
    interchange.write(twelve_leads(), source)
    found = interchange.convert(source, tmp_path / "a.dcm", requests=Requests(fields=(("accession-number", "N-1"),)))
    return replace(
        found,
        added=(*found.added, *read_receipt(_full()).added),
        left=read_receipt(_full()).left,
        unread=read_receipt(_full()).unread,
        findings=read_receipt(_full()).findings,
        notes=("a note",),
        accepted=("signal",),
    )


def _full() -> bytes:
    empty = {
        "document": "interchange receipt", "version": 1, "program": "interchange 9.9", "source": [], "target": [],
        "verified": True, "samples_identical": True, "largest_sample_change_microvolts": "0.5",
        "largest_time_change_seconds": "1/3000", "tracings": [], "carried": [{"path": "patient.name", "count": 1}],
        "changed": [], "notes": [], "accepted": [], "deidentification": [], "cautions": ["c"],
        "left": [{"path": "patient.race", "before": "<b>", "after": None, "reason": "no place", "protected": None,
                  "field": "race",
                  "requested": False}],
        "added": [{"path": "SOP", "value": "", "reason": "demanded", "field": ""}],
        "unread": [{"place": "byte 3", "size": 4, "what": "filling"}],
        "findings": [{"rule": "a.b", "severity": "warning", "place": "x", "reason": "odd", "clause": ""}],
    }  # fmt: skip
    return json.dumps(empty).encode()


def test_a_receipt_comes_back_from_its_file_as_it_was(receipt: Receipt) -> None:
    data = receipt.as_bytes()
    assert looks_like_receipt(data)
    assert read_receipt(data) == receipt
    assert read_receipt(data).as_bytes() == data


def test_numbers_that_are_no_decimals_survive() -> None:
    from fractions import Fraction

    found = read_receipt(_full())
    assert (found.sample_error, found.time_error) == (Fraction(1, 2), Fraction(1, 3000))


@pytest.mark.parametrize("change", [
    b"", b"{", b"[]", b"null", b'"interchange receipt"', b'{"document": "interchange receipt"}',
    b'{"document": "interchange receipt", "version": 2}', b"\xff\xfe{", b"[" * 100_000,
    b'{"document": "interchange receipt", "version": 1, "x": ' + b"9" * 10_000 + b"}",
])  # fmt: skip
def test_what_is_no_receipt_is_refused(change: bytes) -> None:
    with pytest.raises(SourceError):
        read_receipt(change, "x.json")


def test_every_field_of_another_type_is_refused_by_its_place(receipt: Receipt) -> None:
    whole = receipt.as_json()
    places = 0

    def spoiled(value):
        """Copies of a document with one value each replaced by one of another type."""
        for key, inner in list(value.items()) if isinstance(value, dict) else list(enumerate(value)):
            for wrong in ({"x": []}, 12.5):
                if type(inner) is not type(wrong) and (key, isinstance(value, dict)) != ("cautions", True):
                    value[key] = wrong
                    yield
                    value[key] = inner
            if isinstance(inner, (dict, list)) and key != "cautions":
                yield from spoiled(inner)

    for _ in spoiled(whole):
        places += 1
        if whole.get("samples_identical") in (True, False):  # computed from the rest, not read
            with pytest.raises(SourceError):
                read_receipt(json.dumps(whole).encode())
    assert places > 200


@pytest.mark.parametrize("number", ["1e9", "1/0", "", " 1", "0x1", "9" * 1000, "1/" + "9" * 1000, "nan", "-", "١"])
def test_numbers_are_plain(number: str) -> None:
    document = json.loads(_full())
    document["largest_sample_change_microvolts"] = number
    with pytest.raises(SourceError, match="largest_sample_change_microvolts"):
        read_receipt(json.dumps(document).encode())


def test_the_page_shows_before_and_after(cli, tmp_path: Path) -> None:
    _, _, path = converted(tmp_path, twelve_leads(), requests=Requests(fields=(("accession-number", "NEW-7"),)))
    out = tmp_path / "r.html"
    done = cli("report", path, "-o", out)
    assert done.status == 0, done.err
    document = sound(out.read_bytes())
    rows = document.xpath("//caption[.='Changed on request']/..//tbody/tr")
    (row,) = [row for row in rows if "accession" in row.text_content()]
    assert [cell.text_content() for cell in row][1:3] == ["NH31-0318-0642", "NEW-7"]
    said = words(out.read_bytes())
    assert "Samples identical: every sample of every lead was read back" in said
    assert "Ørwin, Tessaly" in said
    assert "Twelve of twelve leads" in said
    assert len(document.xpath("//figure")) == 1


def test_both_tracings_are_shown_where_samples_differ(cli, tmp_path: Path) -> None:
    """Leads that were left out on request: the source and the target stand one below the other."""
    _, _, path = converted(tmp_path, twelve_leads(), requests=Requests(leads=("II", "V1")))
    out = tmp_path / "r.html"
    assert cli("report", path, "-o", out).status == 0
    document = sound(out.read_bytes())
    names = [h.text_content() for h in document.xpath("//section[@aria-labelledby='both']/h3")]
    assert names == ["Before: source.hea", "After: target.dcm"]
    assert len(document.xpath("//section[@aria-labelledby='both']//figure")) == 2


def test_another_file_in_the_place_of_the_target_is_not_shown(cli, tmp_path: Path) -> None:
    source, target, path = converted(tmp_path, twelve_leads())
    target.write_bytes(target.read_bytes()[:-1] + b"\x01")
    out = tmp_path / "r.html"
    assert cli("report", path, "-o", out).status == 0
    said = words(out.read_bytes())
    assert "The target file is not at hand, or is another than the receipt speaks of" in said
    assert "Samples identical" in said
    for beside in (source, target):
        beside.unlink()
    assert cli("report", path, "-o", out, "--overwrite").status == 0
    said = words(out.read_bytes())
    assert "The source file is not at hand" in said
    assert "Ørwin" not in said.replace("ECG", ""), "the receipt itself names nobody here"


def test_a_receipt_never_makes_the_program_look_at_a_network_or_outside_its_size(cli, tmp_path: Path) -> None:
    from interchange.cli.report import _candidates

    assert [str(p) for p in _candidates("//server/share/a.scp", tmp_path)] == [str(tmp_path / "a.scp")]
    assert [str(p) for p in _candidates("\\\\server\\share\\a.scp", tmp_path)] == [str(tmp_path / "a.scp")]
    document = json.loads(_full())
    document["target"] = [{"name": "/etc/passwd", "format": "scp", "size": 1, "sha256": "0" * 64}]
    path = tmp_path / "x.receipt.json"
    path.write_text(json.dumps(document))
    assert cli("report", path, "-o", tmp_path / "x.html").status == 0
    assert "root:" not in (tmp_path / "x.html").read_text()


def test_a_tracing_that_was_left_behind_says_so(tmp_path: Path) -> None:
    from interchange.report import receipt_page

    lost = TracingSummary(
        "rhythm",
        ("II",),
        10,
        interchange.model.exact.Fraction(500),
        interchange.model.exact.Fraction(0),
        "a" * 64,
        None,
    )
    found = replace(read_receipt(_full()), tracings=(lost,))
    data = receipt_page(found, "r.json")
    row = html.document_fromstring(data.decode()).xpath("//caption[.='Tracings']/..//tbody/tr")[0]
    assert row.text_content().endswith("left behind")
    assert "Not verified" in words(receipt_page(replace(found, verified=False), "r.json"))


def test_a_de_identified_conversion_quotes_nothing_and_says_what_was_done() -> None:
    from interchange.deidentify.rules import Removal
    from interchange.report import receipt_page

    data = receipt_page(replace(read_receipt(_full()), removals=(Removal("names", 3, 1, 0),)), "r.json")
    rows = html.document_fromstring(data.decode()).xpath("//caption[starts-with(.,'De-identification')]/..//tbody/tr")
    assert [cell.text_content() for cell in rows[0]] == ["names", "3", "1", "0"]
    assert "De-identified data may still be personal data" in words(data)
