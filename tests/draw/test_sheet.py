"""What stands on the sheet in words, and that all of it stays on the page."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings

from fixtures.field import limb_leads, twelve_leads
from interchange.draw import DrawOptions, draw
from interchange.draw.levels import level_table
from interchange.draw.typeface import installed_typeface
from interchange.errors import UsageError
from interchange.model import Code, Filters, Measurement, Moment, Recording, Statement
from tests.draw.cases import ARABIC, CHINESE, gappy, named, several, shifted, sparse, talkative
from tests.draw.pdf_reader import read_pdf
from tests.draw.svg_reader import Picture, read_svg
from tests.everything import everything
from tests.report.made import with_text
from tests.strategies import full


def pages(made: Recording, **options: object) -> list[Picture]:
    return [read_svg(page) for page in draw(made, "svg", DrawOptions(**options))]


def flowing(picture: Picture) -> str:
    """All words as one text, wrapped lines put together again."""
    return re.sub(r"\s+", " ", " ".join(text.text for text in picture.texts))


def test_who_when_where_with_what() -> None:
    words = flowing(pages(twelve_leads(), source="field-twelve.scp")[0])
    for said in (
        "Ørwin, Tessaly", "ID NH-204417 (issuer 2.999.417.1)", "female, 62 years, born 1961-11-02",
        "Recorded 2024-03-18 06:42:10 +01:00", "Norrhalde Ambulance Service, Station Eastquay, Unit 7-31",
        "Quillmere Instruments", "FT12", "serial QM-0052718", "software 4.1.7", "software reader 2.3",
        "Recorded by Ilvane, Bram", "bandwidth 0.05 to 150 Hz, mains filter 50 Hz", "Electrodes: standard twelve leads",
        "Reason: chest pain for forty minutes", "25 mm/s, 10 mm/mV", "1 mm is 40 ms and 0.1 mV",
        "heart rate, ventricular", "84 /min", "PR interval", "168 ms", "QTc (Bazett)", "431 ms", "QRS axis", "51°",
        "UNCONFIRMED, 2024-03-18 06:42:31 +01:00, said by machine",
        "ST elevation in II, III, aVF with ST depression in aVL",
        "Drawn from field-twelve.scp (arrays) by interchange",
        "no diagnostic device's print", "Not for sole diagnostic use",
        "Statements unconfirmed unless signed", "never means asystole and never means normal", "its clock may be wrong",
        "Page 1 of 1", "50 mm: true to scale if this measures 50 mm",
    ):  # fmt: skip
        assert said in words


def test_what_is_not_known_says_so() -> None:
    words = flowing(pages(limb_leads())[0])
    for said in ("Name not said", "ID not said", "sex not said", "birth date not said", "Electrode placement not said"):
        assert said in words
    words = flowing(pages(sparse())[0])
    for said in (
        "Name said to be unknown",
        "sex withheld",
        "2031-02-03 04:05:06 (zone unknown)",
        "No statements in the file",
    ):
        assert said in words
    nothing = flowing(pages(Recording.from_arrays(np.zeros((1, 500), dtype=int), ("II",), 500))[0])
    assert "Recorded time not said" in nothing
    assert "Filters: not said" in nothing
    assert "Place not said" in nothing
    assert "Device not said" in nothing


def test_confirmed_and_unconfirmed_statements_stand_apart() -> None:
    at = Moment(2024, 3, 18, 7, 0, Fraction(0))
    made = twelve_leads().with_(
        statements=(
            Statement("Read by a machine", author_kind="machine", author="reader 2", confirmed=False),
            Statement("Read by somebody", confirmed=True, confirmed_by="Dr Kell", confirmed_time=at),
            Statement("Not said"),
            Statement("Looked at", confirmed=False, overread=True),
        )
    )
    words = flowing(pages(made)[0])
    expected = (
        "UNCONFIRMED, said by machine, reader 2",
        "Read by a machine",
        "CONFIRMED by Dr Kell at 2024-03-18 07:00:00 (zone unknown)",
        "Read by somebody",
        "UNCONFIRMED (confirmation not said), author not said Not said",
        "UNCONFIRMED, looked at, author not said Looked at",
    )
    order = [words.find(part) for part in expected]
    assert -1 not in order
    assert order == sorted(order)


def test_levels_stand_in_lead_order_in_microvolts_and_millimetres() -> None:
    made = twelve_leads()
    shuffled = made.with_(measurements=tuple(reversed(made.measurements)))
    table = level_table(shuffled)
    assert table is not None
    assert table.leads == ("I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6")
    assert [name for name, _ in table.rows] == ["J", "J+20 ms", "J+60 ms", "J+80 ms"]
    stored = {(m.lead, m.concept): m.value for m in made.measurements}
    for (_, cells), concept in zip(
        table.rows, ("j-amplitude", "st-amplitude-20", "st-amplitude-60", "st-amplitude-80"), strict=True
    ):
        for lead, cell in zip(table.leads, cells, strict=True):
            microvolts, millimetres = cell.replace("−", "-").rstrip(")").split(" (")
            assert int(microvolts) == stored[lead, concept]
            assert Fraction(millimetres) == Fraction(stored[lead, concept], 100)
    page = pages(made)[0]
    heads = [text for text in page.texts if text.text in table.leads and text.anchor == "end"]
    assert [text.text for text in heads] == list(table.leads)
    assert sorted(text.x for text in heads) == [text.x for text in heads]
    assert "−136 (−1.36)" in [text.text for text in page.texts]


@pytest.mark.parametrize(
    ("value", "expected"), [(250, "250 (2.50)"), (-5, "−5 (−0.05)"), (0, "0 (0.00)"), (Fraction(5, 2), "2.5 (0.03)")]
)
def test_a_millimetre_is_a_tenth_of_a_millivolt(value: int | Fraction, expected: str) -> None:
    table = level_table(Recording(measurements=(Measurement("j-amplitude", value, "uV", lead="V2"),)))
    assert table is not None
    assert table.rows == (("J", (expected,)),)


def test_levels_that_are_not_there_say_why_and_beat_types_stand_apart() -> None:
    found = level_table(
        Recording(
            measurements=(
                Measurement("j-amplitude", None, "uV", lead="V2", absent="not-measured"),
                Measurement("j-amplitude", 12, "uV", lead="V1", beat=0),
                Measurement("j-amplitude", 40, "uV", lead="V1", beat=1),
            )
        )
    )
    assert found is not None
    assert dict(found.rows) == {
        "J": ("", "unmeasured"), "J, beat type 0": ("12 (0.12)", ""), "J, beat type 1": ("40 (0.40)", ""),
    }  # fmt: skip


def test_a_filter_that_moves_the_st_level_is_spoken_of() -> None:
    made = twelve_leads()
    assert "moves the ST level" not in flowing(pages(made)[0])
    assert "Low cut-off 0.5 Hz: unless free of phase shift" in flowing(pages(limb_leads())[0])
    unknown = made.with_(acquisition=replace(made.acquisition, filters=Filters(lowpass=Fraction(40))))
    assert "Low cut-off not said" in flowing(pages(unknown)[0])


def test_what_finds_no_room_goes_on_at_the_end_below_its_heading() -> None:
    found = pages(talkative())
    assert len(found) > 1
    words = " ".join(flowing(page) for page in found)
    for number in range(60):
        assert f" {number}: " in words
    assert "CONFIRMED by Dr Kell, said by person, Dr Kell Agreed" in words
    for number in range(40):
        assert f"(measurement {number})" in words
    for page in found[1:]:
        tops: dict[float, tuple[float, str]] = {}
        for text in page.texts:
            if 20 < text.y < 185 and text.x in (8.5, 148.5):
                tops[text.x] = min(tops.get(text.x, (999.0, "")), (text.y, text.text))
        for _, text in tops.values():
            assert text.endswith("(continued)") or text.startswith("CONFIRMED")


def test_pages_are_numbered_and_each_says_whose_it_is() -> None:
    found = pages(talkative(), layout="12x1")
    for number, page in enumerate(found, 1):
        words = flowing(page)
        assert f"Page {number} of {len(found)}" in words
        assert "Ørwin, Tessaly" in words
        assert "NH-204417" in words
        assert "2024-03-18 06:42:10 +01:00" in words
        assert "25 mm/s, 10 mm/mV" in words
        assert "no diagnostic device's print" in words
        (ruler,) = [line for line in page.of("ruler") if np.ptp(line.points[:, 1]) < 0.01]
        assert np.ptp(ruler.points[:, 0]) == pytest.approx(50, abs=0.01)


def test_too_many_pages_are_refused() -> None:
    with pytest.raises(UsageError, match="pages"):
        draw(talkative(), "svg", DrawOptions(most_pages=1))


def long_name() -> Recording:
    return named("Überlanger-" * 60)


def wide_name() -> Recording:
    return named("W" * 500)


def long_everywhere() -> Recording:
    """Long words in many fields, and more rows than a page holds."""
    made = with_text("Überlanger" * 60)
    return made.with_(tracings=(*made.tracings, *twelve_leads().tracings, *twelve_leads().tracings))


def many_levels() -> Recording:
    """J-point levels of two hundred leads."""
    made = twelve_leads()
    levels = tuple(Measurement("j-amplitude", n, "uV", lead=f"E{n}") for n in range(200))
    return made.with_(measurements=levels)


def arabic_name() -> Recording:
    return named(ARABIC)


@pytest.mark.parametrize(
    "make",
    [
        twelve_leads,
        limb_leads,
        talkative,
        several,
        shifted,
        gappy,
        everything,
        long_name,
        wide_name,
        arabic_name,
        long_everywhere,
        many_levels,
    ],
)
@pytest.mark.parametrize("options", [{}, {"portrait": True, "paper": "letter"}], ids=str)
def test_nothing_leaves_the_page(make, options: dict) -> None:
    """Every word of the PDF, by the widths in the file, lies on the page; no two texts lie on each other."""
    for page in read_pdf(draw(make(), "pdf", DrawOptions(**options))[0]):
        for text in page.texts:
            assert text.x >= 6.9
            assert text.x + text.width <= page.width - 4.5, text.text
            assert 3 < text.y < page.height - 3
        for stroke in page.strokes:
            assert (stroke.points.min(axis=0) >= 0).all()
            assert (stroke.points.max(axis=0) <= (page.width, page.height)).all()
        heads = [text for text in page.texts if text.text.strip()]
        for n, first in enumerate(heads):
            for second in heads[n + 1 :]:
                apart = abs(first.y - second.y) > 0.55 * min(first.size, second.size)
                beside = first.x + first.width <= second.x + 0.3 or second.x + second.width <= first.x + 0.3
                assert apart or beside, (first, second)


def test_levels_of_very_many_leads_go_on_at_the_end() -> None:
    found = pages(many_levels())
    assert "J and ST levels: on the last page." in found[0].words
    words = " ".join(flowing(page) for page in found[1:])
    assert all(f"E{n}: J {n} (" in words for n in range(200))


def test_a_de_identified_recording_says_so() -> None:
    made = twelve_leads().with_(deidentification=(Code("113100", "DCM", "Basic Application Confidentiality Profile"),))
    assert "De-identified; may still be personal data" in flowing(pages(made)[0])


def test_the_same_recording_gives_the_same_bytes() -> None:
    for kind in ("svg", "pdf", "png"):
        options = DrawOptions(source="a.scp", dpi=60)
        assert draw(several(), kind, options) == draw(several(), kind, options)


def test_code_points_in_place_of_letters_are_explained() -> None:
    (data,) = draw(named(CHINESE), "pdf")
    words = " ".join(text.text for text in read_pdf(data)[0].texts)
    assert r"\u5c71\u7530 \u592a\u90ce" in words
    assert "the Unicode code point of a character that cannot be shown" in words
    assert CHINESE in flowing(pages(named(CHINESE))[0])
    assert "Unicode code point" not in flowing(pages(named(CHINESE))[0])


def test_control_characters_never_get_through() -> None:
    made = named("Mo\x1b[31mor\u202e\x00\u2028")
    assert not any(control in page for page in draw(made, "svg") for control in (b"\x1b", b"\xe2\x80\xae"))
    assert not any(control in text.text for text in read_pdf(draw(made, "pdf")[0])[0].texts for control in "\x1b\u202e")
    words = flowing(pages(made)[0])
    assert r"Mo\x1b[31mor\u202e\x00\u2028" in words
    assert installed_typeface().shown("a\u202eb") == r"a\u202eb"


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(full())
def test_whatever_the_model_holds_can_be_drawn(made: Recording) -> None:
    """Every recording gives well-formed pages, or is refused because nothing in it is a voltage."""
    for kind in ("svg", "pdf"):
        try:
            data = draw(made, kind)
        except UsageError as error:
            refused = error.reason
            assert "nothing to draw" in refused or "too many pages" in refused
            continue
        if kind == "svg":
            for page in data:
                read_svg(page)
        else:
            assert read_pdf(data[0])
