"""The tables against machine-readable copies of the published ones: pydicom's dictionaries, wfdb's annotation table."""

import re

import pytest
from pydicom.data import get_testdata_file
from pydicom.sr._concepts_dict import concepts as published
from wfdb.io import _signal, annotation

from interchange.vocabulary import (
    beat,
    beats,
    concept_by_legacy,
    concept_by_mdc,
    concepts,
    concepts_by_mdc,
    lead_by_code,
    lead_by_legacy,
    lead_sets,
    leads,
    special_values,
)

BLIND_SPOTS = {
    ("qtc-framingham", 3227): "QTc global using Bazett formula",
    ("qtc-hodges", 3227): "QTc global using Fredericia formula",
    ("beat", 3335): "Defibrillation spike",
    ("bundle-branch-block-beat", 3335): "atrium Defibrillation spike",
    ("paced-beat", 3335): "ventricle Defibrillation spike",
}
"""Second meanings of a number, which a dictionary of one meaning per number cannot hold, and what it has instead."""


def context_groups():
    groups = {}
    for scheme in ("MDC", "DCM"):
        for codes in published[scheme].values():
            for code, (meaning, cids) in codes.items():
                for cid in cids:
                    groups.setdefault(cid, {})[code.replace(" ", "")] = meaning
    return groups


CID = context_groups()


def test_leads_are_cid_3001():
    assert {row.dicom_code: row.dicom_meaning for row in leads() if row.dicom_code} == CID[3001]
    assert len(CID[3001]) > 90
    for code in CID[3001]:
        assert lead_by_code(code).dicom_code == code


@pytest.mark.parametrize("cid", [3227, 3228, 3229, 3335, 3415, 3680, 3687, 3688, 3689])
def test_concepts_hold_the_context_group(cid):
    assert CID[cid]
    for code, meaning in CID[cid].items():
        row, lead = concept_by_mdc(code, meaning)
        assert lead is None
        if (cid, code) != (3689, "2:16000"):
            assert cid in row.dicom_cid
            assert meaning in row.dicom_meaning


def test_nothing_is_in_a_context_group_that_is_not_there():
    for row in concepts():
        for cid in row.dicom_cid:
            meaning = CID[cid].get(row.mdc_code)
            assert meaning in row.dicom_meaning or BLIND_SPOTS[row.id, cid] == meaning
    for id_, cid in BLIND_SPOTS:
        (row,) = (row for row in concepts() if row.id == id_ and cid in row.dicom_cid)
        assert len(concepts_by_mdc(row.mdc_code)) == 2


def test_one_table_prints_rr_with_another_number():
    """CID 3689 has 2:16000 where CID 3228 and ISO/IEEE 11073-10101 have 2:16168: read, never written."""
    assert CID[3689]["2:16000"].startswith("RR")
    row, _ = concept_by_mdc("2:16000")
    assert (row.id, row.mdc_code) == ("rr-interval", "2:16168")


def test_lead_systems_are_cid_3263():
    assert {row.code for row in lead_sets() if row.code} == set(CID[3263])


def test_reasons_for_no_value_are_cid_42():
    listed = {row.value[1:7] for row in special_values() if row.value.endswith(", DCM)")}
    assert listed == set(CID[42])


def test_annotation_codes_are_those_of_wfdb():
    theirs = {label.label_store: (label.symbol, label.short_description) for label in annotation.ann_labels}
    assert {row.number: (row.symbol, row.name) for row in beats() if row.kind == "annotation"} == theirs
    for number in theirs:
        assert beat(number).counts_as_qrs == bool(annotation.is_qrs[number])


def test_missing_samples_are_those_of_wfdb():
    ours = {
        row.place.removeprefix("signal, format "): row.value
        for row in special_values()
        if row.place.startswith("signal, ")
    }
    assert len(_signal.INVALID_SAMPLE_VALUE) > 10
    for format_, value in _signal.INVALID_SAMPLE_VALUE.items():
        assert ours[format_] == ("(none)" if value is None else str(value))


def test_retired_codes_of_a_stored_dicom_ecg():
    """An ECG among the test files of pydicom, with the scheme SCPECG 1.3."""
    dataset = get_testdata_file("waveform_ecg.dcm", read=True, download=False)
    assert dataset is not None
    sources = [c.ChannelSourceSequence[0] for item in dataset.WaveformSequence for c in item.ChannelDefinitionSequence]
    assert len(sources) == 24
    for source in sources:
        row = lead_by_legacy(source.CodeValue)
        assert re.search(rf"\b{re.escape(row.name)}\b", source.CodeMeaning, re.IGNORECASE)
    names = [
        item.ConceptNameCodeSequence[0]
        for item in dataset.WaveformAnnotationSequence
        if "ConceptNameCodeSequence" in item
    ]
    retired = [name for name in names if name.CodingSchemeDesignator == "SCPECG"]
    assert retired
    for name in retired:
        assert concept_by_legacy(name.CodeValue) is not None
