"""The annotation codes of WFDB and its rhythm texts (annot(5), ecgcodes.h)."""

from __future__ import annotations

from functools import cache
from typing import Literal

from interchange.records import dataclass
from interchange.vocabulary.concept_table import concept as concept_of
from interchange.vocabulary.load import rows

__all__ = ["Beat", "beat", "beat_for_concept", "beat_for_symbol", "beats"]


@dataclass(frozen=True, slots=True)
class Beat:
    """One annotation code, or one text of the rhythm code 28.

    ``symbol`` is the one-letter mnemonic, ``aux`` the rhythm text ("(AFIB").  ``concept`` is the id of the mark with
    this meaning.  ``degree`` says what the MDC term is against the WFDB code: exact, broader, narrower or none.
    Codes 15, 17 and 42 to 49 have no meaning; 59 to 63 are parts of the file format.
    """

    kind: Literal["annotation", "rhythm text"]
    number: int
    symbol: str
    name: str
    aux: str
    meaning: str
    counts_as_qrs: bool
    concept: str
    mdc_refid: str
    mdc_code: str
    degree: str
    note: str
    source: str
    confidence: str


@cache
def beats() -> tuple[Beat, ...]:
    """All annotation codes by number, then all rhythm texts."""
    return tuple(_beat(row) for row in rows("beats.csv"))


def _beat(row: list[str]) -> Beat:
    kind, number, symbol, name, aux, meaning, qrs, concept, refid, code, degree, note, source, confidence = row
    return Beat(
        kind="rhythm text" if kind == "rhythm text" else "annotation",
        number=int(number),
        symbol=symbol,
        name=name,
        aux=aux,
        meaning=meaning,
        counts_as_qrs=qrs == "yes",
        concept=concept,
        mdc_refid=refid,
        mdc_code=code,
        degree=degree,
        note=note,
        source=source,
        confidence=confidence,
    )


@cache
def _by_number() -> dict[tuple[int, str], Beat]:
    return {(row.number, row.aux): row for row in beats()}


@cache
def _by_symbol() -> dict[str, Beat]:
    return {row.symbol: row for row in beats() if row.kind == "annotation"}


def beat(number: int, aux: str = "") -> Beat | None:
    """The annotation code ``number``, or None.

    For the rhythm code 28 a known text ``aux`` gives the row of that rhythm, an unknown one the code itself.
    """
    return _by_number().get((number, aux.strip())) or _by_number().get((number, ""))


def beat_for_symbol(symbol: str) -> Beat | None:
    """The annotation code with this mnemonic ("N", "V"), or None."""
    return _by_symbol().get(symbol)


def beat_for_concept(concept_id: str) -> Beat | None:
    """The annotation to write for the mark ``concept_id``, or None where WFDB has none.

    How well it fits is said by ``wfdb_fit`` of the concept.  Raises KeyError for an unknown mark.
    """
    row = concept_of(concept_id, "mark")
    return None if row.wfdb_number is None else _by_number()[row.wfdb_number, row.wfdb_aux]
