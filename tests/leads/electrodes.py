"""Electrode definitions of the leads as exact linear forms, worked out without the package's own parser.

I, II, III, the augmented leads and the chest leads are typed in here from the definitions that every textbook gives
(Einthoven's triangle, Goldberger's augmented leads, Wilson's central terminal); the rest is read from the table with
Python's own expression grammar.
"""

import ast
from fractions import Fraction

from interchange.vocabulary import leads

WILSON = {"RA": Fraction(1, 3), "LA": Fraction(1, 3), "LL": Fraction(1, 3)}
TEXTBOOK = {
    "I": {"LA": 1, "RA": -1},
    "II": {"LL": 1, "RA": -1},
    "III": {"LL": 1, "LA": -1},
    "aVR": {"RA": 1, "LA": Fraction(-1, 2), "LL": Fraction(-1, 2)},
    "aVL": {"LA": 1, "RA": Fraction(-1, 2), "LL": Fraction(-1, 2)},
    "aVF": {"LL": 1, "RA": Fraction(-1, 2), "LA": Fraction(-1, 2)},
    "-aVR": {"RA": -1, "LA": Fraction(1, 2), "LL": Fraction(1, 2)},
    "VR": {"RA": Fraction(2, 3), "LA": Fraction(-1, 3), "LL": Fraction(-1, 3)},
    "VL": {"LA": Fraction(2, 3), "RA": Fraction(-1, 3), "LL": Fraction(-1, 3)},
    "VF": {"LL": Fraction(2, 3), "LA": Fraction(-1, 3), "RA": Fraction(-1, 3)},
    **{
        f"V{n}": {f"C{n}": 1, "RA": Fraction(-1, 3), "LA": Fraction(-1, 3), "LL": Fraction(-1, 3)} for n in range(1, 10)
    },
}


def evaluate(text, names):
    """The value of an arithmetic expression, the names taken from ``names``, in exact fractions."""

    def value(node):
        match node:
            case ast.Expression(body):
                return value(body)
            case ast.BinOp(left, ast.Add(), right):
                return value(left) + value(right)
            case ast.BinOp(left, ast.Sub(), right):
                return value(left) - value(right)
            case ast.BinOp(left, ast.Mult(), right):
                return value(left) * value(right)
            case ast.BinOp(left, ast.Div(), right):
                return value(left) / value(right)
            case ast.UnaryOp(ast.USub(), operand):
                return -value(operand)
            case ast.Constant():
                return Fraction(ast.get_source_segment(text, node))
            case ast.Name(name):
                return names[name]
        raise AssertionError(ast.dump(node))

    return value(ast.parse(text, mode="eval"))


def names_in(text):
    return {node.id for node in ast.walk(ast.parse(text, mode="eval")) if isinstance(node, ast.Name)}


def vector(row):
    """The lead as coefficient by electrode; a lead whose electrodes are not stated is a direction of its own."""
    if not row.electrodes:
        return {row.id: Fraction(1)}
    used = names_in(row.electrodes)
    form = {name: evaluate(row.electrodes, {other: Fraction(other == name) for other in used}) for name in used}
    return {name: factor for name, factor in form.items() if factor}


def vectors():
    return {row.id: vector(row) for row in leads() if row.origin == "recorded"}


def rank(rows):
    """The number of linearly independent forms, by elimination in exact fractions."""
    rows = [dict(row) for row in rows]
    size = 0
    for column in sorted({key for row in rows for key in row}):
        pivot = next((i for i in range(size, len(rows)) if rows[i].get(column)), None)
        if pivot is None:
            continue
        rows[size], rows[pivot] = rows[pivot], rows[size]
        for other in rows[size + 1 :]:
            factor = other.get(column, 0) / rows[size][column]
            if factor:
                for key, cell in rows[size].items():
                    other[key] = other.get(key, Fraction(0)) - factor * cell
        size += 1
    return size


def total(terms, table):
    """The linear form of a sum of coefficient x lead."""
    form = {}
    for name, factor in terms:
        for electrode, amount in table[name].items():
            form[electrode] = form.get(electrode, Fraction(0)) + factor * amount
    return {name: factor for name, factor in form.items() if factor}
