"""Values of single attributes: dates, times, ages, names, numbers, between DICOM's text and the model (PS3.5 6.2).

Reading returns None for what is not in the form of its value representation; the caller reports it.  Writing never
makes a value that its representation does not allow: what does not fit is cut or left out on purpose, and the
comparison after the writing shows it.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache
from struct import unpack_from
from typing import Final, Literal

from interchange.model import Moment, PersonName, Quantity

__all__ = [
    "LIMITS",
    "age_text",
    "clean",
    "date_text",
    "integers",
    "moment_text",
    "parse_age",
    "parse_date",
    "parse_moment",
    "parse_name",
    "parse_time",
    "parse_zone",
    "person_text",
    "time_text",
    "zone_text",
]

LIMITS: Final = {
    "AE": 16,
    "AS": 4,
    "CS": 16,
    "DA": 8,
    "DS": 16,
    "DT": 26,
    "IS": 12,
    "LO": 64,
    "LT": 10240,
    "PN": 64,
    "SH": 16,
    "ST": 1024,
    "TM": 14,
    "UI": 64,
}
"""Longest value in characters; PN per component group (PS3.5 Table 6.2-1)."""

_DATE: Final = re.compile(r"(\d{4})[.]?(\d\d)[.]?(\d\d)", re.ASCII)
_TIME: Final = re.compile(r"(\d\d)(?::?(\d\d)(?::?(\d\d(?:\.\d{1,6})?))?)?", re.ASCII)
_MOMENT: Final = re.compile(
    r"(\d{4})(?:(\d\d)(?:(\d\d)(?:(\d\d)(?:(\d\d)(?:(\d\d(?:\.\d{1,6})?))?)?)?)?)?([+-]\d{4})?", re.ASCII
)
_ZONE: Final = re.compile(r"([+-])(\d\d)(\d\d)", re.ASCII)
_AGE_LETTERS: Final[dict[str, tuple[tuple[str, Fraction], ...]]] = {
    "h": (("D", Fraction(24)),),
    "d": (("D", Fraction(1)),),
    "wk": (("W", Fraction(1)),),
    "mo": (("M", Fraction(1)),),
    "a": (("Y", Fraction(1)), ("M", Fraction(1, 12))),
}
"""Letters that can say an age in that unit, with the size of one in the unit."""
_AGE: Final = re.compile(r"(\d{3})([DWMY])", re.ASCII)
AGE_UNITS: Final = {"D": "d", "W": "wk", "M": "mo", "Y": "a"}

_FORBIDDEN_LINE: Final = re.compile(r"[\x00-\x1f\x7f-\x9f\\\ud800-\udfff]")
_FORBIDDEN_TEXT: Final = re.compile(r"[\x00-\x08\x0b\x0e-\x1f\x7f-\x9f\ud800-\udfff]")


def clean(text: str, vr: str) -> str:
    """The text as a single value of ``vr``: without control characters, separators and blanks around, cut to size.

    A backslash separates values in all but the long texts; it becomes a slash.
    """
    if text.isascii() and text.isprintable() and "\\" not in text:
        text = text.rstrip(" ") if vr in ("ST", "LT", "UT") else text.strip(" ")  # nothing to look for
    elif vr in ("ST", "LT", "UT"):
        text = _FORBIDDEN_TEXT.sub(" ", text).rstrip(" ")
    else:
        text = _FORBIDDEN_LINE.sub(lambda found: "/" if found[0] == "\\" else " ", text).strip(" ")
    return text[: LIMITS.get(vr, len(text))].rstrip(" ")


def integers(raw: bytes, size: int, little: bool) -> tuple[int, ...]:
    """Unsigned integers of ``size`` bytes (US, UL); bytes left over are ignored."""
    count = len(raw) // size
    return unpack_from(f"{'<' if little else '>'}{count}{ {2: 'H', 4: 'I'}[size] }", raw)


def _moment(**parts: int | Fraction | None) -> Moment | None:
    try:
        return Moment(**parts)  # type: ignore[arg-type]
    except ValueError:
        return None


def parse_date(text: str) -> Moment | None:
    """A date: YYYYMMDD, or with points as the standard of 1985 had it."""
    return _date(text) if len(text) <= LIMITS["DT"] else None


@lru_cache(maxsize=256)
def _date(text: str) -> Moment | None:
    found = _DATE.fullmatch(text)
    return _moment(year=int(found[1]), month=int(found[2]), day=int(found[3])) if found else None


def parse_time(text: str) -> Moment | None:
    """A time of day as far as it goes: HH, HHMM, HHMMSS.FFFFFF, or with colons as the standard of 1985 had it."""
    return _time(text) if len(text) <= LIMITS["DT"] else None


@lru_cache(maxsize=256)
def _time(text: str) -> Moment | None:
    found = _TIME.fullmatch(text)
    return _moment(**_clock(found[1], found[2], found[3])) if found else None


def _clock(hour: str | None, minute: str | None, second: str | None) -> dict[str, int | Fraction | None]:
    return {
        "hour": int(hour) if hour else None,
        "minute": int(minute) if minute else None,
        "second": Fraction(second) if second else None,
    }


def parse_moment(text: str) -> Moment | None:
    """Date and time (DT) as far as they go, with the zone where it is written."""
    return _date_and_time(text) if len(text) <= LIMITS["DT"] else None


@lru_cache(maxsize=256)
def _date_and_time(text: str) -> Moment | None:
    found = _MOMENT.fullmatch(text)
    if not found:
        return None
    zone = parse_zone(found[7]) if found[7] else None
    return _moment(
        year=int(found[1]),
        month=int(found[2]) if found[2] else None,
        day=int(found[3]) if found[3] else None,
        **_clock(found[4], found[5], found[6]),
        zone=zone,
    )


def parse_zone(text: str) -> int | None:
    """Minutes east of UTC from +HHMM or -HHMM."""
    found = _ZONE.fullmatch(text)
    if not found or int(found[3]) > 59 or int(found[2]) > 23:
        return None
    minutes = int(found[2]) * 60 + int(found[3])
    return -minutes if found[1] == "-" else minutes


def parse_age(text: str) -> Quantity | None:
    """An age string (AS): three digits and D, W, M or Y."""
    found = _AGE.fullmatch(text)
    return Quantity(int(found[1]), AGE_UNITS[found[2]]) if found else None


def age_text(age: Quantity) -> str | None:
    """The age string that says the age, in another unit where the number is not whole; None where none does."""
    for letter, size in _AGE_LETTERS.get(age.unit, ()):
        value = Fraction(age.value) / size
        if age.unit == "h":
            value = Fraction(value.numerator // value.denominator)
        if value.denominator == 1 and 0 <= value <= 999:
            return f"{int(value):03}{letter}"
    return None


def date_text(moment: Moment) -> str | None:
    """YYYYMMDD, None unless the day is known."""
    if moment.year is None or moment.month is None or moment.day is None:
        return None
    return f"{moment.year:04}{moment.month:02}{moment.day:02}"


def _second_text(second: Fraction) -> str:
    """Seconds with up to six digits after the point, cut."""
    micro = second.numerator * 1_000_000 // second.denominator
    whole, rest = divmod(micro, 1_000_000)
    return f"{whole:02}" + (f".{rest:06}".rstrip("0") if rest else "")


def time_text(moment: Moment) -> str | None:
    """HHMMSS.FFFFFF as far as the time of day is known."""
    if moment.hour is None:
        return None
    text = f"{moment.hour:02}"
    if moment.minute is not None:
        text += f"{moment.minute:02}"
    if moment.second is not None:
        text += _second_text(moment.second)
    return text


def zone_text(zone: int | None) -> str | None:
    """+HHMM, None where no zone was said or it is beyond what DICOM allows (-1200 to +1400)."""
    if zone is None or not -720 <= zone <= 840:
        return None
    hours, minutes = divmod(abs(zone), 60)
    return f"{'-' if zone < 0 else '+'}{hours:02}{minutes:02}"


def moment_text(moment: Moment) -> str | None:
    """Date and time (DT) as far as they are known, with the zone; None without a year."""
    if moment.year is None:
        return None
    text = f"{moment.year:04}"
    if moment.month is not None:
        text += f"{moment.month:02}"
    if moment.day is not None:
        text += f"{moment.day:02}" + (time_text(moment) or "")
    return text + (zone_text(moment.zone) or "" if moment.hour is not None else "")


# Names -------------------------------------------------------------------------------------------------------------

_PARTS: Final = ("family", "given", "middle", "prefix", "suffix")
_SCRIPTS: Final[tuple[Literal["ideographic", "phonetic"] | None, ...]] = (None, "ideographic", "phonetic")


def parse_name(text: str) -> tuple[PersonName, ...]:
    """The component groups of a person's name (PN) that are filled: alphabetic, ideographic, phonetic.

    A group without any ``^`` is a name that was not divided into its parts.
    """
    names = []
    for script, group in zip(_SCRIPTS, text.split("="), strict=False):
        parts = [part.strip(" ") or None for part in group.split("^")]
        if not any(parts):
            continue
        if len(parts) == 1:
            names.append(PersonName(text=parts[0], script=script))
        else:
            names.append(PersonName(**dict(zip(_PARTS, parts, strict=False)), script=script))
    return tuple(names)


def _part(text: str | None) -> str:
    return clean(re.sub(r"[\^=]", " ", text), "UC") if text else ""


def _group(name: PersonName) -> str:
    """One component group of at most 64 characters; what is undivided stays so."""
    family = " ".join(filter(None, (name.family, name.second_family)))
    parts = [_part(text) for text in (family, name.given, name.middle, name.prefix, name.suffix)]
    if not any(parts):
        return _part(name.text)[:64].rstrip(" ")
    group = "^".join(parts).rstrip("^")
    if "^" not in group:
        group += "^"
    return group[:64]


def person_text(name: PersonName, others: tuple[PersonName, ...] = ()) -> str:
    """A person's name (PN): ``name`` as its first group, forms in other scripts behind it."""
    groups = {None: "", "ideographic": "", "phonetic": ""}
    for entry in (name, *others):
        groups[entry.script] = groups[entry.script] or _group(entry)
    return "=".join(groups.values()).rstrip("=")
