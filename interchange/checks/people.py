"""Who was recorded: is it said, is it a person, can it be true?

Recorders start from default entries, and crews record first and edit later, or never.  A default that nobody edited
travels as if it were true; the list of a site's defaults ships empty.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from interchange.checks.sources import DEFINITION, I25, PROJECT, U18
from interchange.checks.view import View
from interchange.findings import Finding, Rule
from interchange.model import Moment, Patient, PersonName, Quantity, Recording

__all__ = ["RULES", "age_in_years", "check", "whole_years"]

_NOBODY = Rule(
    "people.no-identity", "warning", "the recording names no patient: no identifier and no name",
    f"{I25} (marking of the record)",
    "It has to be joined to a patient by other means; an unidentified patient gets a temporary identifier.", "memory",
)  # fmt: skip
_PLACEHOLDER = Rule(
    "people.placeholder-identity", "warning", "identifier or name is a placeholder", PROJECT,
    "Tracings of different patients may look like those of one.", "proposal",
)  # fmt: skip
_REMOVED = Rule(
    "people.identity-removed", "note", "the name says that the identity was removed", PROJECT,
    "The tracing cannot be joined to a patient by it.", "proposal",
)  # fmt: skip
_TEMPORARY = Rule(
    "people.temporary-identity", "note", "the identifier is marked as temporary",
    "IHE Radiology: Patient Information Reconciliation",
    "It has to be joined to the patient's own identifier later.",
)  # fmt: skip
_NO_AGE = Rule(
    "people.no-age", "note", "neither age nor birth date is said", U18,
    "Published limits depend on age; none can be chosen.",
)  # fmt: skip
_NO_SEX = Rule(
    "people.no-sex", "note", "the sex is not said", U18,
    "Published limits depend on sex; none can be chosen.",
)  # fmt: skip
_DEFAULT = Rule(
    "people.device-default", "warning", "age, birth date or sex equals what the site's devices fill in by themselves",
    "the site's own list", "It may never have been edited; statements made with it rest on it.", "computed",
)  # fmt: skip
_AGE = Rule(
    "people.age-impossible", "warning", "the age is none that a person can have", PROJECT,
    "The number may stand for unknown, or for an age above 89 in de-identified data.", "proposal",
)  # fmt: skip
_OLD = Rule(
    "people.age-unusual", "note", "the age is very high", PROJECT,
    "Check it: it may be a typing error or stand for something else.", "proposal",
)  # fmt: skip
_ZERO = Rule(
    "people.age-zero", "note", "the age is 0 years and no birth date is said",
    "PhysioNet Challenge 2011 data (0 stands for unknown)",
    "It may mean a newborn or nothing at all.",
)  # fmt: skip
_CONTRADICTION = Rule(
    "people.age-and-birth-date", "warning", "age and birth date contradict each other at the time of the recording",
    DEFINITION,
    "One of them, or the clock, is wrong.", "computed",
)  # fmt: skip
_UNBORN = Rule(
    "people.born-after-recording", "error", "the birth date is after the recording", DEFINITION,
    "Birth date or acquisition time is wrong.", "computed",
)  # fmt: skip

RULES = (
    _NOBODY, _PLACEHOLDER, _REMOVED, _TEMPORARY, _NO_AGE, _NO_SEX, _DEFAULT, _AGE, _OLD, _ZERO, _CONTRADICTION, _UNBORN,
)  # fmt: skip

_PLACEHOLDERS = frozenset(
    {"unknown", "unk", "unidentified", "n/a", "none", "null", "test", "testing", "test patient", "patient",
     "patient test", "demo", "default", "dummy", "no name", "noname", "xxx", "xx", "x", "?", "-", "new patient",
     "unbekannt", "inconnu", "desconocido", "sconosciuto", "onbekend", "okänd", "ukjent", "tuntematon"}
)  # fmt: skip
_REMOVED_WORDS = ("anonym", "pseudonym", "deidentif", "de-identif", "removed", "redacted")
_YEARS = {"a": Fraction(1), "mo": Fraction(1, 12), "wk": Fraction(7 * 4, 1461), "d": Fraction(4, 1461),
          "h": Fraction(1, 8766)}  # fmt: skip
_DAYS = {"mo": Fraction(1461, 48), "wk": Fraction(7), "d": Fraction(1), "h": Fraction(1, 24)}
_SHORTEST_RUN = 4


def check(view: View) -> Iterator[Finding]:
    """Findings on the patient."""
    patient = view.recording.patient
    yield from _identity(view, patient)
    if patient.age is None and patient.birth_date is None:
        yield _NO_AGE.at("patient.age")
    if patient.sex is None:
        yield _NO_SEX.at("patient.sex")
    yield from _defaults(view, patient)
    yield from _age(view, patient)


def _identity(view: View, patient: Patient) -> Iterator[Finding]:
    ids = [i for i in patient.ids if i.value.strip()]
    named = patient.name is not None and bool(str(patient.name).strip())
    if not ids and not named:
        yield _NOBODY.at("patient")
        return
    serials = {device.serial for device in view.recording.acquisition.devices if device.serial}
    extra = {text.casefold() for text in view.config.defaults.placeholders}
    places = []
    if ids and (_is_placeholder(ids[0].value, extra) or _is_run(ids[0].value) or ids[0].value in serials):
        places.append("patient.ids[0]")
    if named and any(_is_placeholder(text, extra) for text in _texts_of(patient.name)):
        places.append("patient.name")
    if places:
        yield _PLACEHOLDER.at(places[0], "identifier and name" if len(places) == 2 else "")
    elif named and any(word in str(patient.name).casefold() for word in _REMOVED_WORDS):
        yield _REMOVED.at("patient.name")
    if ids and ids[0].kind == "temporary":
        yield _TEMPORARY.at("patient.ids[0]")


def _texts_of(name: PersonName | None) -> list[str]:
    """The name as a whole, and the family name where it stands for the whole."""
    if name is None:
        return []
    whole = [str(name), " ".join(filter(None, (name.given, name.family)))]
    return [text for text in whole if text] + ([name.family] if name.family and not name.given else [])


def _is_placeholder(text: str, extra: set[str]) -> bool:
    folded = " ".join(text.replace(",", " ").replace("^", " ").split()).casefold()
    return folded in _PLACEHOLDERS or folded in extra or text.casefold() in extra


def _is_run(text: str) -> bool:
    """One character over and over (0000), or digits counting up from 1 (12345)."""
    plain = "".join(c for c in text if c.isalnum())
    if plain == "0" or (len(plain) >= _SHORTEST_RUN and len(set(plain)) == 1):
        return True
    return len(plain) > _SHORTEST_RUN and "1234567890123456789".startswith(plain)


def _defaults(view: View, patient: Patient) -> Iterator[Finding]:
    defaults = view.config.defaults
    hits = []
    if patient.age is not None and patient.age in defaults.ages:
        hits.append("age")
    if patient.birth_date is not None and patient.birth_date in defaults.birth_dates:
        hits.append("birth_date")
    if patient.sex is not None and patient.sex in defaults.sexes:
        hits.append("sex")
    for name in hits:
        yield _DEFAULT.at(f"patient.{name}")


def _age(view: View, patient: Patient) -> Iterator[Finding]:
    limit = view.config.limit("age", "patient")
    years = age_in_years(view.recording)
    if years is not None and limit is not None:
        if not limit.possible[0] <= years <= limit.possible[1]:
            yield _AGE.at("patient.age" if patient.age else "patient.birth_date")
        elif not limit.usual[0] <= years <= limit.usual[1]:
            yield _OLD.at("patient.age" if patient.age else "patient.birth_date")
    if patient.age is not None and patient.age == Quantity(0, "a") and patient.birth_date is None:
        yield _ZERO.at("patient.age")
    time = view.recording.acquisition.time
    born = patient.birth_date
    if born is None or born.year is None or time is None or time.year is None:
        return
    if _as_tuple(born, first=True) > _as_tuple(time, first=False):
        yield _UNBORN.at("patient.birth_date")
    elif patient.age is not None and not _fits(patient.age, born, time):
        yield _CONTRADICTION.at("patient.age")


def _as_tuple(moment: Moment, *, first: bool) -> tuple[int, int, int]:
    """The earliest or the latest day that the moment may mean."""
    return (moment.year or 0, moment.month or (1 if first else 12), moment.day or (1 if first else 31))


def _fits(age: Quantity, born: Moment, time: Moment) -> bool:
    """Whether a stated age can come from the two dates, rounded down, up or to the nearest, in its own unit."""
    if age.unit == "a":
        least = whole_years(_as_tuple(born, first=False), _as_tuple(time, first=True))
        most = whole_years(_as_tuple(born, first=True), _as_tuple(time, first=False))
        return least - 1 < age.value < most + 2
    days = _DAYS.get(age.unit)
    if days is None or None in (born.month, born.day, time.month, time.day):
        return True
    lived = _ordinal(time) - _ordinal(born)
    slack = max(days, Fraction(1)) + 1
    return abs(age.value * days - lived) <= slack


def whole_years(born: tuple[int, int, int], time: tuple[int, int, int]) -> int:
    """Completed years between two days (year, month, day)."""
    return time[0] - born[0] - (time[1:] < born[1:])


def _ordinal(moment: Moment) -> int:
    from datetime import date

    return date(moment.year or 1, moment.month or 1, moment.day or 1).toordinal()


def age_in_years(recording: Recording) -> Fraction | None:
    """The stated age in years, else whole years from birth date and acquisition time; None where neither is said."""
    age, born, time = recording.patient.age, recording.patient.birth_date, recording.acquisition.time
    if age is not None:
        factor = _YEARS.get(age.unit)
        return None if factor is None else age.value * factor
    if born is None or born.year is None or time is None or time.year is None:
        return None
    return Fraction(max(0, whole_years(_as_tuple(born, first=True), _as_tuple(time, first=True))))
