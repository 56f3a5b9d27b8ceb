"""The configuration of a site: what it changes, and what it refuses."""

from fractions import Fraction

import pytest

from interchange.checks import CheckConfig, build_report, check_recording, load_config
from interchange.errors import UsageError
from interchange.findings import Finding
from interchange.model import Moment, Quantity
from tests.checks.build import KNOWN, LIMB, leads_of, measured, potentials, recording, tracing, twelve
from tests.checks.samples import acquired, lasting, patient

FULL = """
expect = "standard-12"
off = ["time.no-zone", "people.*"]

[severity]
"quality.short" = "error"
"wfdb.units-spelling" = "note"

[device-defaults]
ages = [50, "30 d", 0.5]
sexes = ["male"]
birth-dates = [1970-01-01, "1950"]
dates = [2005-01-01]
placeholders = ["Crew Training"]

[limits]
qt-interval = {usual = [250, 600]}
"j-amplitude per lead" = {possible = [-5000, 5000.5]}

[thresholds]
noise = 12.5
duration = 8
"""


def rules(made, config):
    return {finding.rule for finding in check_recording(made, config)}


def test_everything_that_can_be_set_is_read():
    config = load_config(FULL)
    assert config.expect == "standard-12"
    assert config.off == {"time.no-zone", "people.*"}
    assert config.severities == {"quality.short": "error", "wfdb.units-spelling": "note"}
    assert config.defaults.ages == (Quantity(50, "a"), Quantity(30, "d"), Quantity(Fraction(1, 2), "a"))
    assert config.defaults.sexes == ("male",)
    assert config.defaults.birth_dates == (Moment(1970, 1, 1), Moment(1950))
    assert config.defaults.dates == (Moment(2005, 1, 1),)
    assert config.defaults.placeholders == ("Crew Training",)
    limit = config.limit("qt-interval", "global")
    assert limit is not None
    assert (limit.usual, limit.possible) == ((250, 600), (80, 1200))
    limit = config.limit("j-amplitude", "per lead")
    assert limit is not None
    assert (limit.usual, limit.possible) == ((-500, 1000), (-5000, Fraction("5000.5")))
    assert config.exact("noise") == Fraction(25, 2)
    assert config.exact("wander") == 1000
    assert config.now is None


def test_nothing_said_is_the_default():
    assert load_config("") == CheckConfig()


def test_rules_are_switched_off_one_by_one_and_by_area():
    made = acquired(time=None).with_(patient=type(KNOWN)())
    assert {"time.not-said", "people.no-identity", "people.no-sex"} <= rules(made, CheckConfig())
    assert rules(made, load_config('off = ["people.*"]')) == {"time.not-said"}
    assert "time.not-said" not in rules(made, load_config('off = ["time.not-said"]'))


def test_severity_is_changed_for_findings_of_formats_too():
    outside = Finding("wfdb.units-spelling", "warning", "line 2", "units are spelt otherwise")
    report = build_report(lasting(9), (outside,), None, load_config(FULL))
    found = {finding.rule: finding.severity for finding in report.findings}
    assert "quality.short" not in found  # the threshold is 8 s there
    assert found["wfdb.units-spelling"] == "note"
    report = build_report(lasting(7), (outside,), None, load_config(FULL))
    assert {f.rule: f.severity for f in report.findings}["quality.short"] == "error"
    assert report.status == 1


def test_expected_lead_set_of_the_site():
    made = recording(tracing(leads_of(potentials()), LIMB))
    assert "leads.incomplete" in rules(made, load_config('expect = "standard-12"'))


@pytest.mark.parametrize(
    ("made", "text"),
    [
        (patient(birth_date=None, age=Quantity(50, "a")), "ages = [50]"),
        (patient(birth_date=None, age=Quantity(9, "d")), 'ages = ["9 d"]'),
        (patient(sex="female"), 'sexes = ["female"]'),
        (patient(age=None, birth_date=Moment(1971, 3, 9)), "birth-dates = [1971-03-09]"),
    ],
)
def test_defaults_of_devices_ship_empty_and_are_filled_in_by_the_site(made, text):
    assert "people.device-default" not in rules(made, CheckConfig())
    assert "people.device-default" in rules(made, load_config(f"[device-defaults]\n{text}"))


def test_a_default_of_another_unit_is_another_value():
    made = patient(birth_date=None, age=Quantity(50, "d"))
    assert "people.device-default" not in rules(made, load_config("[device-defaults]\nages = [50]"))


def test_start_of_a_devices_clock_and_its_placeholders():
    made = acquired(time=Moment(2005, 1, 1, 8, 0, Fraction(0), 0))
    assert "time.clock-start" not in rules(made, CheckConfig())
    assert "time.clock-start" in rules(made, load_config("[device-defaults]\ndates = [2005-01-01]"))
    from interchange.model import PersonName

    named = patient(name=PersonName(family="Training", given="Crew"))
    assert "people.placeholder-identity" not in rules(named, CheckConfig())
    assert "people.placeholder-identity" in rules(
        named, load_config('[device-defaults]\nplaceholders = ["crew training"]')
    )


def test_limits_of_the_site():
    made = twelve(measurements=measured(qt_interval=620))
    assert "plausibility.unusual-value" not in rules(made, CheckConfig())
    assert "plausibility.unusual-value" in rules(made, load_config("[limits]\nqt-interval = {usual = [250, 600]}"))


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("expect = [", ""),
        ("colour = 1", "colour"),
        ('expect = "standard-13"', "expect"),
        ("expect = 12", "expect"),
        ('off = "time.no-zone"', "off"),
        ("off = [1]", "off"),
        ('off = ["time"]', "off"),
        ('off = ["*.*", " time.no-zone"]', "off"),
        ('severity = "note"', "severity"),
        ('[severity]\n"quality.short" = "loud"', "severity.quality.short"),
        ('[severity]\n"quality.*" = "note"', "severity"),
        ("[device-defaults]\nnames = []", "device-defaults.names"),
        ("[device-defaults]\nages = 50", "device-defaults.ages"),
        ("[device-defaults]\nages = [true]", "device-defaults.ages"),
        ('[device-defaults]\nages = ["fifty"]', "device-defaults.ages"),
        ('[device-defaults]\nages = ["50 years"]', "device-defaults.ages"),
        ('[device-defaults]\nages = ["1e999999999 a"]', "device-defaults.ages"),
        ("[device-defaults]\ndates = [14:00:00]", "device-defaults.dates"),
        ('[device-defaults]\ndates = ["01.02.2005"]', "device-defaults.dates"),
        ('[device-defaults]\ndates = "2005-01-01"', "device-defaults.dates"),
        ("[limits]\nbeat-count = {usual = [0, 1]}", "limits.beat-count"),
        ("[limits]\nqt-interval = [0, 1]", "limits.qt-interval"),
        ("[limits]\nqt-interval = {normal = [0, 1]}", "limits.qt-interval"),
        ("[limits]\nqt-interval = {usual = [600, 250]}", "limits.qt-interval"),
        ("[limits]\nqt-interval = {usual = [250]}", "limits.qt-interval"),
        ("[thresholds]\nloudness = 1", "thresholds.loudness"),
        ("[thresholds]\nnoise = -1", "thresholds.noise"),
        ('[thresholds]\nnoise = "1"', "thresholds.noise"),
        ("[thresholds]\nnoise = nan", ""),
        ("[thresholds]\nnoise = 1e999999999", ""),
        ("a = " + "[" * 5000, ""),
    ],
)
def test_what_makes_no_sense_is_refused_with_its_place(text, place):
    with pytest.raises(UsageError) as error:
        load_config(text)
    assert error.value.place == place
    assert error.value.status == 2
