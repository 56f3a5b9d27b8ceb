"""The tables by themselves: form, sources, keys, and the clashes that the published documents really have."""

import csv
import re
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import pytest

import interchange.vocabulary
from interchange.vocabulary import beats, concepts, lead, lead_sets, leads, special_values
from interchange.vocabulary.concept_table import Concept

TABLES = Path(interchange.vocabulary.__file__).parent / "tables"
CONFIDENCE = {"SEEN", "COMPUTED", "MEMORY", "UNSURE"}
READERS = {
    "leads.csv": leads,
    "concepts.csv": concepts,
    "beats.csv": beats,
    "lead-sets.csv": lead_sets,
    "special-values.csv": special_values,
}


def cells(name):
    with (TABLES / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def test_every_table_has_a_reader_and_every_row_is_read():
    assert {path.name for path in TABLES.iterdir()} == set(READERS)
    for name, read in READERS.items():
        assert len(read()) == len(cells(name)) > 0


@pytest.mark.parametrize("name", READERS)
def test_rows_are_whole_and_say_where_they_are_from_and_how_sure(name):
    for row in cells(name):
        assert None not in row
        assert None not in row.values()
        assert row["confidence"] in CONFIDENCE
        assert row["source"]
        assert row.get("scp_confidence", "") in CONFIDENCE | {""}
        for column, cell in row.items():
            assert cell == cell.strip() or column == "symbol"
            assert "\n" not in cell


def test_text_is_read_into_the_field_of_its_column():
    assert [field.name for field in fields(Concept)] == list(cells("concepts.csv")[0])
    for row, read in zip(cells("concepts.csv"), concepts(), strict=True):
        assert (read.id, read.scope, read.loinc, read.confidence) == (
            row["id"],
            row["scope"],
            row["loinc"],
            row["confidence"],
        )
        assert " ".join(map(str, read.dicom_cid)) == row["dicom_cid"]
    for row, read in zip(cells("leads.csv"), leads(), strict=True):
        assert (read.id, read.name, read.electrodes, read.source) == (
            row["id"],
            row["name"],
            row["electrodes"],
            row["source"],
        )
        assert (read.mdc_refid, read.mdc_refid_other, read.dicom_meaning) == (
            row["refid"],
            row["refid_other"],
            row["dicom_meaning"],
        )
        assert (read.nearest_code, read.scp_confidence, read.confidence) == (
            row["nearest_code"],
            row["scp_confidence"],
            row["confidence"],
        )
        assert read.mdc_number == (int(row["number"]) if row["number"] else None)
    for row, read in zip(cells("beats.csv"), beats(), strict=True):
        assert (str(read.number), read.symbol, read.aux, read.degree) == (
            row["number"],
            row["symbol"],
            row["aux"],
            row["degree"],
        )
    for row, read in zip(cells("lead-sets.csv"), lead_sets(), strict=True):
        assert (read.id, " ".join(read.required), read.code, read.nemsis) == (
            row["id"],
            row["required"],
            row["code"],
            row["nemsis"],
        )


def test_words_of_the_columns():
    assert {row.origin for row in leads()} == {"recorded", "derived"}
    assert {row.scope for row in concepts()} == {"global", "per lead", "mark"}
    assert {row.kind for row in concepts()} == {
        "interval", "amplitude", "axis", "rate", "slope", "count", "code", "mark", "beat", "rhythm", "noise", "text",
    }  # fmt: skip
    assert {row.unit for row in concepts()} <= {"", "ms", "us", "uV", "uV/s", "deg", "/min", "1", "{beats}"}
    assert {row.wfdb_fit for row in concepts()} == {"", "exact", "broader", "narrower", "none"}
    assert {row.degree for row in beats()} == {"exact", "broader", "narrower", "none"}
    assert {row.kind for row in lead_sets()} == {"lead set", "lead system", "placement", "order"}
    assert {row.format for row in special_values()} == {"aecg", "dicom", "scp", "wfdb"}
    assert {row.read_as for row in special_values()} == {
        "not-said", "unknown", "not-measured", "wave-absent", "rejected", "not-applicable", "withheld", "undefined",
        "missing-sample", "default", "reference", "end", "value", "warning",
    }  # fmt: skip


def test_keys_are_unique():
    for rows in (
        [row.id for row in leads()],
        [row.mdc_number for row in leads() if row.mdc_number is not None],
        [row.mdc_refid.upper() for row in leads() if row.mdc_refid],
        [(row.id, row.scope) for row in concepts()],
        [row.scp_field for row in concepts() if row.scp_field],
        [row.legacy_scpecg for row in concepts() if row.legacy_scpecg],
        [(row.number, row.aux) for row in beats()],
        [row.id for row in lead_sets()],
        [(row.format, row.place, row.value) for row in special_values()],
    ):
        assert len(set(rows)) == len(rows)


def test_ids_can_be_typed():
    for row in (*concepts(), *lead_sets()):
        assert re.fullmatch(r"[a-z][a-z0-9]*(-[a-z0-9]+)*", row.id)
    for row in leads():
        assert re.fullmatch(r"d?-?[A-Za-z][A-Za-z0-9]*", row.id)


def test_numbers_0_to_184_are_ninety_two_leads_recorded_and_calculated():
    assert {row.mdc_number for row in leads() if row.mdc_number is not None} == set(range(185))
    recorded = {row.id for row in leads() if row.origin == "recorded" and row.mdc_number}
    derived = {row.id for row in leads() if row.origin == "derived"}
    assert len(recorded) == 92
    assert {"d" + name for name in recorded} == derived


def test_a_lead_has_a_code_or_the_nearest_one():
    codes = {row.mdc_code for row in leads()} - {""}
    for row in leads():
        assert bool(row.mdc_code) != bool(row.nearest_code)
        assert row.mdc_code or row.nearest_code in codes
        assert row.mdc_code or not (row.mdc_refid or row.aecg_code or row.dicom_code or row.legacy_scpecg)


def test_three_printed_names_stand_for_two_leads_and_no_other_label_does():
    owners = {}
    for row in leads():
        if row.origin == "recorded":
            for label in {text.lower() for text in (row.name, *row.aliases)}:
                owners.setdefault(label, set()).add(row.id)
    shared = {label: ids for label, ids in owners.items() if len(ids) > 1}
    assert shared == {"i": {"I", "fI"}, "a": {"NehbA", "fA"}, "c": {"C", "fC"}}


def test_one_number_with_two_meanings_is_where_the_documents_have_it():
    """DICOM PS3.16 (2016) CID 3227 repeats two QTc numbers, CID 3335 three numbers of spikes and beats."""
    owners = {}
    for row in concepts():
        if row.mdc_code:
            owners.setdefault(row.mdc_code, set()).add(row.id)
    assert {code: ids for code, ids in owners.items() if len(ids) > 1} == {
        "2:15880": {"qtc-bazett", "qtc-framingham"},
        "2:15892": {"qtc-fridericia", "qtc-hodges"},
        "10:8192": {"beat", "defibrillation-spike"},
        "10:8448": {"bundle-branch-block-beat", "atrial-defibrillation-spike"},
        "10:8704": {"paced-beat", "ventricular-defibrillation-spike"},
    }


def test_base_and_lead_never_make_the_number_of_something_else():
    fixed = {int(row.mdc_code[2:]) for row in concepts() if row.mdc_code.startswith("2:") and row.scope != "per lead"}
    read_only = {int(c[2:]) for row in concepts() for c in row.also_read if c.startswith("2:")}
    bases = [int(row.mdc_code[2:]) for row in concepts() if row.scope == "per lead" and row.mdc_code]
    assert all(base % 256 == 0 for base in bases)
    assert not {base + n for base in bases for n in range(185)} & (fixed | read_only)


def test_a_concept_keeps_kind_and_unit_in_every_scope():
    first = {}
    for row in concepts():
        assert first.setdefault(row.id, (row.kind, row.unit)) == (row.kind, row.unit)


def test_an_instant_belongs_to_a_wave_that_is_there():
    marks = {row.id for row in concepts() if row.scope == "mark"}
    for row in concepts():
        if row.part_of:
            wave, _, part = row.part_of.partition(":")
            assert wave in marks
            assert part in {"start", "end", "peak"}


def test_loinc_check_digits():
    """The last digit of a LOINC number is a mod 10 check digit (LOINC Users' Guide)."""
    for row in concepts():
        if row.loinc:
            digits, check = row.loinc.split("-")
            weighted = "".join(str(int(c) * (2 if place % 2 == 0 else 1)) for place, c in enumerate(reversed(digits)))
            assert (sum(map(int, weighted)) + int(check)) % 10 == 0


def test_thirty_one_measurements_of_a_lead_fill_the_record_of_scp_ecg():
    """EN 1064 5.13.5: bytes 5 to 66 after lead id and length, two bytes each."""
    places = [row.scp_field.removeprefix("10.lead.") for row in concepts() if row.scp_field.startswith("10.lead.")]
    assert sorted(places) == sorted(f"{byte}-{byte + 1}" for byte in range(5, 67, 2))


def test_leads_of_the_sets_are_in_the_lead_table():
    for row in lead_sets():
        for name in (
            *row.required,
            *row.derivable,
            *row.estimated,
            *row.optional,
            *(n for need in row.minimum for n in need.leads),
        ):
            assert lead(name).origin == "recorded"
        assert all(0 < need.count <= len(need.leads) for need in row.minimum)


def test_importing_reads_no_table_and_loads_no_numpy():
    code = (
        "import sys, interchange.vocabulary as v\n"
        "from interchange.vocabulary import lead_table\n"
        "assert lead_table.leads.cache_info().currsize == 0\n"
        "assert v.leads() is v.leads() and v.concepts() and v.beats() and v.lead_sets() and v.special_values()\n"
        "assert 'numpy' not in sys.modules and 'lxml' not in sys.modules and 'pydicom' not in sys.modules\n"
    )
    root = Path(interchange.vocabulary.__file__).parents[2]
    subprocess.run([sys.executable, "-c", code], check=True, cwd=root, timeout=60)
