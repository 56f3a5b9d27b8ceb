"""``draw`` and ``report`` on the command line."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import interchange
from fixtures.field import limb_leads, twelve_leads, with_strip
from tests.draw.pdf_reader import read_pdf
from tests.draw.svg_reader import read_svg
from tests.report.made import converted
from tests.report.test_page import parsed, sound, words

SUFFIXES = (".hea", ".scp", ".dcm", ".xml")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three recordings in four formats, a broken one, and something else.  The tests only read it."""
    place = tmp_path_factory.mktemp("in")
    for name, made in (("twelve", twelve_leads()), ("strip", with_strip()), ("limb", limb_leads())):
        for suffix in SUFFIXES:
            interchange.write(made, place / f"{name}{suffix}")
    (place / "broken.hea").write_text("broken 1 250 1000\nnowhere.dat 16 200 16 0 0 0 0 II\n")
    (place / "notes.txt").write_text("nothing")
    return place


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_drawing_from_every_format(cli, folder: Path, tmp_path: Path, suffix: str) -> None:
    out = tmp_path / "t.pdf"
    done = cli("draw", folder / f"strip{suffix}", "-o", out)
    assert (done.status, done.out, done.err) == (0, f"{out}\n", "")
    pages = read_pdf(out.read_bytes())
    said = "\n".join(text.text for page in pages for text in page.texts)
    for part in ("Ørwin, Tessaly", f"Drawn from strip{suffix}", "Tracing 2 of 2", "UNCONFIRMED", "166 (1.66)"):
        assert part in said


def test_svg_and_png_have_a_file_per_page(cli, folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "t.svg"
    done = cli("draw", folder / "strip.dcm", "-o", out, "--layout", "12x1")
    names = done.out.split()
    assert names[0] == str(out)
    assert names[1] == str(tmp_path / "t-2.svg")
    for number, name in enumerate(names, 1):
        assert f"Page {number} of {len(names)}" in read_svg(Path(name).read_bytes()).words
    out.unlink()
    again = cli("draw", folder / "strip.dcm", "-o", out, "--layout", "12x1")
    assert again.status == 5
    assert "t-2.svg" in again.err
    assert not out.exists(), "a set of pages appears whole or not at all"
    assert cli("draw", folder / "strip.dcm", "-o", out, "--layout", "12x1", "--overwrite").status == 0
    less = cli("draw", folder / "limb.dcm", "-o", out, "--layout", "3x4", "--overwrite")
    assert less.out == f"{out}\n"
    assert "t-2.svg is left over from another drawing" in less.err
    picture = tmp_path / "t.png"
    assert cli("draw", folder / "limb.xml", "-o", picture, "--dpi", "60").status == 0
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_choices_of_the_drawing(cli, folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "t.svg"
    arguments = ("--speed", "50", "--gain", "20", "--layout", "6x2", "--cabrera", "--rhythm", "v1", "--paper", "letter")
    assert cli("draw", folder / "twelve.scp", "-o", out, *arguments).status == 0
    page = read_svg(out.read_bytes())
    assert page.width == pytest.approx(279.4)
    assert "50 mm/s, 20 mm/mV" in page.words
    assert page.of("trace", "lead −aVR,")
    assert (
        cli("draw", folder / "twelve.scp", "-o", out, "--overwrite", "--leads", "V1,II", "--rhythm", "none").status == 0
    )
    assert {line.name.split(",")[0] for line in read_svg(out.read_bytes()).of("trace")} == {"lead V1", "lead II"}
    cut = ("--start", "2", "--seconds", "1.5", "--layout", "rows")
    assert cli("draw", folder / "twelve.scp", "-o", out, "--overwrite", *cut).status == 0
    assert "2 s to 3.5 s (recorded until 10 s)" in read_svg(out.read_bytes()).words
    assert cli("draw", folder / "strip.scp", "-o", out, "--overwrite", "--tracing", "2").status == 0
    assert {line.name.split(",")[0] for line in read_svg(out.read_bytes()).of("trace")} == {"lead II", "lead V1"}


def test_leads_that_follow_exactly_on_request(cli, tmp_path: Path) -> None:
    made = twelve_leads()
    eight = made.with_(tracings=(made.tracings[0].take([0, 1, *range(6, 12)]),), measurements=())
    source, out = tmp_path / "e.hea", tmp_path / "e.svg"
    interchange.write(eight, source)
    assert cli("draw", source, "-o", out).status == 0
    assert "not recorded" in read_svg(out.read_bytes()).words.split("\n")
    assert cli("draw", source, "-o", out, "--derive", "--overwrite").status == 0
    page = read_svg(out.read_bytes())
    assert "not recorded" not in page.words.split("\n")
    assert {"III (derived)", "aVR (derived)", "aVL (derived)", "aVF (derived)"} <= set(page.words.split("\n"))


@pytest.mark.parametrize(("arguments", "status", "words_"), [
    (("draw", "FILE", "-o", "x.gif"), 2, ".pdf, .svg or .png"),
    (("draw", "FILE"), 2, "--output"),
    (("draw", "none.scp", "-o", "x.pdf"), 3, "no such file"),
    (("draw", "FILE", "-o", "none/x.pdf"), 5, "folder does not exist"),
    (("draw", "FILE", "-o", "x.pdf", "--speed", "30"), 2, "--speed"),
    (("draw", "FILE", "-o", "x.pdf", "--start", "-1"), 2, "--start"),
    (("draw", "FILE", "-o", "x.pdf", "--rhythm", "V9"), 2, "no such lead"),
    (("draw", "FILE", "-o", "x.pdf", "--font", "none.ttf"), 2, "TrueType"),
    (("draw", "FILE", "-o", "x.pdf", "--most-pages", "1", "--layout", "12x1"), 2, "pages"),
    (("report", "FILE", "-o", "x.pdf"), 2, ".html"),
    (("report", "none.scp", "-o", "x.html"), 3, "no such file"),
    (("report", "FILE", "-o", "x.html", "--expect", "nothing"), 2, "lead set"),
])  # fmt: skip
def test_wrong_requests(cli, folder: Path, tmp_path: Path, monkeypatch, arguments, status: int, words_: str) -> None:
    monkeypatch.chdir(tmp_path)
    done = cli(*(str(folder / "twelve.scp") if part == "FILE" else part for part in arguments))
    assert done.status == status, done.err
    assert words_ in done.err
    assert not list(tmp_path.glob("x.*"))


def test_the_source_is_never_replaced(cli, folder: Path, tmp_path: Path) -> None:
    page = tmp_path / "a.html"
    page.write_bytes((folder / "twelve.scp").read_bytes())
    assert cli("report", page, "-o", page, "--overwrite").status == 5
    assert page.read_bytes() == (folder / "twelve.scp").read_bytes()


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_a_report_from_every_format(cli, folder: Path, tmp_path: Path, suffix: str) -> None:
    out = tmp_path / "r.html"
    done = cli("report", folder / f"twelve{suffix}", "-o", out)
    assert (done.status, done.out, done.err) == (0, f"{out}\n", "")
    document = sound(out.read_bytes())
    assert document.xpath("//h1")[0].text_content() == "Ørwin, Tessaly"
    assert "Twelve of twelve leads" in words(out.read_bytes())
    refused = cli("report", folder / f"twelve{suffix}", "-o", out)
    assert refused.status == 5
    assert "exists already" in refused.err


def test_a_receipt_beside_the_file_is_shown_with_it(cli, tmp_path: Path) -> None:
    _, target, receipt = converted(tmp_path, twelve_leads())
    out = tmp_path / "r.html"
    assert cli("report", target, "-o", out).status == 0
    assert parsed(out.read_bytes()).xpath("//h2[@id='receipt']")
    receipt.write_bytes(receipt.read_bytes().replace(b'"sha256": "', b'"sha256": "0'))
    assert cli("report", target, "-o", out, "--overwrite").status == 0
    assert not parsed(out.read_bytes()).xpath("//h2[@id='receipt']")


def test_a_lead_set_that_was_expected(cli, folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "r.html"
    assert cli("report", folder / "limb.scp", "-o", out, "--expect", "standard-12").status == 0
    boxes = parsed(out.read_bytes()).xpath("//ul[@class='leads']/li/@class")
    assert boxes == ["present"] * 6 + ["missing"] * 6
    assert "leads.incomplete" in words(out.read_bytes())


def test_a_folder_gives_an_index_and_a_page_for_each_recording(cli, folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "all.html"
    done = cli("report", folder, "-o", out)
    assert done.status == 1, "one of the files is broken"
    document = sound(out.read_bytes())
    rows = document.xpath("//caption[.='One line per recording']/..//tbody/tr")
    files = [row[0].text_content() for row in rows]
    made = {f"{name}{suffix}" for name in ("twelve", "strip", "limb") for suffix in SUFFIXES}
    assert set(files) == {*made, "broken.hea"}
    assert files == sorted(files)
    links = {row[0].text_content(): row[0].xpath("a/@href") for row in rows}
    assert links.pop("broken.hea") == []
    for file, (address,) in links.items():
        page = (tmp_path / address).read_bytes()
        assert sound(page).xpath(f"//header//a[@href='{out.name}']")
        assert f"ECG recording report: {file}" in words(page)
    said = words(out.read_bytes())
    assert "13 recordings" in said
    assert "notes.txt" in said
    assert "set.same-tracing" in said, "the same tracing in four formats"
    assert re.search(r"Cannot be read: \S", said)
    listed = done.out.split()
    assert listed[-1] == str(out)
    assert len(listed) == 13
    assert cli("report", folder, "-o", out).status == 5
    assert cli("report", folder, "-o", out, "--overwrite").status == 1


def test_an_empty_folder(cli, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    assert cli("report", tmp_path / "empty", "-o", tmp_path / "e.html").status == 0
    assert "No recording was found." in words((tmp_path / "e.html").read_bytes())
