"""Moments: as far as they were said, exactly, and back from text."""

from __future__ import annotations

import calendar
import datetime
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interchange.model import Moment
from interchange.model.basic import days_in
from tests import strategies

WRITTEN = [
    (Moment(2031, 4, 5, 14, 3, Fraction(29, 4), zone=120), "2031-04-05T14:03:07.25+02:00"),
    (Moment(2031, 4), "2031-04"),
    (Moment(2031), "2031"),
    (Moment(31, 4, 5), "0031-04-05"),
    (Moment(hour=14, minute=3), "T14:03"),
    (Moment(hour=0, minute=0, second=Fraction(0)), "T00:00:00"),
    (Moment(2031, 4, 5, 14), "2031-04-05T14"),
    (Moment(2031, zone=-210), "2031-03:30"),
    (Moment(2031, 4, zone=-300), "2031-04-05:00"),
    (Moment(zone=0), "+00:00"),
    (Moment(2031, 4, 5, 23, 59, Fraction(121, 2)), "2031-04-05T23:59:60.5"),
    (Moment(hour=1, minute=2, second=Fraction(10, 3)), "T01:02:10/3"),
    (Moment(hour=1, minute=2, second=Fraction(1, 1000000)), "T01:02:00.000001"),
]


@pytest.mark.parametrize(("moment", "text"), WRITTEN, ids=[text for _, text in WRITTEN])
def test_is_written_as_iso_8601_and_taken_back(moment: Moment, text: str) -> None:
    assert str(moment) == text
    assert Moment.parse(text) == moment


@given(strategies.moments())
def test_every_moment_comes_back_from_its_text(moment: Moment) -> None:
    assert Moment.parse(str(moment)) == moment


def test_z_is_utc() -> None:
    assert Moment.parse("2031-04-05T14:03:07Z").zone == 0


@pytest.mark.parametrize(
    "text",
    ["", " ", "31-04-05", "2031-4-5", "2031-02-30", "2031-13", "2031-04-05 14:03", "2031-04-05T24:00", "T14:60",
     "T14:03:61", "2031-04-05T14:03:07+25:00", "2031-04-05T14:03:07+2", "2031-04-05T14:03:1/0", "today", "٢٠٣١",
     "2031-04-05T14:03:07.", "0000", "2031-04-05\n"],
)  # fmt: skip
def test_what_is_no_moment_is_a_value_error(text: str) -> None:
    with pytest.raises((ValueError, ZeroDivisionError)) as caught:
        Moment.parse(text)
    assert isinstance(caught.value, ValueError), "a division by zero escapes"


@pytest.mark.parametrize(
    "parts",
    [
        {"month": 4},
        {"year": 2031, "day": 5},
        {"year": 2031, "month": 2, "day": 29},
        {"year": 1900, "month": 2, "day": 29},
        {"year": 0},
        {"year": 10000},
        {"year": 2031, "month": 0},
        {"hour": 24},
        {"minute": 3},
        {"hour": 1, "second": Fraction(3)},
        {"hour": 1, "minute": 2, "second": Fraction(61)},
        {"hour": 1, "minute": 2, "second": Fraction(-1, 10)},
        {"zone": 1440},
        {"zone": -1440},
    ],
)
def test_parts_that_make_no_moment_are_refused(parts: dict[str, object]) -> None:
    with pytest.raises(ValueError, match="no such date or time"):
        Moment(**parts)  # type: ignore[arg-type]


@pytest.mark.parametrize("year", [2000, 2024])
def test_leap_days_are_known(year: int) -> None:
    assert Moment(year, 2, 29).day == 29


@given(
    st.datetimes(datetime.datetime(1900, 1, 1), datetime.datetime(2100, 1, 1)),
    st.integers(-(10**9), 10**9),
)
def test_moving_agrees_with_the_calendar_of_the_standard_library(start: datetime.datetime, milliseconds: int) -> None:
    moved = start + datetime.timedelta(milliseconds=milliseconds)
    moment = _moment(start).plus(Fraction(milliseconds, 1000))
    assert moment == _moment(moved)
    assert moment.minus(_moment(start)) == Fraction(milliseconds, 1000)


def test_difference_takes_the_zones_into_account() -> None:
    here = Moment(2031, 4, 5, 1, 0, Fraction(0), zone=120)
    there = Moment(2031, 4, 4, 23, 0, Fraction(0), zone=0)
    assert here.minus(there) == 0
    assert here != there


@pytest.mark.parametrize(
    ("one", "two"),
    [
        (Moment(2031, 4, 5, 1, 0, Fraction(0), zone=0), Moment(2031, 4, 5, 1, 0, Fraction(0))),
        (Moment(2031, 4, 5), Moment(2031, 4, 5)),
        (Moment(hour=1, minute=0, second=Fraction(0)), Moment(hour=1, minute=0, second=Fraction(0))),
        (Moment(2031, 4, 5, 1, 0), Moment(2031, 4, 5, 1, 0)),
    ],
)
def test_no_difference_without_two_instants_on_one_clock(one: Moment, two: Moment) -> None:
    assert one.minus(two) is None


@pytest.mark.parametrize(
    "moment", [Moment(2031), Moment(2031, 4, 5), Moment(2031, 4, 5, 1, 0), Moment(hour=1, minute=0, second=Fraction(0))]
)
def test_only_an_instant_can_be_moved(moment: Moment) -> None:
    assert not moment.is_instant
    with pytest.raises(ValueError, match="second"):
        moment.plus(1)


def test_the_date_alone() -> None:
    assert Moment(2031, 4, 5, 1, 2, zone=60).date == Moment(2031, 4, 5)
    assert Moment(hour=3).date is None


def test_moving_beyond_the_calendar_is_a_value_error() -> None:
    with pytest.raises((ValueError, OverflowError)) as caught:
        Moment(9999, 12, 31, 23, 59, Fraction(59)).plus(10)
    assert isinstance(caught.value, ValueError)


def _moment(at: datetime.datetime) -> Moment:
    return Moment(at.year, at.month, at.day, at.hour, at.minute, Fraction(at.second * 10**6 + at.microsecond, 10**6))


def test_days_of_every_month_that_can_be_written() -> None:
    for year in range(1, 10000):
        for month in range(1, 13):
            assert days_in(year, month) == calendar.monthrange(year, month)[1]
