"""Attributes that travel beside the model as text (``dicom.Keyword``), back into a data set."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Final

from interchange.formats.dicom.dictionary import tag_of, vr_of
from interchange.formats.dicom.encoder import Item
from interchange.formats.dicom.numbers import parse_decimal
from interchange.formats.dicom.uids import is_uid
from interchange.formats.dicom.values import parse_date, parse_moment, parse_time
from interchange.model import Extras

__all__ = ["PREFIX", "put_extras"]

PREFIX: Final = "dicom."
_WHOLE: Final = re.compile(r"[+-]?\d{1,11}", re.ASCII)
_CODE_STRING: Final = re.compile(r"[A-Z0-9_ ]{1,16}", re.ASCII)
_NUMBER: Final = {"US": 2**16, "UL": 2**32}

_VALID: Final[dict[str, Callable[[str], bool]]] = {
    "DS": lambda text: len(text) <= 16 and parse_decimal(text) is not None,
    "IS": lambda text: bool(_WHOLE.fullmatch(text)),
    "DA": lambda text: len(text) == 8 and parse_date(text) is not None,
    "TM": lambda text: parse_time(text) is not None,
    "DT": lambda text: parse_moment(text) is not None,
    "UI": is_uid,
    "CS": lambda text: bool(_CODE_STRING.fullmatch(text)),
}


def put_extras(item: Item, extras: Extras, allowed: tuple[str, ...]) -> None:
    """Write every extra that names an attribute of the tables and is in the form of its representation.

    ``allowed`` limits the keywords; what is already there is replaced.
    """
    for key, text in extras:
        keyword = key.removeprefix(PREFIX)
        if keyword == key or keyword not in allowed:
            continue
        vr = vr_of(tag_of(keyword))
        values = text.split("\\")
        if vr in _NUMBER:
            if all(value.isascii() and value.isdigit() and int(value) < _NUMBER[vr] for value in values):
                item.numbers(keyword, *map(int, values))
        elif vr in _VALID:
            if all(map(_VALID[vr], values)):
                item.text(keyword, *values)
        elif vr in ("SH", "LO", "ST", "LT", "UT", "AE"):
            item.text(keyword, *values)
