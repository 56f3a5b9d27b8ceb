"""Units of signals: the spellings met in headers and their UCUM forms.

Voltages become microvolts; a spelling is never guessed at.  Source: header(5) (mV by default), headers of public
archives; UCUM for the other side.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Final

from interchange.records import NamedTuple

__all__ = ["Unit", "unit_named", "unit_text"]


class Unit(NamedTuple):
    """What a header's unit means: ``ucum`` times ``factor`` ("uV", 1000 for mV); ``usual`` is how it is spelled."""

    ucum: str
    factor: Fraction
    usual: str


_VOLTAGES: Final = {
    "mv": Unit("uV", Fraction(1000), "mV"),
    "uv": Unit("uV", Fraction(1), "uV"),
    "µv": Unit("uV", Fraction(1), "uV"),  # U+00B5, micro sign
    "μv": Unit("uV", Fraction(1), "uV"),  # U+03BC, Greek mu
    "v": Unit("uV", Fraction(1_000_000), "V"),
    "nv": Unit("uV", Fraction(1, 1000), "nV"),
}
"""Voltages by spelling in small letters."""

_OTHERS: Final = {
    "mmHg": "mm[Hg]",
    "cmH2O": "cm[H2O]",
    "NU": "{NU}",  # normalised units
    "Ohm": "Ohm",
    "degrees": "deg",
    "degC": "Cel",
    "°C": "Cel",
    "degF": "[degF]",
    "bpm": "/min",
    "l/min": "L/min",
    "L/min": "L/min",
    "ml/min": "mL/min",
    "%": "%",
    "Hz": "Hz",
    "s": "s",
    "ms": "ms",
}
"""Other units by exact spelling; what is not here is kept as it is written."""

_PLAIN: Final = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789_^-%/?")
"""Characters of a unit that is written."""

_BACK: Final = {ucum: spelling for spelling, ucum in reversed(_OTHERS.items())}
_FOLDED: Final = {spelling.lower(): spelling for spelling in _OTHERS}


def unit_named(spelling: str) -> Unit:
    """The unit that a header means by ``spelling``."""
    voltage = _VOLTAGES.get(spelling.lower())
    if voltage is not None:
        return voltage
    usual = spelling if spelling in _OTHERS else _FOLDED.get(spelling.lower(), spelling)
    return Unit(_OTHERS.get(usual, spelling), Fraction(1), usual)


def unit_text(ucum: str) -> str | None:
    """The spelling to write for a unit that is no voltage; None where it cannot stand in a header.

    Readers end a unit at what is no letter, digit or one of ``_^-%/?`` and take the rest for something else, some of
    them in silence (common practice).
    """
    text = _BACK.get(ucum, ucum)
    plain = text.isascii() and _PLAIN.issuperset(text)
    return text if plain and 0 < len(text) <= 50 and unit_named(text).ucum == ucum else None
