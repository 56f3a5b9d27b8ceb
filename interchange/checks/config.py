"""What a site can set: rules, limits, thresholds, defaults of its devices.

Limits and thresholds are tables (``tables/limits.csv``, ``tables/thresholds.csv``) with where each number is from.
Those of this project are wide on purpose, since patients are ill.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from dataclasses import field
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from interchange.errors import UsageError
from interchange.findings import SEVERITIES, Finding, Severity
from interchange.model import Moment, Quantity
from interchange.records import dataclass

__all__ = ["CheckConfig", "DeviceDefaults", "Limit", "Threshold", "limits", "load_config", "thresholds"]

_DECIMAL = re.compile(r"[+-]?[0-9]{1,30}(?:\.[0-9]{1,30})?(?:[eE][+-]?[0-9]{1,2})?")
_TABLES = Path(__file__).parent / "tables"


@dataclass(frozen=True, slots=True)
class Limit:
    """The range in which a value is usual, and the wider one in which it is possible at all, in ``unit``."""

    concept: str
    scope: str
    unit: str
    usual: tuple[Fraction, Fraction]
    possible: tuple[Fraction, Fraction]
    catches: str = ""


@dataclass(frozen=True, slots=True)
class Threshold:
    """A number that decides whether something is said; ``source`` "project" is a proposal of this project."""

    name: str
    value: Fraction
    unit: str
    meaning: str
    source: str
    confidence: str


@dataclass(frozen=True, slots=True)
class DeviceDefaults:
    """What the site's devices fill in when nobody edits it.  Ships empty.

    ``dates``: days that a reset clock starts from.  ``placeholders``: names and ids that stand for nobody.
    """

    ages: tuple[Quantity, ...] = ()
    sexes: tuple[str, ...] = ()
    birth_dates: tuple[Moment, ...] = ()
    dates: tuple[Moment, ...] = ()
    placeholders: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CheckConfig:
    """How to check.

    ``off``: ids of rules that are not applied, or an area with a star ("people.*").  ``severities``: severity by rule
    id, in place of the rule's own.  ``expect``: id of the lead set that must be there.  ``limits`` and ``thresholds``:
    in place of those of the tables, by name.  ``now``: the present instant with its zone; without it nothing is said
    about times in the future (nothing in here reads a clock).
    """

    off: frozenset[str] = frozenset()
    severities: Mapping[str, Severity] = field(default_factory=dict)
    expect: str | None = None
    defaults: DeviceDefaults = DeviceDefaults()
    limits: Mapping[tuple[str, str], Limit] = field(default_factory=dict)
    thresholds: Mapping[str, Fraction] = field(default_factory=dict)
    now: Moment | None = None

    def limit(self, concept: str, scope: str) -> Limit | None:
        """The limits of a concept, None where there are none."""
        return self.limits.get((concept, scope)) or limits().get((concept, scope))

    def exact(self, name: str) -> Fraction:
        """A threshold as an exact number."""
        found = self.thresholds.get(name)
        return thresholds()[name].value if found is None else found

    def number(self, name: str) -> float:
        """A threshold as a float, for comparison with what is itself a float."""
        return float(self.exact(name))

    def applied(self, findings: Iterator[Finding]) -> Iterator[Finding]:
        """The findings without those switched off, with the severities asked for."""
        for finding in findings:
            area = finding.rule.partition(".")[0]
            if finding.rule in self.off or f"{area}.*" in self.off:
                continue
            severity = self.severities.get(finding.rule)
            if severity is None or severity == finding.severity:
                yield finding
            else:
                yield Finding(finding.rule, severity, finding.place, finding.reason, finding.clause)


@cache
def limits() -> Mapping[tuple[str, str], Limit]:
    """The table of limits by concept and scope."""
    return {
        (row["concept"], row["scope"]): Limit(
            row["concept"],
            row["scope"],
            row["unit"],
            (Fraction(row["usual_low"]), Fraction(row["usual_high"])),
            (Fraction(row["possible_low"]), Fraction(row["possible_high"])),
            row["catches"],
        )
        for row in _rows("limits.csv")
    }


@cache
def thresholds() -> Mapping[str, Threshold]:
    """The table of thresholds by name."""
    return {
        row["name"]: Threshold(
            row["name"], Fraction(row["value"]), row["unit"], row["meaning"], row["source"], row["confidence"]
        )
        for row in _rows("thresholds.csv")
    }


def _rows(name: str) -> Iterator[dict[str, str]]:
    with (_TABLES / name).open(encoding="utf-8", newline="") as file:
        yield from csv.DictReader(file, strict=True)


def load_config(text: str) -> CheckConfig:
    """The configuration that a TOML text describes; UsageError names the key that makes no sense.

    Keys: ``expect``, ``off`` (list of rule ids), and the tables ``severity`` (rule id = severity), ``device-defaults``
    (lists ``ages``, ``sexes``, ``birth-dates``, ``dates``, ``placeholders``), ``limits`` (concept = {usual = [low,
    high], possible = [low, high]}; ``"j-amplitude per lead"`` for one that is measured per lead) and ``thresholds``
    (name = number).
    """
    import tomllib

    try:
        tables = tomllib.loads(text, parse_float=_fraction)
    except (tomllib.TOMLDecodeError, ValueError, RecursionError):
        raise UsageError("the configuration is no valid TOML") from None
    known = {"expect", "off", "severity", "device-defaults", "limits", "thresholds"}
    for key in tables:
        if key not in known:
            raise UsageError(f"the configuration has no such key; the keys are {', '.join(sorted(known))}", key)
    return CheckConfig(
        off=frozenset(_rule_id("off", name, star=True) for name in _texts(tables, "off")),
        severities=_severities(_table(tables, "severity")),
        expect=_expected(tables.get("expect")),
        defaults=_defaults(_table(tables, "device-defaults")),
        limits=_limits(_table(tables, "limits")),
        thresholds=_thresholds(_table(tables, "thresholds")),
    )


def _table(tables: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    value = tables.get(key, {})
    if not isinstance(value, dict):
        raise UsageError("must be a table", key)
    return value


def _texts(table: Mapping[str, Any], key: str, place: str = "") -> tuple[str, ...]:
    value = table.get(key, [])
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise UsageError("must be a list of texts", f"{place}{key}")
    return tuple(value)


def _rule_id(place: str, name: str, *, star: bool = False) -> str:
    """A rule id as written; only its form is looked at, since formats bring rules of their own."""
    area, dot, rest = name.partition(".")
    if not (area and dot and rest) or (rest == "*" and not star) or name != name.strip():
        raise UsageError("is no rule id (area.name" + (" or area.*)" if star else ")"), place)
    return name


def _severities(table: Mapping[str, Any]) -> Mapping[str, Severity]:
    found: dict[str, Severity] = {}
    for key, value in table.items():
        severity = next((known for known in SEVERITIES if known == value), None)
        if severity is None:
            raise UsageError(f"must be one of {', '.join(SEVERITIES)}", f"severity.{key}")
        found[_rule_id("severity", key)] = severity
    return found


def _expected(value: Any) -> str | None:
    if value is None:
        return None
    from interchange.vocabulary import lead_set

    try:
        return lead_set(value).id
    except (KeyError, TypeError):
        raise UsageError("is no lead set of the table", "expect") from None


def _defaults(table: Mapping[str, Any]) -> DeviceDefaults:
    place = "device-defaults."
    known = {"ages", "sexes", "birth-dates", "dates", "placeholders"}
    for key in table:
        if key not in known:
            raise UsageError(f"there is no such list; the lists are {', '.join(sorted(known))}", place + key)
    ages = table.get("ages", [])
    if not isinstance(ages, list):
        raise UsageError("must be a list", f"{place}ages")
    return DeviceDefaults(
        ages=tuple(_age(item) for item in ages),
        sexes=_texts(table, "sexes", place),
        birth_dates=_dates(table, "birth-dates"),
        dates=_dates(table, "dates"),
        placeholders=_texts(table, "placeholders", place),
    )


def _age(item: Any) -> Quantity:
    """50 (years), or "50 a", "9 d"."""
    number, _, unit = (item if isinstance(item, str) else f"{item} a").partition(" ")
    try:
        value = _fraction(number) if isinstance(item, str) else item
    except ValueError:
        value = None
    if not _is_number(value) or unit not in ("a", "mo", "wk", "d", "h"):
        reason = "must be years as a number, or a number with its unit (a, mo, wk, d, h)"
        raise UsageError(reason, "device-defaults.ages")
    exact = Fraction(value)  # type: ignore[arg-type]
    return Quantity(exact.numerator if exact.denominator == 1 else exact, unit)


def _dates(table: Mapping[str, Any], key: str) -> tuple[Moment, ...]:
    """TOML dates, or texts as YYYY-MM-DD or YYYY."""
    value = table.get(key, [])
    found = []
    for item in value if isinstance(value, list) else [None]:
        try:
            moment = Moment.parse(str(item))
        except ValueError:
            moment = Moment()
        if moment.year is None or moment.hour is not None or moment.zone is not None:
            raise UsageError("must be a list of dates as YYYY-MM-DD or YYYY", f"device-defaults.{key}")
        found.append(moment)
    return tuple(found)


def _limits(table: Mapping[str, Any]) -> Mapping[tuple[str, str], Limit]:
    found = {}
    for key, value in table.items():
        place = f"limits.{key}"
        concept, _, scope = key.partition(" ")
        row = limits().get((concept, scope)) or next(
            (r for r in limits().values() if not scope and r.concept == key), None
        )
        if row is None:
            raise UsageError("has no limits", place)
        if not isinstance(value, dict) or not set(value) <= {"usual", "possible"}:
            raise UsageError("must be a table of usual and possible", place)
        usual = _range(value["usual"], place) if "usual" in value else row.usual
        possible = _range(value["possible"], place) if "possible" in value else row.possible
        found[row.concept, row.scope] = Limit(row.concept, row.scope, row.unit, usual, possible, row.catches)
    return found


def _range(value: Any, place: str) -> tuple[Fraction, Fraction]:
    if not isinstance(value, list) or len(value) != 2 or not all(_is_number(item) for item in value):
        raise UsageError("must be two numbers, the lower first", place)
    low, high = Fraction(value[0]), Fraction(value[1])
    if low > high:
        raise UsageError("must be two numbers, the lower first", place)
    return low, high


def _thresholds(table: Mapping[str, Any]) -> Mapping[str, Fraction]:
    for key, value in table.items():
        if key not in thresholds():
            raise UsageError("there is no such threshold", f"thresholds.{key}")
        if not _is_number(value) or value < 0:
            raise UsageError("must be a number, zero or more", f"thresholds.{key}")
    return {key: Fraction(value) for key, value in table.items()}


def _fraction(text: str) -> Fraction:
    """A decimal as an exact number; ValueError for what is none, or has an exponent of more than two digits."""
    if not _DECIMAL.fullmatch(text):
        raise ValueError("no decimal number")
    return Fraction(text)


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, Fraction)) and not isinstance(value, bool)
