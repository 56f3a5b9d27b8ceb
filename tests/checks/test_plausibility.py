"""Measurements and marks against limits, against each other and against the waveform."""

from fractions import Fraction

import numpy as np
import pytest

from interchange.checks import CheckConfig, check_recording
from interchange.checks.levels import level_at
from interchange.checks.marks import beat_instants
from interchange.checks.view import look_at
from interchange.model import Mark, Measurement
from tests.checks.build import BEAT_BOUNDS, RATE, beat_marks, levels, measured, twelve, with_beat

PLAUSIBLE = measured(
    heart_rate=75, rr_interval=800, p_duration=104, pr_interval=160, qrs_duration=92, qt_interval=384, qtc_bazett=429,
    p_axis=50, qrs_axis=45, t_axis=38,
)  # fmt: skip


def findings(made):
    return [f for f in check_recording(made) if f.rule.startswith("plausibility.")]


def rules(made):
    return {f.rule for f in findings(made)}


def test_measurements_that_agree_bring_up_nothing():
    assert findings(twelve(measurements=PLAUSIBLE, marks=beat_marks())) == []


def test_absent_values_are_no_values():
    absent = tuple(Measurement(m.concept, None, m.unit, absent="not-measured") for m in PLAUSIBLE)
    assert findings(twelve(measurements=absent)) == []


@pytest.mark.parametrize(
    ("values", "rule"),
    [
        ({"heart_rate": 800}, "impossible-value"),  # an RR interval as a rate
        ({"rr_interval": Fraction("0.8")}, "impossible-value"),  # seconds
        ({"qrs_duration": 9}, "impossible-value"),  # samples
        ({"qrs_axis": 999}, "impossible-value"),  # no direction
        ({"qrs_axis": 32767}, "impossible-value"),
        ({"qrs_axis": 270}, "unusual-value"),  # another way of counting
        ({"qrs_axis": -180}, None),
        ({"heart_rate": 260}, "unusual-value"),
        ({"heart_rate": 25}, None),
        ({"pr_interval": 380}, None),  # a long one is an illness, not a fault
    ],
)
def test_limits(values, rule):
    found = rules(twelve(measurements=measured(**values)))
    assert found == ({f"plausibility.{rule}"} if rule else set())


def test_a_value_in_another_unit_is_not_held_against_the_limits():
    assert rules(twelve(measurements=(Measurement("qt-interval", Fraction(2, 5), "s"),))) == set()


def test_leads_of_one_concept_are_told_together():
    (finding,) = findings(twelve(measurements=levels("st-amplitude-60", V1=5000, V2=4000, V3=100)))
    assert finding.rule == "plausibility.impossible-value"
    assert finding.reason.endswith("(st-amplitude-60: V1 5000, V2 4000 uV)")
    assert finding.place == "measurements"


def test_one_value_is_told_with_its_place():
    (finding,) = findings(
        twelve(measurements=measured(p_duration=90, pr_interval=160, qrs_duration=90, qt_interval=4000))
    )
    assert finding.place == "measurements[3]"


def test_the_name_of_an_unknown_lead_is_not_quoted():
    (finding,) = findings(twelve(measurements=(Measurement("j-amplitude", 9000, "uV", lead="Okafor"),)))
    assert "Okafor" not in finding.reason


def test_qt_may_not_be_shorter_than_qrs():
    assert "plausibility.interval-order" in rules(twelve(measurements=measured(qt_interval=100, qrs_duration=120)))


def test_corrected_qt_may_rest_on_the_rr_or_on_the_rate():
    """RR 870 ms is 68.97 /min; QTc of QT 400 is 428.8 by the RR and 425.8 by a rate of 68 (Bazett)."""
    for value in (429, 426):
        made = twelve(measurements=measured(heart_rate=68, rr_interval=870, qt_interval=400, qtc_bazett=value))
        assert "plausibility.qtc-formula" not in rules(made)
    made = twelve(measurements=measured(heart_rate=68, rr_interval=870, qt_interval=400, qtc_bazett=440))
    assert "plausibility.qtc-formula" in rules(made)


def test_corrected_qt_needs_qt_and_a_rate():
    assert rules(twelve(measurements=measured(qtc_bazett=600, qt_interval=400))) == set()
    assert rules(twelve(measurements=measured(qtc_bazett=600, heart_rate=60))) == set()


def test_measurements_of_other_beats_are_not_mixed():
    first = measured(qt_interval=400, qrs_duration=90)
    second = (Measurement("qrs-duration", 410, "ms", beat=1), Measurement("qt-interval", 480, "ms", beat=1))
    assert "plausibility.interval-order" not in rules(twelve(measurements=(*first, *second)))


def test_per_lead_durations_are_no_global_ones():
    """A global QRS of 98 ms and one of 84 ms in lead II can both be right."""
    mixed = (*measured(qrs_duration=98, qt_interval=380), Measurement("qt-interval", 90, "ms", lead="II"))
    assert rules(twelve(measurements=mixed)) == set()


def test_axis_is_compared_only_where_there_is_a_direction():
    small = (*measured(qrs_axis=-100), *levels("r-amplitude", I=100, aVF=100))
    assert rules(twelve(measurements=small)) == set()
    large = (*measured(qrs_axis=-100), *levels("r-amplitude", I=900, aVF=900))
    assert rules(twelve(measurements=large)) == {"plausibility.qrs-axis"}


# --- marks


def test_heart_rate_against_beats_of_each_annotator():
    good = beat_marks(concept="normal-beat", group="reference")
    bad = beat_marks(concept="normal-beat", gap=0.5, group="detector")
    made = twelve(measurements=measured(heart_rate=75), marks=(*good, *bad))
    (finding,) = [f for f in findings(made) if f.rule == "plausibility.rate-and-beats"]
    assert "75 /min stated, 120 /min by 12 beats" in finding.reason


def test_rr_interval_stands_in_for_a_rate():
    made = twelve(measurements=measured(rr_interval=500), marks=beat_marks())
    assert "plausibility.rate-and-beats" in rules(made)


def test_beats_in_groups_of_their_own_are_beats_of_one_annotator():
    marks = tuple(
        mark
        for at in range(6)
        for mark in (
            Mark("qrs-onset", 0, Fraction(4 + 8 * at, 10), group=f"beat {at}"),
            Mark("qrs-offset", 0, Fraction(5 + 8 * at, 10), group=f"beat {at}"),
        )
    )
    ((tracing, instants),) = beat_instants(look_at(twelve(marks=marks), CheckConfig()))
    assert tracing == 0
    assert instants == [Fraction(4 + 8 * at, 10) for at in range(6)]


def test_three_beats_are_too_few_and_premature_ones_are_allowed_for():
    assert "plausibility.rate-and-beats" not in rules(
        twelve(measurements=measured(heart_rate=150), marks=beat_marks(count=3))
    )
    marks = [*beat_marks(count=6), *beat_marks(first=4.9, count=6, gap=0.3)]
    made = twelve(measurements=measured(heart_rate=75), marks=tuple(marks))
    found = [f for f in findings(made) if f.rule == "plausibility.rate-and-beats"]
    gaps = np.diff([float(m.start) for m in marks])
    nearest = min((60 / gaps.mean(), 60 / np.median(gaps)), key=lambda rate: abs(rate - 75))
    assert bool(found) == (abs(nearest - 75) > max(0.1 * nearest, 5))


def test_marks_of_one_lead_are_no_beats():
    made = twelve(measurements=measured(heart_rate=150), marks=beat_marks(lead="II"))
    assert "plausibility.rate-and-beats" not in rules(made)


def test_marks_outside_are_counted_and_the_first_is_named():
    marks = (*beat_marks(), Mark("r-peak", 0, Fraction(-1)), Mark("note", 7, Fraction(0)))
    (finding,) = [f for f in findings(twelve(marks=marks)) if f.rule == "plausibility.mark-outside"]
    assert finding.place == "marks[12]"
    assert finding.reason.endswith("(2 of 14 marks)")


def test_intervals_of_the_representative_beat_against_its_marks():
    """P 100 ms, PR 160 ms, QRS 90 ms, QT 380 ms by the marks."""
    good = measured(p_duration=100, pr_interval=160, qrs_duration=90, qt_interval=380)
    assert rules(with_beat(twelve(), measurements=good)) == set()
    bad = measured(p_duration=100, pr_interval=160, qrs_duration=90, qt_interval=420)
    (finding,) = findings(with_beat(twelve(), measurements=bad))
    assert finding.rule == "plausibility.interval-and-marks"
    assert finding.reason.endswith("(qt-interval 420 ms, by the marks 380 ms)")


def test_marks_per_lead_make_the_global_bounds():
    """From the earliest onset to the latest end in any lead (AHA/ACC/HRS part I)."""
    marks = (
        Mark("qrs-onset", 1, Fraction(260, 1000), lead="I"),
        Mark("qrs-onset", 1, Fraction(270, 1000), lead="II"),
        Mark("qrs-offset", 1, Fraction(340, 1000), lead="I"),
        Mark("qrs-offset", 1, Fraction(350, 1000), lead="II"),
    )
    made = with_beat(twelve(), bounds={}, measurements=measured(qrs_duration=90)).with_(marks=marks)
    assert rules(made) == set()
    made = made.with_(measurements=measured(qrs_duration=40))
    assert rules(made) == {"plausibility.interval-and-marks"}


def test_spans_say_bounds_as_points_do():
    marks = (Mark("qrs-complex", 1, Fraction(260, 1000), Fraction(350, 1000)),)
    made = with_beat(twelve(), bounds={}, measurements=measured(qrs_duration=150)).with_(marks=marks)
    assert rules(made) == {"plausibility.interval-and-marks"}


# --- J level against the waveform


def test_level_is_read_at_the_mark_against_the_onset():
    samples = np.concatenate([np.full(100, 40.0), np.full(50, 900.0), np.full(100, 165.0)])
    level = level_at(samples, Fraction(RATE), Fraction(198, 1000), Fraction(320, 1000))
    assert level is not None
    assert (level.value, level.low, level.high) == pytest.approx((125, 125, 125))


def test_level_of_a_steep_place_leaves_room_for_other_instants():
    samples = np.concatenate([np.zeros(100), np.arange(0, 100, 2.0), np.full(100, 100.0)])
    level = level_at(samples, Fraction(RATE), Fraction(199, 1000), Fraction(240, 1000))
    assert level is not None
    assert level.low < level.value < level.high


@pytest.mark.parametrize("onset", [Fraction(-1), Fraction(5, 1000), Fraction(2)])
def test_no_level_where_there_are_no_samples(onset):
    assert level_at(np.zeros(500), Fraction(RATE), onset, Fraction(1, 2)) is None


@pytest.mark.parametrize(
    ("stored", "hint"),
    [(100, None), (145, None), (-100, "with the sign changed"), (300, ""), (1, "as millimetres at 10 mm/mV")],
)
def test_stored_level_against_a_waveform_that_stands_at_100_microvolts(stored, hint):
    made = with_beat(twelve(), level=100, measurements=levels("j-amplitude", I=stored))
    found = [f for f in findings(made) if f.rule == "plausibility.j-level"]
    if hint is None:
        assert found == []
    else:
        assert f"I {stored} uV, the waveform 100 uV" in found[0].reason
        assert found[0].reason.endswith(f"(fits {hint}))") if hint else "fits" not in found[0].reason
        assert found[0].place == "tracings[1]"


def test_millivolts_stored_as_microvolts_are_recognised():
    made = with_beat(twelve(), level=400, measurements=levels("j-amplitude", I=Fraction("0.4")))
    (finding,) = [f for f in findings(made) if f.rule == "plausibility.j-level"]
    assert "fits as millivolts" in finding.reason


def test_levels_of_the_rhythm_are_the_median_of_its_beats():
    """Without a representative beat the marked beats of the rhythm are used; one odd beat decides nothing."""
    from tests.checks.build import recording, tracing

    t = np.arange(5000)
    row = np.zeros(5000)
    marks = []
    for beat in range(12):
        start = 150 + 400 * beat
        row[start + 10 : start + 40] += 800
        row[(t >= start + 45) & (t < start + 200)] += 1000 if beat == 3 else 200
        marks.append(Mark("qrs-onset", 0, Fraction(start, RATE)))
        marks.append(Mark("qrs-offset", 0, Fraction(start + 52, RATE)))
    made = recording(tracing({"V2": row}, ("V2",)), marks=tuple(marks))
    good = made.with_(measurements=levels("j-amplitude", V2=200))
    bad = made.with_(measurements=levels("j-amplitude", V2=-200))
    assert "plausibility.j-level" not in rules(good)
    assert "plausibility.j-level" in rules(bad)


def test_bounds_of_the_build_are_in_order():
    assert list(BEAT_BOUNDS.values()) == sorted(BEAT_BOUNDS.values())
