"""True to scale, measured from the files: PDF and SVG in millimetres, PNG in pixels.

Expected lengths follow from the printed convention of the trade: at 25 mm/s and 10 mm/mV a second is 25 mm, a millivolt
10 mm, the calibration pulse (1 mV, 200 ms) 10 mm high and 5 mm wide, a small square 40 ms and 0.1 mV.
"""

from __future__ import annotations

import io

import numpy as np
import pytest

from interchange.draw import DrawOptions, draw
from tests.draw.cases import TWELVE, flat, marker, recording, triangles
from tests.draw.pdf_reader import Sheet, Stroke, read_pdf
from tests.draw.svg_reader import Line, read_svg

TENTH = 0.1
SCALES = [(speed, gain) for speed in (25, 50) for gain in (5, 10, 20)]
TRACE = 0.28
BLACK = (0.0, 0.0, 0.0)


def svg_pages(made, **options):
    return [read_svg(page) for page in draw(made, "svg", DrawOptions(**options))]


def pdf_pages(made, **options) -> list[Sheet]:
    return read_pdf(draw(made, "pdf", DrawOptions(**options))[0])


def size(points: np.ndarray) -> tuple[float, float]:
    wide, high = points.max(axis=0) - points.min(axis=0)
    return float(wide), float(high)


def is_pulse(points: np.ndarray) -> bool:
    """A flat piece, up, a flat top, down, a flat piece: six corners at right angles."""
    return len(points) == 6 and bool(
        (np.diff(points, axis=0).min(axis=1) * np.diff(points, axis=0).max(axis=1) == 0).all()
    )


def pulses(pages: list[Sheet]) -> list[Stroke]:
    return [s for page in pages for s in page.of(TRACE, BLACK) if is_pulse(np.round(s.points, 2))]


def traces(pages: list[Sheet]) -> list[Stroke]:
    return [s for page in pages for s in page.of(TRACE, BLACK) if not is_pulse(np.round(s.points, 2))]


@pytest.mark.parametrize(("paper", "portrait", "expected"), [
    ("a4", False, (297, 210)), ("a4", True, (210, 297)),
    ("letter", False, (279.4, 215.9)), ("letter", True, (215.9, 279.4)),
])  # fmt: skip
def test_page_sizes(paper: str, portrait: bool, expected: tuple[float, float]) -> None:
    made = marker()
    (svg,) = draw(made, "svg", DrawOptions(paper=paper, portrait=portrait))[:1]
    picture = read_svg(svg)
    assert (picture.width, picture.height) == pytest.approx(expected, abs=0.001)
    for page in pdf_pages(made, paper=paper, portrait=portrait):
        assert (page.width, page.height) == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize(("speed", "gain"), SCALES)
def test_calibration_pulse(speed: int, gain: int) -> None:
    expected = (0.2 * speed, gain)
    found = [line for page in svg_pages(marker(), speed=speed, gain=gain) for line in page.of("pulse")]
    assert len(found) >= 4
    for points in (
        *(line.points for line in found),
        *(s.points for s in pulses(pdf_pages(marker(), speed=speed, gain=gain))),
    ):
        top = points[points[:, 1] == points[:, 1].min()]
        assert float(top[:, 0].max() - top[:, 0].min()) == pytest.approx(expected[0], abs=TENTH)
        assert size(points)[1] == pytest.approx(expected[1], abs=TENTH)


def test_calibration_pulse_is_five_by_ten_millimetres() -> None:
    found = pulses(pdf_pages(marker()))
    assert len(found) == 4
    for stroke in found:
        top = stroke.points[np.isclose(stroke.points[:, 1], stroke.points[:, 1].min())]
        assert (np.ptp(top[:, 0]), size(stroke.points)[1]) == pytest.approx((5, 10), abs=0.01)


@pytest.mark.parametrize(("speed", "gain"), SCALES)
def test_a_millivolt_and_a_second(speed: int, gain: int) -> None:
    """One sample of 1 mV at 2 s in an otherwise flat lead II: how high, and where."""
    made = marker("II", at=1000, microvolts=1000)
    for pages, lines in (
        (
            svg_pages(made, speed=speed, gain=gain, layout="12x1"),
            lambda p: [x.points for x in p.of("trace", "lead II,")],
        ),
        (pdf_pages(made, speed=speed, gain=gain, layout="12x1"), lambda p: [x.points for x in traces([p])]),
    ):
        high = [points for page in pages for points in lines(page) if size(points)[1] > 0.5]
        assert len(high) == 1
        peak = high[0][high[0][:, 1].argmin()]
        assert size(high[0])[1] == pytest.approx(gain, abs=TENTH)
        assert float(peak[0] - high[0][0, 0]) == pytest.approx(2 * speed, abs=TENTH)


@pytest.mark.parametrize(("layout", "seconds", "millimetres"), [("3x4", 2.5, 62.5), ("6x2", 5, 125), ("12x1", 10, 250)])
def test_columns_of_the_layouts(layout: str, seconds: float, millimetres: float) -> None:
    pages = svg_pages(triangles(), layout=layout)
    for page in pages:
        for line in page.of("trace"):
            if line.name.startswith("lead II,") and "0 s to 10 s" in line.name:
                assert size(line.points)[0] == pytest.approx(250 - 0.05, abs=0.01)  # the last sample is at 9.998 s
                continue
            begin, end = (float(part.removesuffix(" s")) for part in line.name.split(", ")[1].split(" to "))
            assert end - begin == seconds
            assert size(line.points)[0] == pytest.approx(millimetres, abs=0.06)


def test_ten_seconds_are_250_mm_and_a_sample_a_twentieth() -> None:
    """Ten seconds at 500 samples/s: 5000 samples, 0.05 mm each, in the rhythm row of the PDF."""
    row = max(traces(pdf_pages(triangles())), key=lambda stroke: len(stroke.points))
    assert len(row.points) == 5000
    assert np.diff(row.points[:, 0]) == pytest.approx(0.05, abs=0.001)
    assert size(row.points) == pytest.approx((249.95, 20), abs=0.01)


@pytest.mark.parametrize("kind", ["svg", "pdf"])
def test_grid_of_one_and_five_millimetres(kind: str) -> None:
    made = marker()
    if kind == "svg":
        page = svg_pages(made)[0]
        fine, coarse = ([line.points for line in page.of(role)] for role in ("fine-grid", "coarse-grid"))
    else:
        sheet = pdf_pages(made)[0]
        fine, coarse = [s.points for s in sheet.of(0.1)], [s.points for s in sheet.of(0.2) if s.colour != BLACK]
        coarse = [points for points in coarse if size(points)[0] > 100 or size(points)[1] > 50]
    every = {}
    for name, lines in (("fine", fine), ("coarse", coarse)):
        every[name] = np.array(sorted(points[0, 0] for points in lines if size(points)[0] < 0.001))
    assert np.diff(every["coarse"]) == pytest.approx(5, abs=0.01)
    assert np.diff(np.sort(np.concatenate((every["fine"], every["coarse"])))) == pytest.approx(1, abs=0.01)
    across = np.array(sorted(points[0, 1] for points in coarse if size(points)[1] < 0.001))
    assert np.diff(across) == pytest.approx(5, abs=0.01)


def test_zero_lines_and_pulses_lie_on_the_grid() -> None:
    page = svg_pages(triangles())[0]
    left = min(line.points[0, 0] for line in page.of("coarse-grid"))
    top = min(line.points[:, 1].min() for line in page.of("coarse-grid"))
    for line in page.of("pulse"):
        for x, y in line.points:
            assert (x - left) % 1 == pytest.approx(0, abs=1e-6) or (x - left) % 1 == pytest.approx(1, abs=1e-6)
            assert (y - top) % 1 == pytest.approx(0, abs=1e-6) or (y - top) % 1 == pytest.approx(1, abs=1e-6)


def test_every_extreme_is_at_its_place() -> None:
    """Random samples: every one of them, in every lead, to a hundredth of a millimetre in PDF and SVG."""
    values = np.random.default_rng(5).integers(-1500, 1500, size=(12, 5000))
    made = recording(values)
    pages = svg_pages(made, layout="12x1")
    zero = {}
    for page in pages:
        lows = [line.points[0, 1] for line in page.of("pulse")]
        for line, base in zip(page.of("trace"), lows, strict=True):
            zero[line.name.split(",")[0].removeprefix("lead ")] = (line, base)
    assert list(zero) == list(TWELVE)
    for row, lead in enumerate(TWELVE):
        line, base = zero[lead]
        heights = np.interp(np.arange(5000) * 0.05, line.points[:, 0] - line.points[0, 0], base - line.points[:, 1])
        assert heights == pytest.approx(values[row] / 100, abs=0.011)
    drawn = [stroke.points for stroke in traces(pdf_pages(made, layout="12x1"))]
    assert len(drawn) == 12
    for (line, _), points in zip(zero.values(), drawn, strict=True):
        assert points == pytest.approx(line.points, abs=0.01)


@pytest.mark.parametrize("at", [1, 7777, 159_999, 200_001, 319_998])
def test_no_spike_is_thinned_away(at: int) -> None:
    """32,000 samples per second: a spike of one sample keeps its height and its place."""
    samples = flat(32_000, 10, ("II",))
    samples[0, at], samples[0, at + 1 if at < 300_000 else at - 7] = 2345, -1234
    made = recording(samples, ("II",), 32_000)
    (line,) = svg_pages(made, layout="rows")[0].of("trace")
    base = line.points[0, 1]
    assert float(base - line.points[:, 1].min()) == pytest.approx(23.45, abs=0.01)
    assert float(line.points[:, 1].max() - base) == pytest.approx(12.34, abs=0.01)
    peak = line.points[line.points[:, 1].argmin(), 0] - line.points[0, 0]
    assert float(peak) == pytest.approx(at / 32_000 * 25, abs=0.01)
    assert len(line.points) < 30_000


def test_speed_and_skew_of_a_channel() -> None:
    """A channel that was sampled 40 ms later is drawn one millimetre further right."""
    from dataclasses import replace
    from fractions import Fraction

    made = marker("II", at=1000)
    tracing = made.tracings[0]
    late = replace(tracing.channels[1], skew=Fraction(1, 25))
    moved = made.with_(tracings=(replace(tracing, channels=(tracing.channels[0], late, *tracing.channels[2:])),))
    peaks = []
    for this in (made, moved):
        (line,) = svg_pages(this, layout="12x1")[0].of("trace", "lead II,")
        peaks.append(line.points[line.points[:, 1].argmin(), 0])
    assert peaks[1] - peaks[0] == pytest.approx(1, abs=0.01)


def test_png_pixels() -> None:
    """300 dpi: 11.811 pixels per millimetre, 295.3 per second; the page and the calibration pulse measured."""
    image = pytest.importorskip("PIL.Image")
    pytest.importorskip("matplotlib")
    (data,) = draw(marker(), "png", DrawOptions(dpi=300))
    picture = image.open(io.BytesIO(data)).convert("L")
    assert picture.size == (3508, 2480)
    assert image.open(io.BytesIO(data)).info["dpi"] == pytest.approx((300, 300), abs=0.1)
    page = svg_pages(marker())[0]
    pulse = page.of("pulse")[0].points
    scale = 300 / 25.4
    dark = np.asarray(picture) < 100
    x0, x1 = pulse[2, 0] * scale, pulse[3, 0] * scale
    y0, y1 = pulse[2, 1] * scale, pulse[1, 1] * scale
    assert (x1 - x0, y1 - y0) == pytest.approx((59.06, 118.11), abs=0.1)
    middle = dark[round((y0 + y1) / 2)]
    for edge in (x0, x1):
        found = np.flatnonzero(middle[round(edge) - 8 : round(edge) + 8]) + round(edge) - 8
        assert found.size
        assert float(found.mean()) + 0.5 == pytest.approx(edge, abs=1.2)
    column = dark[:, round((x0 + x1) / 2)]
    top = np.flatnonzero(column[round(y0) - 8 : round(y0) + 8]) + round(y0) - 8
    assert float(top.mean()) + 0.5 == pytest.approx(y0, abs=1.2)


def test_both_writers_say_the_same() -> None:
    made = triangles()
    svg = [line for page in svg_pages(made) for line in page.lines if line.role in ("trace", "pulse")]
    pdf = [stroke for page in pdf_pages(made) for stroke in page.of(TRACE, BLACK)]

    def places(lines: list[Line] | list[Stroke]) -> list[tuple[int, float, float]]:
        return sorted(
            (len(x.points), round(float(x.points[:, 0].min()), 1), round(float(x.points[:, 1].min()), 1)) for x in lines
        )

    assert places(svg) == places(pdf)
