"""Formulas of leads: linear combinations with exact coefficients."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from fractions import Fraction
from functools import cache

from interchange.records import dataclass

__all__ = ["Combination", "parse"]

TOKEN = re.compile(r"\s*(?:(\d+(?:\.\d+)?)|([A-Za-z][A-Za-z0-9]*)|([-+*/()]))")
CONSTANT = ""
"""Key of the part of a linear form that no lead stands beside."""


@dataclass(frozen=True, slots=True)
class Combination:
    """The sum of coefficient x lead over ``terms``; no coefficient is zero, and each lead occurs once."""

    terms: tuple[tuple[str, Fraction], ...]

    @property
    def leads(self) -> tuple[str, ...]:
        """The leads that it is made of."""
        return tuple(name for name, _ in self.terms)

    def __str__(self) -> str:
        """As text: ``2*I - 1/2*aVL``; a lead whose own name begins with a minus stands in brackets."""
        text = ""
        for name, factor in self.terms:
            sign = "-" if factor < 0 else "+"
            plain = f"({name})" if name.startswith("-") else name
            amount = plain if abs(factor) == 1 else f"{abs(factor)}*{plain}"
            text += f" {sign} {amount}" if text else ("-" if factor < 0 else "") + amount
        return text or "0"

    def inserted(self, known: Mapping[str, Combination]) -> Combination:
        """The same with every lead replaced by what ``known`` has for it."""
        total: dict[str, Fraction] = {}
        for name, factor in self.terms:
            for part, amount in known[name].terms:
                total[part] = total.get(part, Fraction(0)) + factor * amount
        return _combination(total)


def _combination(form: Mapping[str, Fraction]) -> Combination:
    return Combination(tuple((name, factor) for name, factor in form.items() if factor))


@cache
def parse(text: str) -> Combination:
    """The combination that ``text`` stands for: numbers, lead ids, ``+ - * /`` and brackets, as in the lead table.

    Raises ValueError for text that is no linear combination of leads.
    """
    parser = _Parser(text)
    form = parser.sum()
    if parser.token or CONSTANT in form:
        raise ValueError("not a linear combination of leads")
    return _combination(form)


class _Parser:
    """Recursive descent over one formula; a value is a linear form, coefficient by lead."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._end = 0
        self.token = ""
        self._advance()

    def _advance(self) -> str:
        """The present token, leaving the next one in ``token`` (empty at the end)."""
        taken = self.token
        match = TOKEN.match(self._text, self._end)
        if match is None and self._text[self._end :].strip():
            raise ValueError("a character that no formula has")
        self.token = match[0].strip() if match else ""
        self._end = match.end() if match else len(self._text)
        return taken

    def sum(self) -> dict[str, Fraction]:
        form = self._product()
        while self.token in ("+", "-"):
            sign = 1 if self._advance() == "+" else -1
            for name, factor in self._product().items():
                form[name] = form.get(name, Fraction(0)) + sign * factor
        return form

    def _product(self) -> dict[str, Fraction]:
        form = self._factor()
        while self.token in ("*", "/"):
            form = (_times if self._advance() == "*" else _over)(form, self._factor())
        return form

    def _factor(self) -> dict[str, Fraction]:
        token = self._advance()
        if token == "-":
            return _times({CONSTANT: Fraction(-1)}, self._factor())
        if token == "(":
            form = self.sum()
            if self._advance() != ")":
                raise ValueError("a bracket is not closed")
            return form
        if token[:1].isdigit():
            return {CONSTANT: Fraction(token)}
        if token[:1].isalpha():
            return {token: Fraction(1)}
        raise ValueError("a formula breaks off")


Form = dict[str, Fraction]
_Operation = Callable[[Form, Form], Form]


def _times(left: Form, right: Form) -> Form:
    if set(left) != {CONSTANT}:
        left, right = right, left
    if set(left) != {CONSTANT}:
        raise ValueError("a product of leads is not linear")
    return {name: left[CONSTANT] * factor for name, factor in right.items()}


def _over(left: Form, right: Form) -> Form:
    if set(right) != {CONSTANT} or not right[CONSTANT]:
        raise ValueError("a formula divides by something else than a number")
    return {name: factor / right[CONSTANT] for name, factor in left.items()}
