"""Measurements, marks, beats, rhythms, noise and texts: one name for each, and what every format calls it."""

from __future__ import annotations

from functools import cache
from typing import Literal, cast

from interchange.records import dataclass
from interchange.vocabulary.codes import plain_code
from interchange.vocabulary.lead_table import Lead, lead_by_mdc
from interchange.vocabulary.load import rows

__all__ = [
    "Concept",
    "Scope",
    "concept",
    "concept_by_legacy",
    "concept_by_mdc",
    "concept_by_refid",
    "concept_by_scp",
    "concepts",
    "concepts_by_mdc",
    "concepts_by_wfdb",
    "mdc_code_of",
]

Scope = Literal["global", "per lead", "mark"]
SCOPES: tuple[Scope, ...] = ("global", "per lead", "mark")


@dataclass(frozen=True, slots=True)
class Concept:
    """One concept in one scope; ``id`` and ``scope`` together are unique.

    ``scope``: of the whole recording, of one lead (``mdc_code`` is then the base to which the lead's number is added),
    or bound to a place in time.  ``kind``: interval, amplitude, axis, rate, slope, count, code, mark, beat, rhythm,
    noise or text.  ``unit``: UCUM.  ``aecg_code`` and ``aecg_value`` are annotation/code and, where that only names a
    class, the coded value.  ``also_read`` holds other ids and codes for the same thing.  ``part_of`` names wave and
    part for an instant ("p-wave:start").  ``scp_field``: section.part.bytes, bytes from 1.  ``wfdb_fit``: whether the
    annotation to write says exactly this, something broader or narrower, or there is none.  Text that there is not is
    empty.  ``confidence`` speaks of the identity and the MDC code, ``scp_confidence`` of the SCP-ECG field.

    Sources: DICOM PS3.16, ISO/IEEE 11073-10101 and -10102, EN 1064, WFDB annot(5), LOINC, CDISC C71153; each row names
    its own.
    """

    id: str
    scope: Scope
    meaning: str
    kind: str
    unit: str
    mdc_refid: str
    mdc_code: str
    aecg_code: str
    aecg_value: str
    also_read: tuple[str, ...]
    part_of: str
    scp_field: str
    scp_confidence: str
    dicom_cid: tuple[int, ...]
    dicom_meaning: tuple[str, ...]
    legacy_scpecg: str
    wfdb_number: int | None
    wfdb_aux: str
    wfdb_fit: str
    loinc: str
    cdisc: str
    note: str
    source: str
    confidence: str


@cache
def concepts() -> tuple[Concept, ...]:
    """All concepts in the order of the table."""
    return tuple(_concept(row) for row in rows("concepts.csv"))


def _concept(row: list[str]) -> Concept:
    (id_, scope, meaning, kind, unit, refid, code, aecg_code, aecg_value, also_read, part_of, scp_field, scp_confidence,
     cid, dicom_meaning, legacy, number, aux, fit, loinc, cdisc, note, source, confidence) = row  # fmt: skip
    return Concept(  # by position: twice as fast, and in the order of the columns
        id_,
        cast(Scope, scope),
        meaning,
        kind,
        unit,
        refid,
        code,
        aecg_code,
        aecg_value,
        tuple(also_read.split()),
        part_of,
        scp_field,
        scp_confidence,
        tuple(map(int, cid.split())),
        tuple(dicom_meaning.split(" | ")) if dicom_meaning else (),
        legacy,
        int(number) if number else None,
        aux,
        fit,
        loinc,
        cdisc,
        note,
        source,
        confidence,
    )


@cache
def _by_id() -> dict[tuple[str, str], Concept]:
    return {(row.id, row.scope): row for row in concepts()}


@cache
def _by_refid() -> dict[tuple[str, str], Concept]:
    """Reference ids in capitals with their scope; where two concepts share one the first of the table is meant."""
    index: dict[tuple[str, str], Concept] = {}
    for row in concepts():
        for refid in _refids(row):
            index.setdefault((refid, row.scope), row)
    return index


def _refids(row: Concept) -> set[str]:
    """Every id that names ``row``, in capitals; the class code of a wave or beat does not."""
    names = (row.mdc_refid, row.aecg_value or row.aecg_code, *row.also_read)
    return {name.upper() for name in names if name.startswith("MDC_")}


@cache
def _by_code() -> dict[str, tuple[Concept, ...]]:
    index: dict[str, tuple[Concept, ...]] = {}
    for row in concepts():
        for code in (row.mdc_code, *(name for name in row.also_read if ":" in name)):
            if code:
                index[code] = (*index.get(code, ()), row)
    return index


@cache
def _by_legacy() -> dict[str, Concept]:
    return {row.legacy_scpecg: row for row in concepts() if row.legacy_scpecg}


@cache
def _by_scp() -> dict[str, Concept]:
    return {row.scp_field: row for row in concepts() if row.scp_field}


def concept(id: str, scope: Scope) -> Concept:
    """The concept ``id`` in ``scope``.  Raises KeyError where there is none."""
    return _by_id()[id, scope]


def concept_by_refid(refid: str, scope: Scope | None = None) -> Concept | None:
    """The concept with this MDC reference id in any case, or None.

    One id may name a measurement of the whole recording and of a lead; without ``scope`` the first of global, per
    lead and mark that has it is returned.  A bare class (MDC_ECG_WAVC) names nothing.
    """
    name = refid.strip().upper()
    found = (_by_refid().get((name, where)) for where in ((scope,) if scope else SCOPES))
    return next((row for row in found if row is not None), None)


def concepts_by_mdc(code: str) -> tuple[tuple[Concept, Lead | None], ...]:
    """Everything that the MDC code ``code`` ("2:16168") may mean, with the lead where the number holds one.

    A code of a measurement per lead is the base or base + lead number.  Several entries mean that the published tables
    gave one number twice (DICOM PS3.16 CID 3227 and 3335); none that the code is not known.
    """
    text = plain_code(code)
    known = _by_code().get(text, ())
    if known:
        return tuple((row, None) for row in known)
    partition, _, term = text.partition(":")
    if partition != "2" or not (term.isascii() and term.isdigit() and len(term) <= 5):
        return ()
    number = int(term)
    lead = lead_by_mdc(number % 256)
    bases = _by_code().get(f"2:{number - number % 256}", ())
    return tuple((row, lead) for row in bases if row.scope == "per lead") if lead is not None else ()


def concept_by_mdc(code: str, meaning: str = "", refid: str = "") -> tuple[Concept, Lead | None] | None:
    """What the MDC code ``code`` means, with the lead where the number holds one; None if unknown or ambiguous.

    Where one number has several meanings the printed ``meaning`` (Code Meaning of DICOM) or the reference ``refid``
    that stands beside it decides; without a match the number alone decides nothing.
    """
    found = concepts_by_mdc(code)
    if len(found) > 1:
        text, name = " ".join(meaning.split()).casefold(), refid.strip().upper()
        found = tuple(
            entry
            for entry in found
            if (name and name in _refids(entry[0])) or (text and text in (m.casefold() for m in entry[0].dicom_meaning))
        )
    return found[0] if len(found) == 1 else None


def mdc_code_of(concept: Concept, lead: Lead | None = None) -> str:
    """The MDC code of ``concept``, per lead that of ``lead`` (base + number); empty where there is none."""
    if concept.scope != "per lead" or lead is None or not concept.mdc_code:
        return concept.mdc_code
    return f"2:{int(concept.mdc_code[2:]) + lead.mdc_number}" if lead.mdc_number is not None else ""


def concept_by_legacy(code: str) -> Concept | None:
    """The concept with this code value of DICOM's retired scheme SCPECG ("5.10.3-11"), or None."""
    return _by_legacy().get(code.strip())


def concept_by_scp(field: str) -> Concept | None:
    """The concept in this SCP-ECG field ("7.block.11-12", "10.lead.9-10"), or None."""
    return _by_scp().get(field)


def concepts_by_wfdb(number: int, aux: str = "") -> tuple[Concept, ...]:
    """The concepts that are written as WFDB annotation ``number`` with the rhythm text ``aux``, exact ones first."""
    found = [row for row in concepts() if row.wfdb_number == number and row.wfdb_aux == aux]
    return tuple(sorted(found, key=lambda row: row.wfdb_fit != "exact"))
