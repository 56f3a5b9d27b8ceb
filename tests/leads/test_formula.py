"""Formulas as text and as exact numbers."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interchange.leads import Combination, parse
from interchange.vocabulary import leads

from .electrodes import evaluate, names_in


@pytest.mark.parametrize(
    ("text", "terms"),
    [
        ("I", {"I": 1}),
        ("-I", {"I": -1}),
        ("I + III", {"I": 1, "III": 1}),
        ("-(I + II)/2", {"I": Fraction(-1, 2), "II": Fraction(-1, 2)}),
        ("2/3*(aVL - aVR)", {"aVL": Fraction(2, 3), "aVR": Fraction(-2, 3)}),
        ("I - II/2", {"I": 1, "II": Fraction(-1, 2)}),
        ("0.610*FA + 1.000*FC", {"FA": Fraction(61, 100), "FC": 1}),
        ("I + II - I", {"II": 1}),
        ("--I", {"I": 1}),
        (" ( ( I ) ) * 3 ", {"I": 3}),
        ("I - (II - III)", {"I": 1, "II": -1, "III": 1}),
        ("8/2/2*I", {"I": 2}),
    ],
)
def test_parse(text, terms):
    assert dict(parse(text).terms) == terms
    assert parse(text).leads == tuple(terms)


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "+",
        "I +",
        "I II",
        "(I",
        "I)",
        "I*II",
        "I/II",
        "1",
        "I + 1",
        "I/0",
        "2*",
        "I;II",
        "I^2",
        "1/I",
        "()",
        "I 2",
        "²*I",
    ],
)
def test_no_formula(text):
    with pytest.raises(ValueError, match=r"formula|linear|bracket"):
        parse(text)


def test_every_formula_of_the_table_means_what_python_reads_in_it():
    count = 0
    for row in leads():
        for text in row.derivable_from:
            names = names_in(text)
            values = {name: Fraction(7 * place + 3, place + 1) for place, name in enumerate(sorted(names))}
            assert sum(factor * values[name] for name, factor in parse(text).terms) == evaluate(text, values)
            assert set(parse(text).leads) == names
            count += 1
    assert count > 40


numbers = st.fractions(-9, 9, max_denominator=12).filter(bool)


@settings(max_examples=60)
@given(st.dictionaries(st.sampled_from(["I", "II", "III", "aVR", "V1"]), numbers, min_size=1))
def test_the_text_of_a_combination_is_a_formula_with_the_same_meaning(terms):
    combination = Combination(tuple(terms.items()))
    assert dict(parse(str(combination)).terms) == terms


def test_the_text_keeps_a_name_with_a_minus_apart():
    assert str(Combination((("-aVR", Fraction(-1)),))) == "-(-aVR)"
    assert str(Combination((("II", Fraction(1)), ("-aVR", Fraction(-3, 2))))) == "II - 3/2*(-aVR)"
    assert str(Combination(())) == "0"


def test_inserted():
    known = {"I": parse("I"), "II": parse("I/2 + aVF")}
    assert parse("II - I/2").inserted(known) == parse("aVF")
