"""Patient and time: near misses, and what may not be flagged."""

from dataclasses import replace
from fractions import Fraction

import pytest

from interchange.checks import CheckConfig, DeviceDefaults, check_recording
from interchange.checks.people import age_in_years, whole_years
from interchange.model import Acquisition, Identifier, Moment, Patient, PersonName, Quantity, Recording, Statement
from tests.checks.build import KNOWN, SAID, twelve
from tests.checks.samples import acquired, everyone, patient, timed

PLACEHOLDER = "people.placeholder-identity"


def rules(made, config=None):
    return {finding.rule for finding in check_recording(made, config)}


@pytest.mark.parametrize(
    "name",
    [
        PersonName(text="UNKNOWN"),
        PersonName(family="Patient", given="Test"),
        PersonName(family="Test"),
        PersonName(text="test^patient"),
        PersonName(text="?"),
        PersonName(family="Unbekannt"),
        PersonName(text="  no   name "),
    ],
)
def test_names_that_stand_for_nobody(name):
    assert PLACEHOLDER in rules(patient(name=name))


@pytest.mark.parametrize(
    "name",
    [
        PersonName(family="Testa", given="Bruna"),
        PersonName(family="Unger", given="Known"),
        PersonName(family="Patient", given="Orla"),
        PersonName(family="Nameth", given="Xenia"),
        PersonName(family="Ona", given="Na"),
        PersonName(family="Na"),
        PersonName(family="山田", given="太郎"),
    ],
)
def test_names_of_people_are_left_alone(name):
    assert PLACEHOLDER not in rules(patient(name=name))


@pytest.mark.parametrize(
    "value", ["0", "0000", "9999", "00-00-00", "12345", "12345678", "XXXX", "unknown", "test", "LF-00417"]
)
def test_ids_that_stand_for_nobody(value):
    """Among them the serial number of the device."""
    assert PLACEHOLDER in rules(patient(ids=(Identifier(value),)))


@pytest.mark.parametrize("value", ["10000", "0042", "K-48213", "1234", "4321", "1", "55"])
def test_ids_of_people_are_left_alone(value):
    assert PLACEHOLDER not in rules(patient(ids=(Identifier(value),)))


def test_blank_ids_and_names_are_no_identity():
    made = patient(ids=(Identifier("  "),), name=PersonName(text=" "))
    assert "people.no-identity" in rules(made)


@pytest.mark.parametrize("name", ["Anonymous", "ANONYMIZED", "de-identified", "Pseudonym 17"])
def test_a_name_that_says_that_it_was_removed_is_no_placeholder(name):
    found = rules(everyone(name))
    assert "people.identity-removed" in found
    assert PLACEHOLDER not in found


def test_removed_and_withheld_fields_are_not_asked_for_twice():
    made = twelve(patient=Patient(absent=(("name", "withheld"),)))
    assert "people.no-identity" in rules(made)


@pytest.mark.parametrize(
    ("born", "time", "years"),
    [((1971, 3, 9), (2031, 3, 8), 59), ((1971, 3, 9), (2031, 3, 9), 60), ((2000, 2, 29), (2001, 2, 28), 0)],
)
def test_completed_years(born, time, years):
    assert whole_years(born, time) == years


@pytest.mark.parametrize(
    ("age", "fits"),
    [
        (Quantity(60, "a"), True),  # completed years at 60 y 27 d
        (Quantity(61, "a"), True),  # year of life
        (Quantity(59, "a"), False),
        (Quantity(62, "a"), False),
        (Quantity(720, "mo"), True),
        (Quantity(600, "mo"), False),
        (Quantity(21942, "d"), True),
        (Quantity(21942 + 40, "d"), False),
    ],
)
def test_age_against_birth_date(age, fits):
    """Born 9 March 1971, recorded 5 April 2031: 60 years and 27 days, 21942 days."""
    assert ("people.age-and-birth-date" in rules(patient(age=age))) is not fits


@pytest.mark.parametrize(("born", "fits"), [(Moment(1971), True), (Moment(1970), True), (Moment(1965), False)])
def test_birth_year_alone_leaves_a_year_open(born, fits):
    assert ("people.age-and-birth-date" in rules(patient(birth_date=born))) is not fits


def test_a_newborn_of_nine_days_is_nine_days_old():
    made = patient(age=Quantity(9, "d"), birth_date=Moment(2031, 3, 27))
    assert rules(made) == {"quality.high-cutoff-child"}  # 150 Hz
    assert age_in_years(made) == Fraction(36, 1461)


def test_age_from_birth_date_decides_about_the_bandwidth():
    made = patient(age=None, birth_date=Moment(2020, 1, 1))
    assert "quality.high-cutoff-child" in rules(made)


@pytest.mark.parametrize("age", [Quantity(-1, "a"), Quantity(131, "a"), Quantity(300, "a"), Quantity(2000, "mo")])
def test_impossible_ages(age):
    assert "people.age-impossible" in rules(patient(age=age, birth_date=None))


def test_age_of_an_unknown_unit_is_left_alone():
    assert "people.age-impossible" not in rules(patient(age=Quantity(999, "furlong"), birth_date=None))


# --- time


def test_the_clock_is_the_callers():
    made = acquired(time=Moment(2999, 1, 1, 0, 0, Fraction(0), 0))
    assert "time.in-the-future" not in rules(made)
    assert "time.in-the-future" in rules(made, CheckConfig(now=Moment(2031, 4, 5, 12, 0, Fraction(0), 0)))


@pytest.mark.parametrize(
    ("time", "future"),
    [
        (Moment(2031, 4, 5, 14, 4, Fraction(0), 120), False),  # the same instant
        (Moment(2031, 4, 5, 14, 8, Fraction(59), 120), False),  # a clock may be five minutes ahead
        (Moment(2031, 4, 5, 14, 9, Fraction(1), 120), True),
        (Moment(2031, 4, 6, 2, 0, Fraction(0)), False),  # without zone: fourteen hours ahead of UTC are possible
        (Moment(2031, 4, 6, 2, 20, Fraction(0)), True),
        (Moment(2031, 4, 6), False),
        (Moment(2031, 4, 7), True),
        (Moment(2032), True),
        (Moment(hour=23, minute=0), False),
    ],
)
def test_future_is_said_only_where_no_zone_can_explain_it(time, future):
    now = CheckConfig(now=Moment(2031, 4, 5, 12, 4, Fraction(0), 0))
    assert ("time.in-the-future" in rules(acquired(time=time), now)) is future


def test_a_clock_of_the_caller_without_zone_may_be_anywhere():
    now = CheckConfig(now=Moment(2031, 4, 5, 12, 0, Fraction(0)))
    assert "time.in-the-future" not in rules(acquired(time=Moment(2031, 4, 5, 23, 0, Fraction(0), 0)), now)
    assert "time.in-the-future" in rules(acquired(time=Moment(2031, 4, 6, 0, 6, Fraction(0), 0)), now)


@pytest.mark.parametrize("day", [(1970, 1, 1), (2000, 1, 1), (1980, 1, 1), (1900, 1, 1)])
def test_days_that_clocks_start_from(day):
    found = rules(timed(year=day[0], month=day[1], day=day[2]))
    assert "time.clock-start" in found
    assert "time.before-1990" not in found


def test_time_of_day_alone_and_date_alone():
    assert {"time.partly-said", "time.no-zone"} <= rules(acquired(time=Moment(hour=14, minute=3)))
    found = rules(acquired(time=Moment(2031, 4, 5)))
    assert "time.partly-said" in found
    assert "time.no-zone" not in found


@pytest.mark.parametrize(
    ("moment", "before"),
    [
        (Moment(2031, 4, 5, 14, 3, Fraction(6), 120), False),  # a second: clocks differ
        (Moment(2031, 4, 5, 13, 0, Fraction(0), 120), True),
        (Moment(2031, 4, 5, 13, 0, Fraction(0)), False),  # without zone
        (Moment(2031, 4, 4), False),
        (Moment(2031, 4, 3), True),
        (Moment(2031, 4, 6), False),
    ],
)
def test_statement_before_the_recording(moment, before):
    made = twelve(statements=(Statement("reading", confirmed_time=moment),))
    assert ("time.statement-before-recording" in rules(made)) is before


def test_a_recording_about_which_nothing_is_known_is_told_once_each():
    found = [f.rule for f in check_recording(Recording(tracings=twelve().tracings))]
    assert found == [
        "quality.bandwidth-unknown",
        "people.no-identity",
        "people.no-age",
        "people.no-sex",
        "time.not-said",
    ]


def test_site_defaults_do_not_touch_what_is_not_said():
    config = CheckConfig(defaults=DeviceDefaults(ages=(Quantity(50, "a"),), sexes=("male",)))
    made = twelve(patient=replace(KNOWN, age=None, sex=None), acquisition=Acquisition(time=SAID.time))
    assert "people.device-default" not in rules(made, config)
