"""Two pages for developers, made from the tables: ``python -m interchange.formats.pages`` writes them.

``interchange/formats/FIELDS.md``: where every field of the model lives in every format (the formats' accounts).
``interchange/vocabulary/CONCEPTS.md``: where every concept lives in every format (the concept table).
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from interchange.formats import FORMATS, load
from interchange.formats.contract import Account, Place
from interchange.model.paths import field_paths
from interchange.vocabulary import Concept, concepts

__all__ = ["concepts_page", "fields_page", "place_of"]

HERE = Path(__file__).resolve().parent
FIELDS = HERE / "FIELDS.md"
CONCEPTS = HERE.parent / "vocabulary" / "CONCEPTS.md"

_MADE = "Made by `python -m interchange.formats.pages` from the tables; a test compares. Do not edit by hand."

_SHOWN = (
    "tracings", "patient", "acquisition", "measurements", "marks", "statements", "trial", "document_id",
    "deidentification", "extras",
)  # fmt: skip


def place_of(account: Account, path: str) -> Place | None:
    """The entry of an account that stands for a field: its own, else that of the nearest field above it."""
    while path:
        if path in account:
            return account[path]
        path = path.rpartition(".")[0]
    return None


def fields_page() -> str:
    """Where every field lives: one row per field, one column per format."""
    lines = [
        "# Where every field of the model lives",
        "",
        _MADE,
        "",
        "`=` its own field; `T` a documented line of text, taken back by the reader; `~` partly (what does not fit is",
        "changed or left and listed in the receipt); `-` no place (the reason is what the receipt says).",
    ]
    accounts = {entry.name: load(entry.name).ACCOUNT for entry in FORMATS}
    titles = {entry.name: entry.title for entry in FORMATS}
    for group in _SHOWN:
        paths = [path for path in field_paths() if path == group or path.startswith(f"{group}.")]
        lines += [
            "",
            f"## {group}",
            "",
            f"| field | {' | '.join(titles.values())} |",
            "| --- " * (len(titles) + 1) + "|",
        ]
        lines += [
            f"| `{path}` | {' | '.join(_place(place_of(a, path)) for a in accounts.values())} |" for path in paths
        ]
    return "\n".join(lines) + "\n"


_SIGNS = {"field": "=", "text": "T", "partly": "~", "left": "-"}


def _place(place: Place | None) -> str:
    if place is None:
        return ""
    clause = f" ({place.clause})" if place.clause and place.how != "left" else ""
    return _cell(f"{_SIGNS[place.how]} {place.where}{clause}")


def concepts_page() -> str:
    """Where every concept lives: one row per concept and scope."""
    lines = [
        "# Where every concept lives",
        "",
        _MADE,
        "",
        "Sources and confidence of each row are in `tables/concepts.csv`. aECG: annotation code and value. SCP-ECG:",
        "section.part.bytes of EN 1064, `?` from memory, `??` unsure. DICOM: code of scheme MDC (PS3.16) and context",
        "groups; per-lead codes are the base to which the lead's number is added. WFDB: number of the annotation",
        "(annot(5)) and whether it says exactly this; everything else: info strings. LOINC where there is one.",
    ]
    for scope in ("global", "per lead", "mark"):
        lines += [
            "",
            f"## {scope}",
            "",
            "| concept | meaning | unit | aECG | SCP-ECG | DICOM | WFDB | LOINC |",
            "| --- | --- | --- | --- | --- | --- | --- | --- |",
        ]
        lines += [_concept(row) for row in concepts() if row.scope == scope]
    return "\n".join(lines) + "\n"


def _concept(row: Concept) -> str:
    doubt = {"MEMORY": " ?", "UNSURE": " ??"}.get(row.scp_confidence, "")
    wfdb = "" if row.wfdb_number is None else f"{row.wfdb_number}{_aux(row)} {row.wfdb_fit}"
    groups = f" CID {' '.join(map(str, row.dicom_cid))}" if row.dicom_cid else ""
    cells = (
        f"`{row.id}`",
        row.meaning,
        row.unit,
        " = ".join(filter(None, (row.aecg_code, row.aecg_value))),
        f"{row.scp_field}{doubt}" if row.scp_field else "",
        f"{row.mdc_code}{groups}",
        wfdb,
        row.loinc,
    )
    return f"| {' | '.join(map(_cell, cells))} |"


def _aux(row: Concept) -> str:
    return f" {row.wfdb_aux}" if row.wfdb_aux else ""


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ")


def _write(pages: Iterable[tuple[Path, str]]) -> None:
    for path, text in pages:
        path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    _write([(FIELDS, fields_page()), (CONCEPTS, concepts_page())])
