"""The page as a document: everything is there, everything is escaped, nothing is loaded."""

from __future__ import annotations

import base64
import hashlib
import re
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from lxml import html

from fixtures.field import limb_leads, twelve_leads, with_strip
from interchange.findings import Finding
from interchange.model import Recording, Unread
from interchange.report import recording_page
from interchange.report.index import Row, index_page
from interchange.report.markup import Html, tag, text
from interchange.report.style import STYLE
from tests.everything import everything
from tests.report.made import HOSTILE, page, subject, with_text
from tests.strategies import full

OWN = frozenset(("http://www.w3.org/2000/svg",))


def parsed(data: bytes) -> html.HtmlElement:
    return html.document_fromstring(data.decode())


def words(data: bytes) -> str:
    return re.sub(r"\s+", " ", parsed(data).body.text_content())


def sound(data: bytes) -> html.HtmlElement:
    """What must hold for every page."""
    document = parsed(data)
    assert data.startswith(b"<!DOCTYPE html>")
    assert document.get("lang") == "en"
    assert len(document.xpath("//h1")) == 1
    assert not document.xpath("//script | //iframe | //object | //form | //base | //img | //video | //audio")
    assert not [a for e in document.iter() for a in e.attrib if a.startswith("on") or a == "style"]
    for element in document.iter():
        for name in ("href", "src", "action", "{http://www.w3.org/1999/xlink}href"):
            address = element.get(name, "#")
            assert address.startswith("#") or address == "data:," or re.fullmatch(r"[\w.~-]+\.html", address), address
    ids = [e.get("id") for e in document.iter() if e.get("id")]
    assert len(ids) == len(set(ids))
    for key in ("aria-labelledby", "aria-describedby"):
        assert {e.get(key) for e in document.iter() if e.get(key)} <= set(ids)
    assert {a.get("href")[1:] for a in document.xpath("//nav//a")} <= set(ids)
    levels = [int(h.tag[1]) for h in document.xpath("//h1|//h2|//h3|//h4")]
    assert all(b - a <= 1 for a, b in pairwise(levels))
    for table in document.xpath("//table"):
        assert table.xpath("caption")[0].text_content().strip()
        assert all(head.get("scope") in ("col", "row") for head in table.xpath(".//th"))
        assert table.xpath("thead//th[@scope='col']")
    for scroller in document.xpath("//*[@tabindex]"):
        assert scroller.get("tabindex") == "0"
        assert scroller.get("role") == "region"
        assert scroller.get("aria-label")
    for picture in document.xpath("//*[local-name()='svg']"):
        assert picture.get("role") == "img"
        assert picture.xpath("*[local-name()='title']")[0].text_content().strip()
    return document


@pytest.mark.parametrize(
    "make", [twelve_leads, with_strip, limb_leads, everything, Recording, lambda: with_text(HOSTILE)]
)
def test_every_page_is_sound(make) -> None:
    sound(page(make()))


def test_the_policy_allows_the_style_of_the_page_and_nothing_else() -> None:
    document = parsed(page(twelve_leads()))
    policy = document.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")[0]
    (style,) = document.xpath("//style")
    key = base64.b64encode(hashlib.sha256(style.text.encode()).digest()).decode()
    assert policy.startswith("default-src 'none'; ")
    assert f"style-src 'sha256-{key}'" in policy
    assert "unsafe" not in policy
    assert "http" not in STYLE
    assert "url(" not in STYLE
    assert "@import" not in STYLE
    raw = page(everything()).decode()
    assert set(re.findall(r"https?://[^\s\"'<>]+", raw)) <= OWN


def test_hostile_text_stays_text() -> None:
    data = page(with_text(HOSTILE), file=HOSTILE)
    document = sound(data)
    assert not document.xpath("//*[local-name()='img' or local-name()='script']")
    assert b"\x1b" not in data
    assert "\u202e" not in data.decode()
    assert "<script>alert(1)</script>" in words(data)
    assert r"\x1b[31m\u202e\x00" in words(data)


def test_markup_escapes_whatever_is_no_markup() -> None:
    assert text("<b>&\"'") == "&lt;b&gt;&amp;&quot;&#x27;"
    assert text(Html("<b>")) == "<b>"
    assert tag("p", ["<i>", tag("b", "x<y")], title='a"b') == '<p title="a&quot;b">&lt;i&gt;<b>x&lt;y</b></p>'
    assert type(f"{tag('b', 'x')}!") is str, "what was put together outside is escaped again"
    assert text(f"{tag('b', 'x')}!") == "&lt;b&gt;x&lt;/b&gt;!"


def test_what_a_page_says() -> None:
    said = words(page(with_strip(), file="field-strip.scp"))
    for part in (
        "ECG recording report: field-strip.scp", "Ørwin, Tessaly", "ID NH-204417 (issuer 2.999.417.1)",
        "female, 62 years, born 1961-11-02", "Recorded 2024-03-18 06:42:10 +01:00", "Twelve of twelve leads",
        "25 mm/s, 10 mm/mV: a small square is 40 ms wide and 0.1 mV high",
        "Tracing 2 of 2: 11 s to 24 s, 500 samples/s, rhythm strip",
        "heart rate, ventricular", "84 /min", "168 ms", "166 (1.66)", "3 of 3 are not confirmed.", "UNCONFIRMED",
        "ST elevation in II, III, aVF with ST depression in aVL", "Everything in the file was taken in.",
        "This is not a diagnostic device", "never means asystole and never means normal",
        "acetylsalicylic acid 300 mg", "accession NH31-0318-0642",
    ):  # fmt: skip
        assert part in said


def test_check_findings_stand_with_rule_place_and_clause() -> None:
    made = limb_leads().with_(findings=(Finding("demo.rule", "error", "byte 17", "the thing is broken", "Clause 4.2"),))
    data = page(made)
    item = parsed(data).xpath("//li[contains(@class,'error')]")[0]
    assert item.text_content() == "error: the thing is brokendemo.rule · byte 17 · Clause 4.2"
    assert "Errors were found" in words(data)


def test_many_findings_alike_are_counted() -> None:
    made = limb_leads().with_(findings=tuple(Finding("demo.rule", "note", f"byte {n}", "again") for n in range(1000)))
    assert "and 980 more of demo.rule" in words(page(made))


def test_lead_set_as_a_picture() -> None:
    eight = Recording.from_arrays(
        np.arange(8 * 5000).reshape(8, 5000) % 97, ("I", "II", "V1", "V2", "V3", "V4", "V5", "V6"), 500
    )
    boxes = parsed(page(eight)).xpath("//ul[@class='leads']/li")
    told = {
        box.xpath("b")[0].text: (box.get("class"), box.text_content().removeprefix(box.xpath("b")[0].text))
        for box in boxes
    }
    assert len(told) == 12
    assert told["I"] == ("present", "recorded")
    assert told["III"][0] == "missing"
    assert told["III"][1].startswith("not recorded; follows from")
    boxes = parsed(page(limb_leads())).xpath("//ul[@class='leads']/li")
    assert [box.get("class") for box in boxes] == ["present"] * 6
    derived = parsed(page(everything())).xpath("//ul[@class='leads']/li[@class='derived']/b/text()")
    assert "I" in derived


def test_unread_parts_are_listed() -> None:
    made = twelve_leads().with_(
        unread=(Unread("section 9", 120, "maker's own section"), Unread("byte 5", 3, "filling"))
    )
    rows = parsed(page(made)).xpath("//section[@aria-labelledby='unread']//tbody/tr")
    assert [[cell.text_content() for cell in row] for row in rows] == [
        ["section 9", "maker's own section", "120"], ["byte 5", "filling", "3"],
    ]  # fmt: skip


def test_very_long_recordings_and_many_channels_are_cut_and_say_so() -> None:
    long = Recording.from_arrays(np.zeros((1, 250 * 600), dtype=np.int16), ("II",), 250)
    data = page(long)
    assert "Of tracing 1 the first 30 s are shown" in words(data)
    assert "0 s to 30 s (recorded until 600 s)" in words(data)
    many = Recording.from_arrays(np.zeros((40, 500), dtype=np.int16), [f"E{n}" for n in range(40)], 500)
    assert "the first 24 of 40 channels are shown" in words(page(many))


def test_nothing_to_draw_is_said() -> None:
    made = Recording.from_arrays(np.zeros((1, 50), dtype=np.int16), ("ABP",), 50, unit="mm[Hg]")
    assert "Not drawn: there is nothing to draw" in words(page(made))


def test_same_bytes_every_time() -> None:
    assert page(everything()) == page(everything())


def test_pages_are_small() -> None:
    assert len(page(twelve_leads())) < 160_000


def test_colours_of_the_style_have_contrast() -> None:
    """WCAG 2.1, 1.4.3: at least 4.5 to 1 on white and on the boxes of leads."""
    colours = dict(re.findall(r"--([a-z]+):(#[0-9a-f]{6})", STYLE))
    for name in ("ink", "soft", "link", "bad", "look"):
        for ground in ("#ffffff", "#e3e9ec", "#efefef"):
            assert _contrast(colours[name], ground) >= 4.5, (name, ground)


def _contrast(first: str, second: str) -> float:
    def light(colour: str) -> float:
        parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
        linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted((light(first), light(second)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_index_of_a_folder() -> None:
    rows = [
        Row(
            "a.scp", "index-0001.html", "SCP-ECG", "Ørwin", "2024-03-18", "Twelve of twelve leads", 0, 1, 2, "verified"
        ),
        Row("b.dcm", "index-0002.html", "DICOM", "x", "y", "no", 1, 0, 0),
        Row(HOSTILE, reason="the file is cut short"),
    ]
    data = index_page(
        HOSTILE, rows, (Finding("set.same-tracing", "note", "a.scp", "the same"),), ("notes.txt", HOSTILE)
    )
    document = sound(data)
    assert [a.get("href") for a in document.xpath("//tbody//a")] == ["index-0001.html", "index-0002.html"]
    said = words(data)
    assert "3 recordings: 1 without errors, 1 with errors, 1 that cannot be read." in said
    assert "Cannot be read: the file is cut short" in said
    assert "notes.txt" in said
    sound(index_page("empty", (), (), ()))


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(full())
def test_whatever_the_model_holds_makes_a_sound_page(made: Recording) -> None:
    sound(page(made))


def test_a_page_in_a_folder_leads_back() -> None:
    data = recording_page(subject(twelve_leads()), back=("index.html", "All recordings of the folder"))
    assert sound(data).xpath("//header//a[@href='index.html']")
