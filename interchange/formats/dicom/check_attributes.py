"""Which attributes must be there: the module tables of PS3.3 against a data set."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from interchange.findings import Finding
from interchange.formats.dicom.dictionary import (
    Attribute,
    StorageClass,
    attributes,
    modules,
    rows,
    tag_of,
)
from interchange.formats.dicom.parse import DataSet
from interchange.formats.dicom.rules import RULE

__all__ = ["check_attributes", "enumerated"]

_LEAD_OUT = frozenset({"outside", "code", "person", "issuer", "patient-id-issuer", "sop-reference"})
_SEVERITY = {"1": "missing-type-1", "2": "missing-type-2", "1C": "missing-conditional", "2C": "missing-conditional"}


@cache
def _by_path() -> dict[tuple[str, tuple[str, ...]], tuple[Attribute, ...]]:
    """Rows of the table by module (or macro) and the sequences above them."""
    index: dict[tuple[str, tuple[str, ...]], list[Attribute]] = {}
    for row in attributes():
        index.setdefault((row.module, row.path), []).append(row)
    return {key: tuple(found) for key, found in index.items()}


@cache
def enumerated() -> dict[int, tuple[frozenset[str], str]]:
    """Attributes with enumerated values: tag to (values, clause); a low line in the table stands for a blank."""
    return {
        tag_of(row["keyword"]): (frozenset(value.replace("_", " ") for value in row["values"].split()), row["clause"])
        for row in rows("enumerated.csv")
    }


def check_attributes(top: DataSet, storage: StorageClass) -> Iterator[Finding]:
    """Missing attributes of every module of the storage class, in the order of the modules."""
    for name, module in modules().items():
        if name in _LEAD_OUT:
            continue
        usage = module.usage.get(storage.id, "")
        if usage == "M" or (usage in ("U", "C") and _is_used(top, name)):
            yield from _check_rows(top, top, name, (), module.clause)


@cache
def _own_tags(name: str) -> frozenset[int]:
    """Top-level attributes that no other module has."""
    mine = {row.tag for row in _by_path()[name, ()]}
    others = {
        row.tag
        for (module, path), found in _by_path().items()
        if not path and module != name and module not in _LEAD_OUT
        for row in found
    }
    return frozenset(mine - others)


def _is_used(top: DataSet, name: str) -> bool:
    return not _own_tags(name).isdisjoint(top)


def _check_rows(top: DataSet, item: DataSet, module: str, path: tuple[str, ...], clause: str) -> Iterator[Finding]:
    for row in _by_path().get((module, path), ()):
        element = item.get(row.tag)
        if element is None or (element.length == 0 and row.type in ("1", "1C")):
            if row.type in ("1", "2") or (row.type in ("1C", "2C") and _required(row, item, top)):
                yield _missing(row, item, clause)
            continue
        for inner in element.items or ():
            yield from _check_rows(top, inner, module, (*path, row.keyword), clause)
            if row.macro:
                yield from _check_rows(top, inner, row.macro, (), modules()[row.macro].clause)


def _missing(row: Attribute, item: DataSet, clause: str) -> Finding:
    rule = RULE[_SEVERITY[row.type]]
    condition = f", condition: {' '.join(row.condition)}" if row.condition else ""
    found = rule.at(item.at(row.tag), f"type {row.type}{condition}")
    return Finding(found.rule, found.severity, found.place, found.reason, f"{clause}; {rule.clause}")


def _required(row: Attribute, item: DataSet, top: DataSet) -> bool:
    """Whether a condition of the table holds; one that no program can test does not."""
    return bool(row.condition) and all(_holds(term, item, top) for term in row.condition)


def _holds(term: str, item: DataSet, top: DataSet) -> bool:
    absent = term.startswith("!")
    name, _, values = term.lstrip("!").partition("=")
    owner = top if name.startswith("/") else item
    raw = owner.raw(tag_of(name.lstrip("/")))
    if absent:
        return raw is None
    if not values:
        return bool(raw)
    return (raw or b"").rstrip(b"\0 ").decode("ascii", "replace") in values.split("|")
