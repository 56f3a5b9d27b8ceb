"""The page as it is seen: in a headless Chromium on a desktop, on a phone, on paper."""

from __future__ import annotations

import re
import shutil
import subprocess
from itertools import pairwise
from pathlib import Path

import pytest

from fixtures.field import limb_leads, with_strip
from interchange.report.index import Row, index_page
from tests.everything import everything
from tests.report.browser import Browser
from tests.report.made import ARABIC, HOSTILE, LONG, page, with_text

DESKTOP, PHONE = (1280, 900), (390, 844)

# Elements that are wider than the window and do not scroll by themselves.
TOO_WIDE = """
[...document.querySelectorAll('body *')].filter(e => {
  if (e.closest('.scroll') && !e.matches('.scroll') || e.closest('.skip')) return false;
  const r = e.getBoundingClientRect(); return r.width > 0 && r.right > innerWidth + 1;
}).map(e => e.outerHTML.slice(0, 120))
"""

# Texts with less contrast than 4.5 to 1 (WCAG 2.1, 1.4.3), by the colours that the browser uses.
FAINT = """
(() => {
  const rgb = c => {
    const m = c.match(/[\\d.]+/g).map(Number);
    return m.length > 3 && m[3] === 0 ? null : m.slice(0, 3);
  };
  const linear = x => (x /= 255) <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4;
  const light = c => 0.2126 * linear(c[0]) + 0.7152 * linear(c[1]) + 0.0722 * linear(c[2]);
  const found = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement;
    if (!walk.currentNode.textContent.trim() || e.closest('svg') && e.tagName !== 'text') continue;
    let ground = null;
    for (let at = e; at && !ground; at = at.parentElement) ground = rgb(getComputedStyle(at).backgroundColor);
    const style = getComputedStyle(e), ink = rgb(e.closest('svg') ? style.fill : style.color);
    const [a, b] = [light(ink), light(ground || [255, 255, 255])].sort((x, y) => y - x);
    if ((a + 0.05) / (b + 0.05) < 4.5) found.push(e.textContent.slice(0, 60));
  }
  return found;
})()
"""


def written(tmp_path: Path, data: bytes) -> Path:
    path = tmp_path / "page.html"
    path.write_bytes(data)
    return path


def long_name():
    return with_text(LONG)


def right_to_left():
    return with_text(ARABIC)


def hostile():
    return with_text(HOSTILE)


MADE = [with_strip, limb_leads, everything, long_name, right_to_left, hostile]


@pytest.mark.parametrize("make", MADE)
@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_nothing_is_asked_for_and_nothing_goes_wrong(browser: Browser, tmp_path: Path, make, size) -> None:
    path = written(tmp_path, page(make()))
    browser.open(path, *size, phone=size is PHONE)
    assert browser.problems() == []
    assert browser.requests() == [path.resolve().as_uri()]
    assert browser.ask("document.documentElement.scrollWidth <= innerWidth")
    assert browser.ask(TOO_WIDE) == []
    assert browser.ask(FAINT) == []
    assert browser.ask("document.querySelectorAll('svg').length") >= 1
    height = browser.ask(
        "Math.min(...[...document.querySelectorAll('svg text')].map(t => t.getBoundingClientRect().height))"
    )
    assert height > 6


def test_a_screen_reader_is_told_what_is_what(browser: Browser, tmp_path: Path) -> None:
    browser.open(written(tmp_path, page(with_strip())))
    told = browser.tree()
    headings = [(node["level"], node["name"]) for node in told if node["role"] == "heading"]
    assert headings[0] == (1, "Ørwin, Tessaly")
    assert [name for level, name in headings if level == 2] == [
        "Check", "Leads", "Tracing", "Measurements", "Statements", "Marks", "Recording", "Not read", "Cautions",
    ]  # fmt: skip
    for role in ("table", "figure", "image", "region", "navigation", "link"):
        found = [node["name"] for node in told if node["role"] == role]
        assert found
        assert all(found), role
    pictures = [node["name"] for node in told if node["role"] == "image"]
    assert pictures == [
        "Tracing 1 of 2: 0 s to 10 s, 500 samples/s",
        "Tracing 2 of 2: 11 s to 24 s, 500 samples/s, rhythm strip",
    ]


def test_everything_can_be_reached_with_the_keyboard(browser: Browser, tmp_path: Path) -> None:
    browser.open(written(tmp_path, page(with_strip())), *PHONE, phone=True)
    browser.call("Page.bringToFront")
    wanted = browser.ask("document.querySelectorAll('a[href], [tabindex=\"0\"]').length")
    seen = set()
    for _ in range(wanted + 1):
        for kind in ("keyDown", "keyUp"):
            browser.call("Input.dispatchKeyEvent", type=kind, key="Tab", code="Tab", windowsVirtualKeyCode=9)
        seen.add(
            browser.ask(
                "document.activeElement.getAttribute('aria-label') || document.activeElement.textContent.slice(0, 40)"
            )
        )
        if len(seen) == 1:
            assert browser.ask("document.activeElement.matches('.skip') && document.activeElement.offsetWidth > 0")
    assert "To the content" in seen
    assert "Tracing 1 of 2: 0 s to 10 s, 500 samples/s" in seen
    assert "J point and ST levels per lead" in seen


def test_the_tracing_scrolls_on_a_phone_at_a_size_that_can_be_read(browser: Browser, tmp_path: Path) -> None:
    browser.open(written(tmp_path, page(with_strip())), *PHONE, phone=True)
    inner, outer = browser.ask("(e => [e.scrollWidth, e.clientWidth])(document.querySelector('.picture'))")
    assert outer <= 390
    assert inner > 900


def test_right_to_left_names_keep_to_themselves(browser: Browser, tmp_path: Path) -> None:
    browser.open(written(tmp_path, page(right_to_left())))
    assert browser.ask("document.querySelector('h1').textContent") == ARABIC
    assert browser.ask("getComputedStyle(document.body).direction") == "ltr"


def test_print_is_true_to_scale_and_keeps_pictures_whole(browser: Browser, tmp_path: Path) -> None:
    """A large square of the printed page measures 5 mm, by poppler's reading of the browser's PDF."""
    if not shutil.which("pdftocairo"):
        pytest.skip("poppler-utils is not installed")
    browser.open(written(tmp_path, page(with_strip())))
    pdf, svg = tmp_path / "p.pdf", tmp_path / "p.svg"
    pdf.write_bytes(browser.printed())
    told = subprocess.run(["pdfinfo", pdf], capture_output=True, text=True, check=True).stdout
    count = int(re.search(r"Pages:\s+(\d+)", told)[1])
    wide, high = (float(v) for v in re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", told).groups())
    assert wide > high
    steps = []
    for number in range(1, count + 1):
        subprocess.run(["pdftocairo", "-svg", "-f", str(number), "-l", str(number), pdf, svg], check=True)
        steps += _square_steps(svg.read_text())
    assert steps
    for step in steps:
        assert step == pytest.approx(5, abs=0.05)


def _square_steps(svg: str) -> list[float]:
    """Distances between the upright lines of the coarse grid in millimetres."""
    scale = 25.4 / 72
    found = []
    for tag in re.findall(r"<path[^>]*>", svg):
        if "88.6" not in tag and "#e2a09a" not in tag.lower():
            continue
        matrix = re.search(r'transform="matrix\(([^)]*)\)"', tag)
        a, _, _, _, e, _ = (float(v) for v in matrix[1].replace(",", " ").split()) if matrix else (1, 0, 0, 1, 0, 0)
        lines = re.findall(r"M ([\d.-]+) ([\d.-]+) L ([\d.-]+) ([\d.-]+)", tag)
        upright = sorted({round((float(x) * a + e) * scale, 3) for x, y, x2, y2 in lines if x == x2 and y != y2})
        found += [b - c for c, b in pairwise(upright)]
    return found


def test_the_index_on_desktop_and_phone(browser: Browser, tmp_path: Path) -> None:
    rows = [
        Row(f"{ARABIC if n % 2 else LONG}.scp", f"i-{n}.html", "SCP-ECG", LONG, "now", "Twelve of twelve", n, n, n)
        for n in range(4)
    ]
    path = written(tmp_path, index_page(LONG, rows, (), ("other.txt",)))
    for size in (DESKTOP, PHONE):
        browser.open(path, *size, phone=size is PHONE)
        assert browser.problems() == []
        assert browser.requests() == [path.resolve().as_uri()]
        assert browser.ask("document.documentElement.scrollWidth <= innerWidth")
        assert browser.ask(TOO_WIDE) == []
        assert browser.ask(FAINT) == []
