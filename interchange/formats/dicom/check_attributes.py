"""Which attributes must be there: the module tables of PS3.3 against a data set."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from interchange.findings import Finding
from interchange.formats.dicom.dataset import DataSet
from interchange.formats.dicom.dictionary import (
    Attribute,
    StorageClass,
    attributes,
    modules,
    rows,
    tag_of,
)
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


@cache
def _rows_to_check(module: str, path: tuple[str, ...]) -> tuple[Attribute, ...]:
    """The rows that can be broken, or whose items can be: all but those of optional single values."""
    return tuple(row for row in _by_path().get((module, path), ()) if row.type != "3" or row.vr == "SQ")


def _check_rows(top: DataSet, item: DataSet, module: str, path: tuple[str, ...], clause: str) -> Iterator[Finding]:
    for row in _rows_to_check(module, path):
        element = item.get(row.tag)
        if element is None or (element.length == 0 and row.type in ("1", "1C")):
            if row.type in ("1", "2") or (row.type in ("1C", "2C") and _required(row, item, top)):
                yield _missing(row, item, clause)
            continue
        for inner in element.items or ():
            if inner.known is None or _looks_up(module, (*path, row.keyword), row.macro):
                yield from _check_item(top, inner, row, module, clause)
                continue
            key = ("attributes", module, path, row.macro)
            if key not in inner.known.facts:
                found = list(_check_item(top, inner, row, module, clause))
                yield from found
                if not found:
                    inner.known.add(key, True)


def _check_item(top: DataSet, inner: DataSet, row: Attribute, module: str, clause: str) -> Iterator[Finding]:
    yield from _check_rows(top, inner, module, (*row.path, row.keyword), clause)
    if row.macro:
        yield from _check_rows(top, inner, row.macro, (), modules()[row.macro].clause)


@cache
def _looks_up(module: str, path: tuple[str, ...], macro: str) -> bool:
    """Whether what a module and a macro demand of the items at a path can depend on the top data set."""
    inside = [row for row in attributes() if row.module == module and row.path[: len(path)] == path]
    above = any(term.lstrip("!").startswith("/") for row in inside for term in row.condition)
    macros = {row.macro for row in inside if row.macro and (row.macro, ()) != (module, path)} | ({macro} - {""})
    return above or any(_looks_up(name, (), "") for name in macros)


def _missing(row: Attribute, item: DataSet, clause: str) -> Finding:
    rule = RULE[_SEVERITY[row.type]]
    condition = f", condition: {' '.join(row.condition)}" if row.condition else ""
    found = rule.at(item.at(row.tag), f"type {row.type}{condition}")
    return Finding(found.rule, found.severity, found.place, found.reason, f"{clause}; {rule.clause}")


def _required(row: Attribute, item: DataSet, top: DataSet) -> bool:
    """Whether a condition of the table holds; one that no program can test does not."""
    if not row.condition:
        return False
    for absent, above, tag, values in _terms(row.condition):
        raw = (top if above else item).raw(tag)
        if absent:
            if raw is not None:
                return False
        elif not raw or (values and raw.rstrip(b"\0 ").decode("ascii", "replace") not in values):
            return False
    return True


@cache
def _terms(condition: tuple[str, ...]) -> tuple[tuple[bool, bool, int, tuple[str, ...]], ...]:
    """Each term of a condition: whether the element must be absent, whether it is one of the top data set, its tag,
    and the values that it may have."""
    found = []
    for term in condition:
        name, _, values = term.lstrip("!").partition("=")
        alternatives = tuple(values.split("|")) if values else ()
        found.append((term.startswith("!"), name.startswith("/"), tag_of(name.lstrip("/")), alternatives))
    return tuple(found)
