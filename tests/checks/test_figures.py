"""The measures of recording quality on signals whose answer is known by arithmetic."""

from fractions import Fraction

import numpy as np
import pytest

from interchange.checks import CheckConfig, check_recording
from interchange.checks.figures import figures
from interchange.checks.view import look_at
from interchange.model import Channel, Tracing
from tests.checks.build import RATE, TWELVE, leads_of, potentials, recording, tracing, twelve, with_rows


def measured(rows, rate=RATE, step=Fraction(1, 10), missing=None):
    """Figures of rows in uV."""
    codes = np.round(np.atleast_2d(rows) / float(step)).astype(np.int32)
    channels = tuple(Channel(name, step=step) for name in TWELVE[: len(codes)])
    made = recording(Tracing(channels, codes, Fraction(rate), missing))
    return figures(look_at(made, CheckConfig()).strips[0])


def time(seconds=10, rate=RATE):
    return np.arange(int(seconds * rate)) / rate


def test_mains_is_the_root_mean_square_of_the_hum():
    """A sine of amplitude A has the root mean square A / sqrt(2)."""
    t = time()
    found = measured([100 * np.sin(2 * np.pi * 50 * t), 40 * np.sin(2 * np.pi * 60.2 * t + 1)])
    assert found.mains[0, 0] == pytest.approx([100 / np.sqrt(2), 0], abs=1)
    assert found.mains[1, 0] == pytest.approx([0, 40 / np.sqrt(2)], abs=1)


def test_steep_waves_are_no_mains_hum():
    """The spectrum of a QRS is broad: nothing stands out at 50 Hz."""
    found = measured([leads_of(potentials(noise=0.0))["V3"] * 3])
    assert (found.prominence < 2).all()


def test_mains_is_not_looked_for_below_its_rate():
    assert np.isnan(measured([np.sin(time(rate=100))], rate=100).mains).all()


def test_wander_is_the_peak_to_peak_of_the_slow_part():
    t = time()
    found = measured([350 * np.sin(2 * np.pi * 0.3 * t), 350 * np.sin(2 * np.pi * 2 * t)])
    assert found.wander[0, 0] == pytest.approx(700, rel=0.03)
    assert found.wander[1, 0] < 10


def test_wander_leaves_the_heart_out():
    assert measured([leads_of(potentials())["V3"]]).wander[0, 0] < 30


def test_noise_is_the_root_mean_square_of_what_is_fast():
    """White noise of 30 uV over 250 Hz: what is above 20 Hz has nearly all of its power."""
    random = np.random.default_rng(2)
    white = random.normal(scale=30, size=(1, 5000))
    assert measured(white).noise[0, 0] == pytest.approx(30 * np.sqrt((250 - 30) / 250), rel=0.12)


def test_a_tall_qrs_is_no_noise():
    values = leads_of(potentials(noise=0.0))["V3"]
    values *= 5000 / np.ptp(values)
    assert measured([values]).noise[0, 0] < 6


def test_a_fast_heart_is_no_noise():
    t = time()
    beats = sum(2000 * np.exp(-(((t - at) / 0.012) ** 2)) for at in np.arange(0.1, 10, 0.4))
    assert measured([beats]).noise[0, 0] < 6


def test_hum_is_not_counted_as_noise_again():
    assert measured([200 * np.sin(2 * np.pi * 50 * time())]).noise[0, 0] < 1


def test_spike_is_told_with_slope_and_place():
    """1500 uV up and down again within 2 ms each: 750 mV/s."""
    row = np.zeros(5000)
    row[1234] = 1500
    found = measured([row])
    assert found.spike[0, 0] == pytest.approx(750, abs=1)
    assert found.spike_at[0, 0] == pytest.approx(1234 / RATE)


@pytest.mark.parametrize("sign", [1, -1])
def test_spike_of_two_samples_counts_in_both_directions(sign):
    row = np.zeros(5000)
    row[100:102] = sign * 1000
    found = measured([row])
    assert found.spike[0, 0] == pytest.approx(500, abs=1)
    assert found.spike_at[0, 0] == pytest.approx(100 / RATE)


def test_a_steep_step_is_no_spike_and_a_spike_no_step():
    step, spike = np.zeros(5000), np.zeros(5000)
    step[2500:] = 3000
    spike[2500] = 3000
    found = measured([step, spike])
    assert found.spike[0, 0] == 0
    assert found.step[:, 0] == pytest.approx([3000, 0], abs=1)
    assert found.step_at[0, 0] == pytest.approx(5, abs=0.201)


def test_waves_and_wander_are_no_step():
    t = time()
    tall = sum(1500 * np.exp(-(((t - at) / 0.12) ** 2)) for at in np.arange(0.3, 10, 1.0))
    found = measured([tall, 600 * np.sin(2 * np.pi * 0.3 * t)])
    assert found.step[0, 0] < 100
    assert found.step[1, 0] < 500


def test_stretches_of_a_long_tracing_are_told_apart():
    row = np.zeros(RATE * 65)
    row[RATE * 32 : RATE * 42] = 100 * np.sin(2 * np.pi * 50 * time(10))
    found = measured([row])
    assert found.mains.shape == (1, 6, 2)
    assert (found.mains[0, :, 0] > 40).tolist() == [False, False, True, True, False, False] or (
        found.mains[0, :, 0] > 40
    ).sum() in (1, 2)
    assert found.starts[0] == 0


def test_working_in_parts_changes_nothing(monkeypatch):
    from interchange.checks import figures as module

    random = np.random.default_rng(8)
    rows = random.normal(scale=50, size=(3, RATE * 120))
    whole = measured(rows)
    monkeypatch.setattr(module, "_AT_ONCE", 3 * RATE * 10)
    parts = measured(rows)
    for name in ("wander", "mains", "noise", "spike", "spike_at", "step", "step_at"):
        assert np.array_equal(getattr(whole, name), getattr(parts, name), equal_nan=True), name


def test_gaps_are_bridged_and_stretches_that_are_mostly_gap_say_nothing():
    row = np.tile(100 * np.sin(2 * np.pi * 50 * time()), 2)
    mask = np.zeros((1, row.size), dtype=bool)
    mask[0, :3000] = True
    found = measured([row], missing=mask)
    assert np.isnan(found.mains[0, 0]).all()
    assert np.isnan(found.noise[0, 0])
    assert found.mains[0, 1, 0] == pytest.approx(100 / np.sqrt(2), abs=1)
    assert np.isnan(found.low[0, 0])


@pytest.mark.parametrize("length", [1, 2, 3, 7, 49, 50, 4999])
@pytest.mark.parametrize("rate", [Fraction(1, 1000), Fraction(7, 3), Fraction(50), Fraction(32000)])
def test_odd_lengths_and_rates_are_measured_without_complaint(length, rate):
    made = recording(Tracing((Channel("II"), Channel("V1")), np.arange(2 * length).reshape(2, length), rate))
    assert all(finding.reason for finding in check_recording(made))


# --- findings on quality


def only(made, rule):
    return next(f for f in check_recording(made) if f.rule == rule)


def test_flat_stretch_is_told_from_when_to_when():
    def still(values):
        values["V2"][1500:2750] = values["V2"][1500]

    finding = only(with_rows(twelve(), still), "quality.flat-stretch")
    assert finding.place == "tracings[0].channels[7]"
    assert "V2 from 3 s to 5.5 s" in finding.reason


def test_all_leads_still_for_a_moment_is_how_a_slow_clean_rhythm_looks():
    def pause(seconds):
        def still(values):
            for name in TWELVE:
                values[name][1000 : 1000 + int(seconds * RATE)] = 0

        return {f.rule for f in check_recording(with_rows(twelve(), still))}

    assert "quality.flat-stretch" not in pause(2.5)
    assert "quality.flat-stretch" in pause(4)


def test_a_flat_line_is_never_called_anything_but_flat():
    def still(values):
        for name in TWELVE:
            values[name][:] = 0

    finding = only(with_rows(twelve(), still), "quality.no-signal")
    assert "all 12 leads" in finding.reason
    for made in (with_rows(twelve(), still),):
        for f in check_recording(made):
            assert "asystole" not in f.reason.casefold()


def test_disturbance_of_one_stretch_of_many_is_not_told():
    t = time(300)
    row = np.zeros(t.size)
    row[:5000] = 100 * np.sin(2 * np.pi * 50 * t[:5000])
    beats = sum(900 * np.exp(-(((t - at) / 0.02) ** 2)) for at in np.arange(0.3, 300, 0.8))
    few = recording(tracing({"II": beats + row}, ("II",)))
    row[: 5000 * 6] = 100 * np.sin(2 * np.pi * 50 * t[: 5000 * 6])
    many = recording(tracing({"II": beats + row}, ("II",)))
    assert "quality.mains-hum" not in {f.rule for f in check_recording(few)}
    assert "in 6 of 30 stretches" in only(many, "quality.mains-hum").reason


def test_saturation_tells_level_and_place():
    def clip(values):
        values["V5"] = np.clip(values["V5"], None, 400)

    finding = only(with_rows(twelve(), clip), "quality.saturated")
    assert "at 400 uV" in finding.reason
    assert finding.place == "tracings[0].channels[10]"


def test_a_lead_stuck_at_the_end_of_its_range_is_saturated():
    """As after a shock: a smooth way to the rail, nearly two seconds there, a smooth way back."""

    def rail(values):
        t = np.arange(5000) / RATE
        values["V6"] = np.minimum(6000 * np.exp(-(((t - 5) / 1.5) ** 2)), 4000)

    assert "quality.saturated" in {f.rule for f in check_recording(with_rows(twelve(), rail))}


def test_lead_quality_of_the_source_is_carried_in_words():
    from interchange.model import Measurement

    made = twelve(measurements=(Measurement("lead-quality", 0b10_01_00_00_00_00, lead="V3"),))
    finding = only(made, "quality.said-by-source")
    assert finding.reason.endswith("(V3: spikes or jumps, electrode off)")
    clean = twelve(measurements=(Measurement("lead-quality", 0, lead="V3"),))
    assert "quality.said-by-source" not in {f.rule for f in check_recording(clean)}
