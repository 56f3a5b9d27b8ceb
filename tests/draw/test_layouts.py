"""Which lead stands where, what goes on in the next row or page, what is said about what is not there."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fixtures.field import limb_leads, twelve_leads, with_strip
from interchange.draw import DrawOptions, draw
from interchange.errors import UsageError
from interchange.model import Channel, Recording, Tracing
from tests.draw.cases import TWELVE, gappy, marker, one_by_one, recording, several, shifted, sparse, triangles
from tests.draw.svg_reader import Picture, read_svg

SMALL = settings(max_examples=15, deadline=None)


def pages(made: Recording, **options: object) -> list[Picture]:
    return [read_svg(page) for page in draw(made, "svg", DrawOptions(**options))]


def leads(found: list[Picture]) -> list[str]:
    return [line.name.split(",")[0].removeprefix("lead ") for page in found for line in page.of("trace")]


def spans(found: list[Picture], lead: str) -> list[tuple[float, float]]:
    names = [line.name for page in found for line in page.of("trace", f"lead {lead},")]
    return [tuple(float(t.removesuffix(" s")) for t in name.split(", ")[1].split(" to ")) for name in names]


@pytest.mark.parametrize(("options", "expected"), [
    ({}, "I aVR V1 V4 II aVL V2 V5 III aVF V3 V6 II"),
    ({"cabrera": True}, "aVL II V1 V4 I aVF V2 V5 −aVR III V3 V6 II"),
    ({"layout": "6x2", "rhythm": ()}, "I V1 II V2 III V3 aVR V4 aVL V5 aVF V6"),
    ({"layout": "6x2", "cabrera": True, "rhythm": ()}, "aVL V1 I V2 −aVR V3 II V4 aVF V5 III V6"),
    ({"layout": "12x1"}, " ".join(TWELVE)),
    ({"rhythm": ("V1", "II", "V5")}, "I aVR V1 V4 II aVL V2 V5 III aVF V3 V6 V1 II V5"),
    ({"layout": "rows"}, " ".join(TWELVE)),
])  # fmt: skip
def test_order_of_leads_row_by_row(options: dict, expected: str) -> None:
    assert leads(pages(triangles(), **options)) == expected.split()


def test_columns_follow_each_other_in_time() -> None:
    found = pages(triangles())
    assert [spans(found, lead) for lead in ("I", "aVR", "V1", "V4")] == [
        [(0, 2.5)],
        [(2.5, 5)],
        [(5, 7.5)],
        [(7.5, 10)],
    ]
    assert spans(found, "II") == [(0, 2.5), (0, 10)]
    assert "Columns follow each other in time without a gap." in found[0].words
    assert [t.text for t in found[0].texts if t.text.endswith(" s") and t.text[0].isdigit()] == [
        "0 s", "2.5 s", "5 s", "7.5 s", "10 s",
    ]  # fmt: skip
    rows = {lead: found[0].of("trace", f"lead {lead},")[0] for lead in ("I", "aVR", "V1", "V4")}
    ends = [float(rows[lead].points[:, 0].max()) for lead in ("I", "aVR", "V1")]
    starts = [float(rows[lead].points[:, 0].min()) for lead in ("aVR", "V1", "V4")]
    assert starts == pytest.approx(ends, abs=0.06)
    ticks = sorted({round(float(line.points[0, 0]), 2) for line in found[0].of("separator")})
    assert ticks == pytest.approx(starts, abs=0.01)


def test_minus_avr_is_avr_with_its_sign_turned() -> None:
    values = np.random.default_rng(1).integers(-900, 900, size=(12, 5000))
    plain, turned = pages(recording(values), layout="12x1"), pages(recording(values), layout="12x1", cabrera=True)
    heights = []
    for found, name in ((plain, "lead aVR,"), (turned, "lead −aVR,")):
        (line,) = [line for page in found for line in page.of("trace", name)]
        heights.append(line.points[:, 1])
    swing = [float(np.ptp(h)) for h in heights]
    assert swing[0] == pytest.approx(swing[1], abs=0.011)
    assert np.diff(heights[0])[:1000] == pytest.approx(-np.diff(heights[1])[:1000], abs=0.021)
    assert "−aVR is the recorded aVR with its sign turned." in turned[0].words
    stored = pages(recording(values, tuple("-aVR" if lead == "aVR" else lead for lead in TWELVE)))
    assert "aVR is the recorded -aVR with its sign turned." in stored[0].words


@pytest.mark.parametrize("options", [
    {"layout": "12x1"}, {"layout": "12x1", "portrait": True}, {"speed": 50}, {"layout": "6x2", "speed": 50, "gain": 20},
    {"layout": "rows", "speed": 50, "paper": "letter"}, {"portrait": True, "paper": "letter"},
])  # fmt: skip
def test_what_does_not_fit_goes_on_and_nothing_is_lost(options: dict) -> None:
    """Each lead's pieces make up its column without overlap, at one scale, inside the grid of their page."""
    found = pages(triangles(), rhythm=(), **options)
    speed, gain = options.get("speed", 25), options.get("gain", 10)
    columns = {"12x1": 1, "rows": 1, "6x2": 2}.get(options.get("layout", ""), 4)
    for place, lead in enumerate(TWELVE):
        pieces = spans(found, lead)
        step = 10 / columns
        start = place // (12 // columns) * step
        assert pieces[0][0] == pytest.approx(start)
        assert pieces[-1][1] == pytest.approx(start + step)
        assert all(a[1] == pytest.approx(b[0]) for a, b in pairwise(pieces))
    for page in found:
        grid = [line.points for line in page.of("coarse-grid")]
        low, high = np.min([g.min(axis=0) for g in grid], axis=0), np.max([g.max(axis=0) for g in grid], axis=0)
        for line in page.of("trace"):
            begin, end = (float(t.removesuffix(" s")) for t in line.name.split(", ")[1].split(" to "))
            assert np.ptp(line.points[:, 0]) == pytest.approx((end - begin) * speed, abs=0.11)
            assert np.ptp(line.points[:, 1]) == pytest.approx(2 * gain, abs=0.02)
            assert (line.points.min(axis=0) >= low - 0.01).all()
            assert (line.points.max(axis=0) <= high + 0.01).all()


@SMALL
@given(st.integers(0, 2**32 - 1), st.sampled_from([300, 1200, 4000]), st.sampled_from(["3x4", "6x2", "12x1", "rows"]))
def test_rows_never_meet(seed: int, amplitude: int, layout: str) -> None:
    random = np.random.default_rng(seed)
    values = random.integers(-amplitude, amplitude, size=(12, 600)).repeat(5, axis=1)
    values[:, random.integers(0, 3000, size=40)] *= 2
    for page in pages(recording(values), layout=layout):
        rows: dict[float, list[np.ndarray]] = {}
        zeros = sorted({round(float(line.points[0, 1]), 2) for line in page.of("pulse")})
        for line in page.of("trace"):
            high = line.points[:, 1]
            middle = (high.max() + high.min()) / 2
            rows.setdefault(min(zeros, key=lambda z, m=middle: abs(z - m)), []).append(line.points)
        heights = [_heights(rows[zero]) for zero in sorted(rows)]
        for upper, lower in pairwise(heights):
            both = ~(np.isnan(upper) | np.isnan(lower))
            assert (lower[both] - upper[both] > 0.5).all()


def _heights(lines: list[np.ndarray]) -> np.ndarray:
    """The height of a row's lines every hundredth of a millimetre; nothing where there is no line."""
    x = np.arange(0, 300, 0.01)
    found = np.full(x.shape, np.nan)
    for points in lines:
        inside = (x >= points[0, 0]) & (x <= points[-1, 0])
        found[inside] = np.interp(x[inside], points[:, 0], points[:, 1])
    return found


def test_a_lead_that_was_not_recorded_keeps_its_place() -> None:
    found = pages(limb_leads())
    words = found[0].words.split("\n")
    assert words.count("not recorded") == 6
    assert not {"V1", "V2", "V3", "V4", "V5", "V6"} & set(leads(found))
    assert {"V1", "V2", "V3", "V4", "V5", "V6"} <= set(words)


def test_a_lead_that_would_follow_says_so_and_is_not_invented() -> None:
    made = recording(np.zeros((8, 5000), dtype=int), ("I", "II", "V1", "V2", "V3", "V4", "V5", "V6"))
    found = pages(made)
    assert "III" not in leads(found)
    assert found[0].words.split("\n").count("not recorded") == 4
    assert found[0].words.split("\n").count("follows from I, II") == 4


def test_derived_and_reconstructed_leads_say_so() -> None:
    found = pages(shifted())
    assert "III (derived)" in leads(found)
    assert "V4 (reconstructed)" in leads(found)
    assert "Leads marked derived were calculated from others, not recorded." in found[0].words
    assert "Leads marked reconstructed are not exactly what was recorded." in found[0].words


def test_a_line_far_from_zero_is_moved_and_says_so_and_one_beyond_the_strip_too() -> None:
    found = pages(shifted())
    assert "zero line at −12.30 mV" in found[0].words
    assert "beyond the strip: −0.60 to 160.00 mV" in found[0].words
    plain = pages(twelve_leads())
    for lead in ("II", "aVF"):
        moved, kept = (next(line for page in p for line in page.of("trace", f"lead {lead},")) for p in (found, plain))
        assert np.ptp(moved.points[:, 1]) == pytest.approx(np.ptp(kept.points[:, 1]), abs=0.02)


def test_marked_pacing_spikes_are_ticks_at_their_time() -> None:
    found = pages(shifted())
    ticks = [float(line.points[0, 0]) for page in found for line in page.of("mark")]
    zero = min(float(line.points[0, 0]) for line in found[0].of("trace"))
    expected = {round(zero + n / 2 * 25, 2) for n in range(1, 20)}
    assert {round(x, 2) for x in ticks} == expected
    assert "Ticks below a line: pacing spikes that the file marks." in found[0].words


def test_missing_samples_are_gaps() -> None:
    found = pages(gappy())
    ((rhythm_a, rhythm_b),) = [[line.points for line in page.of("trace", "lead II, 0 s to 10 s")] for page in found]
    zero = float(rhythm_a[0, 0])
    assert float(rhythm_a[-1, 0]) - zero == pytest.approx(2999 * 0.05, abs=0.01)
    assert float(rhythm_b[0, 0]) - zero == pytest.approx(3500 * 0.05, abs=0.01)
    assert "V3" not in leads(found)
    assert found[0].words.split("\n").count("no samples") == 4


def test_a_single_sample_between_gaps_is_a_dot() -> None:
    gone = np.ones((1, 500), dtype=bool)
    gone[0, [100, 300]] = False
    made = Recording.from_arrays(np.full((1, 500), 200), ("II",), 500, missing=gone)
    dots = [line.points for page in pages(made) for line in page.of("trace")]
    assert [len(np.unique(points, axis=0)) for points in dots] == [1, 1]
    assert float(dots[1][0, 0] - dots[0][0, 0]) == pytest.approx(10, abs=0.01)


def test_further_tracings_have_rows_of_their_own() -> None:
    found = pages(with_strip())
    assert spans(found, "II") == [(0, 2.5), (0, 10), (11, 21.8), (21.8, 24)]
    assert "Tracing 2 of 2: 11 s to 24 s, 500 samples/s, rhythm strip" in "\n".join(page.words for page in found)
    words = "\n".join(page.words for page in pages(several()))
    assert "Tracing 3: representative beat of tracing 1, beat type 0, 500 samples/s" in words
    assert "Not drawn: ABP (no voltage: mm[Hg]), Pads (not calibrated)." in words


def test_an_uncalibrated_lead_is_never_drawn_to_an_invented_scale() -> None:
    made = twelve_leads()
    tracing = made.tracings[0]
    rows = tuple(replace(c, unit=None) if c.name == "V2" else c for c in tracing.channels)
    found = pages(made.with_(tracings=(replace(tracing, channels=rows),)))
    assert "V2" not in leads(found)
    assert "not calibrated" in found[0].words.split("\n")


def test_leads_recorded_one_after_the_other_do_not_look_consecutive() -> None:
    found = pages(one_by_one())
    assert [spans(found, lead) for lead in ("I", "aVR", "V1", "V4")] == [
        [(0, 2.5)],
        [(3, 5.5)],
        [(6, 8.5)],
        [(9, 11.5)],
    ]
    assert "not recorded" not in found[0].words
    assert "The columns were recorded one after the other" in found[0].words
    row = [found[0].of("trace", f"lead {lead},")[0].points for lead in ("I", "aVR")]
    assert float(row[1][0, 0] - row[0][-1, 0]) > 4


@pytest.mark.parametrize(("rate", "length", "expected"), [
    (500, 4000, [(0, 2), (2, 4), (4, 6), (6, 8)]),  # eight seconds: shorter columns, none is empty
    (500, 5120, [(0, 2.5), (2.5, 5), (5, 7.5), (7.5, 10.24)]),  # a little more: the last column takes it
    (500, 1500, [(0, 3), (0, 3), (0, 3), (0, 3)]),  # too short for columns: all of the same time
])  # fmt: skip
def test_columns_of_other_lengths(rate: int, length: int, expected: list) -> None:
    made = recording(np.zeros((12, length), dtype=int), rate=rate)
    found = pages(made, rhythm=())
    assert [spans(found, lead)[0] for lead in ("I", "aVR", "V1", "V4")] == expected


def test_long_recordings_go_on_block_by_block_with_every_second_drawn() -> None:
    made = recording(np.zeros((12, 500 * 25), dtype=int))
    found = pages(made)
    rhythm = [span for span in spans(found, "II") if span[1] - span[0] > 2.5]
    assert rhythm == [(0, 10), (10, 20), (20, 25)]
    assert spans(found, "V6") == [(7.5, 10), (17.5, 20)]


def test_a_stretch_on_request_and_a_refusal_of_far_too_much() -> None:
    made = recording(np.zeros((1, 250 * 3600), dtype=int), ("II",), 250)
    with pytest.raises(UsageError, match="too many pages"):
        draw(made, "svg", DrawOptions(most_pages=5))
    found = pages(made, start=Fraction(1800), seconds=Fraction(20))
    assert spans(found, "II")[0][0] == 1800
    assert spans(found, "II")[-1][1] == 1820
    assert "1800 s to 1820 s (recorded until 3600 s)" in found[0].words
    with pytest.raises(UsageError, match="nothing to draw"):
        draw(made, "svg", DrawOptions(start=Fraction(4000)))


def test_extra_leads_follow_the_twelve() -> None:
    names = (*TWELVE, "V4R", "V8", "V9")
    found = pages(recording(np.zeros((15, 5000), dtype=int), names))
    assert leads(found)[-3:] == ["V4R", "V8", "V9"]
    assert spans(found, "V4R") == [(0, 2.5)]


def test_rhythm_row_by_what_is_there() -> None:
    assert leads(pages(marker()))[-1] == "II"
    only_chest = recording(np.zeros((6, 5000), dtype=int), TWELVE[6:])
    assert leads(pages(only_chest))[-1] == "V1"
    with pytest.raises(UsageError, match="no such lead"):
        draw(marker(), "svg", DrawOptions(rhythm=("V9",)))


def test_few_leads_stand_below_each_other() -> None:
    found = pages(sparse())
    assert leads(found) == ["II", "II"]
    assert "not recorded" not in found[0].words


def test_channels_of_another_unit_alone_are_nothing_to_draw() -> None:
    tracing = Tracing((Channel("ABP", "mm[Hg]"),), np.zeros((1, 100), dtype=np.int16), Fraction(100))
    with pytest.raises(UsageError, match="nothing to draw"):
        draw(Recording(tracings=(tracing,)), "svg")
    with pytest.raises(UsageError, match="nothing to draw"):
        draw(Recording(), "svg")
