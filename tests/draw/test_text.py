"""Letters: order and forms of right-to-left scripts, fonts in the file, what happens without the extra."""

from __future__ import annotations

import io
import shutil
import struct
import subprocess
import sys
from pathlib import Path

import pytest

from fixtures.field import twelve_leads
from interchange.draw import DrawOptions, draw
from interchange.draw.bidi import visual
from interchange.draw.face import PLAIN_FACE, wrapped
from interchange.draw.truetype import TrueType
from interchange.draw.typeface import installed_typeface
from interchange.errors import UsageError
from tests.draw.cases import ARABIC, named
from tests.draw.pdf_reader import File, read_pdf


def shown(text: str) -> str:
    return "".join(character for character, _ in visual(text))


@pytest.mark.parametrize(("text", "expected"), [
    ("abc, 12 (d)", "abc, 12 (d)"),
    ("שלום", "םולש"),
    ("שלום abc", "םולש abc"),
    ("abc שלום עולם def", "abc םלוע םולש def"),
    ("שלום 123", "123 םולש"),
    ("שלום (עולם)", "(םלוע) םולש"),
    ("ID שלום, born 1968", "ID םולש, born 1968"),
    ("שלום 12.5 עולם", "םלוע 12.5 םולש"),
])  # fmt: skip
def test_order_of_right_to_left_text(text: str, expected: str) -> None:
    """Worked by hand after UAX #9, base direction left to right."""
    assert shown(text) == expected


@pytest.mark.parametrize(("text", "expected"), [
    # isolated meem, final lam-alef ligature, initial seen (The Unicode Standard, Arabic Presentation Forms-B)
    ("سلام", "\ufee1\ufefc\ufeb3"),
    # isolated teh marbuta after a letter that joins only to the right keeps apart; beh medial
    ("كتاب", "\ufe8f\ufe8e\ufe98\ufedb"),
    ("دار", "\ufead\ufe8d\ufea9"),
    ("بَب", "\ufe90\u064e\ufe91"),
    # Persian peh (Presentation Forms-A) initial, alef final
    ("پا", "\ufe8e\ufb58"),
])  # fmt: skip
def test_joined_forms_of_arabic_letters(text: str, expected: str) -> None:
    assert shown(text) == expected


def test_every_character_is_told_once_whatever_its_form() -> None:
    text = "محمد الأمين 42 abc"
    told = [t for _, t in visual(text)]
    assert sorted("".join(told)) == sorted(text)


def test_a_name_in_arabic_can_be_found_in_the_file() -> None:
    """What each glyph stands for are the letters themselves, not their joined forms."""
    texts = read_pdf(draw(named(ARABIC), "pdf")[0])[0].texts
    heading = next(text.text for text in texts if "\u0646" in text.text)
    assert sorted(heading) == sorted(ARABIC)


@pytest.mark.parametrize("text", ["Ørwin Łucja Žofie", "Ελένη", "Алексей", "Nguyễn", "Mary-Anne O’Neil", "−57 µV ± 2°"])
def test_letters_of_the_typeface_stay_as_they_are(text: str) -> None:
    assert installed_typeface().shown(text) == text


def test_pdf_holds_text_and_its_fonts() -> None:
    data = draw(twelve_leads(), "pdf")[0]
    texts = [text.text for text in read_pdf(data)[0].texts]
    assert "Ørwin, Tessaly" in texts
    assert "Recorded 2024-03-18 06:42:10 +01:00" in texts
    file = File(data)
    assert b"/PrintScaling/None" in data
    assert b"CreationDate" not in data
    assert b"Tessaly" not in file.objects[3], "the document's own title does not name the patient"


def test_the_embedded_font_is_one_that_others_can_read() -> None:
    """FreeType (as matplotlib brings it) opens the subset; every used glyph has the outline of the whole font."""
    ft2font = pytest.importorskip("matplotlib.ft2font")
    data = draw(twelve_leads(), "pdf")[0]
    whole = dict(zip(("DejaVuSans", "DejaVuSans-Bold"), installed_typeface().fonts, strict=True))
    texts = read_pdf(data)[0].texts
    fonts = {text.font for text in texts}
    assert {name.partition("+")[2] for name in fonts} == set(whole)
    file = File(data)
    from tests.draw.pdf_reader import Font

    numbers = [n for n, body in file.objects.items() if b"/Subtype/Type0" in body]
    for number in numbers:
        font = Font(file, number)
        original = whole[font.name.partition("+")[2]]
        small = TrueType(_with_cmap(font.program))
        assert len(font.program) < 60_000
        opened = ft2font.FT2Font(io.BytesIO(_with_cmap(font.program)))
        assert opened.num_glyphs == small.count
        for code in font.text:
            glyph = int.from_bytes(font.glyphs[2 * code : 2 * code + 2], "big")
            assert small.outline(glyph) == original.outline(code)
            assert small.advance(glyph) == original.advance(code)
            assert font.widths[code] == pytest.approx(original.advance(code) * 1000 / original.units, abs=0.01)


def _with_cmap(program: bytes) -> bytes:
    """The font with the table that a reader outside PDF asks for: a minimal cmap."""
    count = struct.unpack_from(">H", program, 4)[0]
    cmap = struct.pack(">HHHHIHHHHHHHHHH", 0, 1, 3, 1, 12, 4, 24, 0, 2, 2, 0, 0, 0xFFFF, 0, 0xFFFF) + struct.pack(
        ">HH", 1, 0
    )
    tables = [struct.unpack_from(">4sIII", program, 12 + 16 * n) for n in range(count)]
    tables.append((b"cmap", 0, len(program) - 0, len(cmap)))
    head = struct.pack(">4sHHHH", b"\0\1\0\0", count + 1, 128, 3, 16)
    entries = b"".join(
        struct.pack(">4sIII", tag, check, start + 16, size) for tag, check, start, size in sorted(tables)
    )
    return head + entries + program[12 + 16 * count :] + cmap


def test_other_programs_read_the_file(tmp_path: Path) -> None:
    if not shutil.which("pdftotext"):
        pytest.skip("poppler-utils is not installed")
    path = tmp_path / "a.pdf"
    path.write_bytes(draw(twelve_leads(), "pdf")[0])
    told = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, check=True, text=True)
    assert "Ørwin, Tessaly" in told.stdout
    assert told.stderr == ""
    fonts = subprocess.run(["pdffonts", path], capture_output=True, check=True, text=True).stdout.splitlines()[2:]
    assert len(fonts) == 2
    assert all(line.split()[-5:-2] == ["yes", "yes", "yes"] for line in fonts)  # embedded, subset, to Unicode


def test_a_font_of_the_user_for_other_scripts(tmp_path: Path) -> None:
    """Any TrueType font helps where DejaVu Sans lacks a letter; here one with mathematical letters."""
    found = pytest.importorskip("matplotlib")
    path = Path(found.__file__).parent / "mpl-data" / "fonts" / "ttf" / "STIXGeneral.ttf"
    letter = next(
        chr(code)
        for code in range(0x2000, 0xFFFF)
        if TrueType(path.read_bytes()).glyph(chr(code)) and installed_typeface().shown(chr(code)).startswith("\\u")
        and chr(code).isprintable()
    )  # fmt: skip
    texts = [text.text for text in read_pdf(draw(named(f"A{letter}B"), "pdf", font=str(path))[0])[0].texts]
    assert any(letter in text for text in texts)
    bad = tmp_path / "bad.ttf"
    for data in (b"", b"no font", b"\0\1\0\0" + b"\xff" * 400, path.read_bytes()[:5000]):
        bad.write_bytes(data)
        with pytest.raises(UsageError, match="TrueType"):
            draw(twelve_leads(), "pdf", font=str(bad))
    with pytest.raises(UsageError, match="TrueType"):
        draw(twelve_leads(), "pdf", font=str(tmp_path / "none.ttf"))


def test_without_the_extra_svg_works_and_the_others_say_what_to_install() -> None:
    """In a process of its own, where matplotlib cannot be found."""
    program = """
import importlib.util, sys
real = importlib.util.find_spec
importlib.util.find_spec = lambda name, *rest: None if name == "matplotlib" else real(name, *rest)
from fixtures.field import twelve_leads
from interchange.draw import draw
from interchange.errors import UsageError
assert draw(twelve_leads(), "svg")[0].startswith(b"<?xml")
for kind in ("pdf", "png"):
    try:
        draw(twelve_leads(), kind)
    except UsageError as error:
        assert "field-ecg-interchange[draw]" in error.reason
    else:
        raise SystemExit("not refused")
assert "matplotlib" not in sys.modules
assert "lxml" not in sys.modules
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_pdf_does_not_load_matplotlib() -> None:
    program = """
import sys
from fixtures.field import twelve_leads
from interchange.draw import draw
draw(twelve_leads(), "pdf")
assert "matplotlib" not in sys.modules
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_wrapping_loses_nothing_and_keeps_the_width() -> None:
    face = installed_typeface()
    text = "a few words and averyveryveryverylongwordthatnobodycouldeverread twice, then words"
    for tried in (face, PLAIN_FACE):
        for width in (900, 2000, 5000):
            rows = wrapped(tried, text, 240, width, hanging=100)
            assert "".join("".join(rows).split()) == "".join(text.split())
            assert all(tried.width(row, 240) <= width for row in rows)


def test_widths_of_ascii_are_those_of_the_font() -> None:
    """The table that SVG is laid out with against the font itself."""
    fonts = installed_typeface().fonts
    for bold in (False, True):
        for code in range(32, 127):
            exact = fonts[bold].advance(fonts[bold].glyph(chr(code))) * 1000 / fonts[bold].units
            assert PLAIN_FACE.width(chr(code), 1000, bold) == round(exact)


def test_options_outside_the_list_are_refused() -> None:
    for wrong in ({"speed": 10}, {"gain": 7}, {"paper": "a3"}, {"layout": "2x6"}, {"dpi": 10}):
        with pytest.raises(UsageError):
            DrawOptions(**wrong)
