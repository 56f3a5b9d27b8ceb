"""The model's small values in words."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from interchange.model import Absent, AbsentFields, Code, Identifier, Measurement, Moment, Person, Quantity
from interchange.model.lines import decimal

__all__ = [
    "ABSENT",
    "NOT_SAID",
    "coded",
    "concept_label",
    "identifier",
    "joined",
    "moment",
    "number",
    "person",
    "quantity",
    "why_not",
]

NOT_SAID = "not said"
ABSENT: dict[Absent, str] = {
    "unknown": "said to be unknown",
    "not-measured": "said to be not measured",
    "wave-absent": "said to have no such wave",
    "rejected": "said to be rejected",
    "undefined": "said to be undefined",
    "not-applicable": "said not to apply",
    "withheld": "withheld",
}
_UNITS = {"a": "year", "mo": "month", "wk": "week", "d": "day", "h": "hour", "min": "minute"}
_CAPITALS = frozenset({
    "av", "j", "jt", "lgl", "p", "p1", "p2", "p3", "pp", "pq", "pqrst", "pr", "q", "qrs", "qrst", "qs", "qt", "qtu",
    "r", "r1", "rr", "s", "s1", "sa", "st", "t", "tu", "u", "wpw",
})  # fmt: skip
_SPECIAL = {
    "qtc": "QTc",
    "bazett": "(Bazett)",
    "fridericia": "(Fridericia)",
    "framingham": "(Framingham)",
    "hodges": "(Hodges)",
}


def why_not(field: str, absent: AbsentFields) -> str:
    """Why a field has no value: what the source says, or that it says nothing."""
    return next((ABSENT[reason] for name, reason in absent if name == field), NOT_SAID)


def number(value: Fraction | int) -> str:
    """A number for people: exact where it is short, else six digits with "about"."""
    exact = decimal(value)
    if "/" not in exact and len(exact) <= 12:
        return exact
    return f"about {float(value):.6g}"


def quantity(value: Quantity) -> str:
    """A number with its unit; ages in words."""
    name = _UNITS.get(value.unit)
    if name is None:
        return f"{number(value.value)} {value.unit}"
    return f"{number(value.value)} {name}{'' if value.value == 1 else 's'}"


def moment(value: Moment) -> str:
    """A date and time, saying what of it was not said."""
    parts = []
    date, _, clock = str(value).partition("T")
    if value.year is not None:
        parts.append(date)
    if value.hour is not None:
        zone = "" if value.zone is None else clock[-6:]
        parts.append(clock.removesuffix(zone))
        parts.append(f"{zone}" if zone else "(zone not said)")
    text = " ".join(parts)
    if value.year is None:
        return f"{text}, date {NOT_SAID}" if text else str(value)
    return text if value.hour is not None else f"{date}, time of day {NOT_SAID}"


def identifier(value: Identifier) -> str:
    """An id with its issuer and kind."""
    about = [f"issuer {value.issuer}"] if value.issuer else []
    about += [value.kind] if value.kind else []
    return f"{value.value} ({', '.join(about)})" if about else value.value


def person(value: Person) -> str:
    """Name, organisation, ids of a person."""
    parts = [str(value.name)] if value.name and str(value.name) else []
    parts += [value.organisation] if value.organisation else []
    parts += [f"id {identifier(i)}" for i in value.ids]
    return ", ".join(parts) or "somebody without a name"


def coded(value: Code) -> str:
    """A code in words, with value and scheme where it has them."""
    code = " ".join(filter(None, (value.value, value.scheme)))
    if value.meaning and code:
        return f"{value.meaning} ({code})"
    return value.meaning or code or NOT_SAID


def joined(parts: Iterable[str | None]) -> str:
    """The parts that are there, with commas."""
    return ", ".join(part for part in parts if part)


def concept_label(item: Measurement | str, source: Code | None = None) -> str:
    """A short name made from the id of a concept: "PR interval", "QTc (Bazett)"; of an unknown one its own code."""
    concept, source = (item, source) if isinstance(item, str) else (item.concept, item.source_code)
    if concept == "other":
        return coded(source) if source else "other"
    words = concept.replace("-double-prime", "''").replace("-prime", "'").split("-")
    if words[0] == "heart" and len(words) == 3:
        return f"heart rate, {words[2]}"
    return " ".join(_SPECIAL.get(word, word.upper() if word.rstrip("'") in _CAPITALS else word) for word in words)
