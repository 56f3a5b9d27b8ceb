"""Looking concepts, beats, lead sets and special values up."""

import pytest

from interchange.vocabulary import (
    beat,
    beat_for_concept,
    beat_for_symbol,
    beats,
    concept,
    concept_by_legacy,
    concept_by_mdc,
    concept_by_refid,
    concept_by_scp,
    concepts,
    concepts_by_mdc,
    concepts_by_wfdb,
    lead,
    lead_set,
    lead_sets,
    lead_sets_by_code,
    lead_sets_by_scp,
    leads,
    mdc_code_of,
    special,
)

QT_LEAD = concept("qt-interval", "per lead")


@pytest.mark.parametrize(
    ("refid", "scope", "id_", "found"),
    [
        ("MDC_ECG_TIME_PD_PR", None, "pr-interval", "global"),
        ("mdc_ecg_time_pd_pr", "per lead", "pr-interval", "per lead"),
        ("MDC_ECG_TIME_PD_PR_GL", None, "pr-interval", "global"),
        (" MDC_ECG_AMPL_J ", None, "j-amplitude", "per lead"),
        ("MDC_ECG_RR_DUR", "global", "rr-interval", "global"),
        ("MDC_ECG_HEART_RATE", None, "heart-rate", "global"),
        ("MDC_ECG_WAVC_PWAVE", None, "p-wave", "mark"),
        ("MDC_ECG_WAVEC_PWAVE", None, "p-wave", "mark"),
        ("MDC_ECG_BEAT_V_P_C_RONT", "mark", "r-on-t-beat", "mark"),
        ("MDC_ECG_BEAT", None, "beat", "mark"),
        ("MDC_ECG_TIME_PD_QTC_FRIDERICIA", None, "qtc-fridericia", "global"),
    ],
)
def test_reference_ids(refid, scope, id_, found):
    assert concept_by_refid(refid, scope) is concept(id_, found)


@pytest.mark.parametrize(
    "refid", ["", "MDC_ECG_WAVC", "MDC_ECG_RHY", "MDC_ECG_NOISE", "MDC_ECG_WAVP", "MDC_ECG_LEAD_I", "2:16000", "PR"]
)
def test_a_class_or_another_id_names_no_concept(refid):
    assert concept_by_refid(refid) is None


def test_scope_is_kept_to():
    assert concept_by_refid("MDC_ECG_AMPL_J", "global") is None
    assert concept_by_refid("MDC_ECG_ANGLE_QRS_FRONT", "mark") is None


def test_every_concept_is_found_by_its_own_reference_id():
    for row in concepts():
        if row.mdc_refid:
            assert concept_by_refid(row.mdc_refid, row.scope) is row


@pytest.mark.parametrize(
    ("code", "id_", "scope"),
    [
        ("2:16168", "rr-interval", "global"), ("2:16000", "rr-interval", "global"),
        ("2:15872", "pr-interval", "global"),
        ("2:15876", "qtc-interval", "global"), ("2: 33792", "qtc-interval", "per lead"),
        ("2:8192", "qt-interval", "per lead"),
        ("10:256", "p-wave", "mark"), ("10:9472", "atrial-fibrillation", "mark"),
        ("2:16648", "atrial-fibrillation", "mark"),
    ],
)  # fmt: skip
def test_codes(code, id_, scope):
    assert concept_by_mdc(code) == (concept(id_, scope), None)


@pytest.mark.parametrize(
    "code", ["2:1", "2:257", "2:15873", "2:8377", "2:0", "10:1", "", "2:", "x", "3:8193", "2:99999999", "2:²"]
)
def test_codes_of_nothing(code):
    """2:257 is the electric potential of lead I, no measurement; 2:8377 would be QT in lead 185, which there is not."""
    assert concept_by_mdc(code) is None
    assert concepts_by_mdc(code) == ()


def test_measurements_per_lead_are_base_and_number_of_the_lead():
    assert mdc_code_of(QT_LEAD, lead("V1")) == "2:8195"
    assert mdc_code_of(QT_LEAD, lead("III")) == "2:8253"
    assert mdc_code_of(QT_LEAD) == "2:8192"
    assert concept_by_mdc("2:8195") == (QT_LEAD, lead("V1"))
    coded = [row for row in leads() if row.mdc_number]
    for row in concepts():
        if row.scope == "per lead" and row.mdc_code:
            assert all(concept_by_mdc(mdc_code_of(row, other)) == (row, other) for other in coded)


def test_no_code_is_made_up():
    assert mdc_code_of(QT_LEAD, lead("MLII")) == ""
    assert mdc_code_of(concept("st-slope", "per lead"), lead("V1")) == ""
    assert mdc_code_of(concept("pr-interval", "global"), lead("V1")) == "2:15872"


@pytest.mark.parametrize(
    ("code", "meaning", "refid", "id_"),
    [
        ("10:8192", "Heart beat", "", "beat"),
        ("10:8192", "defibrillation  spike", "", "defibrillation-spike"),
        ("10:8192", "", "MDC_ECG_BEAT", "beat"),
        ("10:8704", "", "mdc_ecg_wavp_defib_v", "ventricular-defibrillation-spike"),
        ("2:15880", "QTc global using Bazett formula", "", "qtc-bazett"),
        ("2:15880", "QTc global using Framingham formula", "", "qtc-framingham"),
        ("2:15892", "QTc global using Hodges formula", "", "qtc-hodges"),
    ],
)
def test_what_stands_beside_a_number_of_two_meanings_decides(code, meaning, refid, id_):
    row, where = concept_by_mdc(code, meaning, refid)
    assert (row.id, where) == (id_, None)


@pytest.mark.parametrize("code", ["10:8192", "10:8448", "10:8704", "2:15880", "2:15892"])
def test_a_bare_number_of_two_meanings_decides_nothing(code):
    assert concept_by_mdc(code) is None
    assert concept_by_mdc(code, "something else", "MDC_NONE") is None
    assert len(concepts_by_mdc(code)) == 2


def test_fields_of_other_schemes():
    assert concept_by_scp("7.block.11-12") is concept("p-axis", "global")
    assert concept_by_scp("10.lead.33-34") is concept("j-amplitude", "per lead")
    assert concept_by_scp("10.lead.33") is None
    assert concept_by_legacy("5.10.3-13") is concept("qrs-axis", "global")
    assert concept_by_legacy("5.10.3-99") is None
    assert concept_by_legacy("") is None
    assert concept_by_scp("") is None


def test_wfdb_annotations_of_concepts():
    assert [row.id for row in concepts_by_wfdb(5)] == ["ventricular-premature-beat"]
    assert concepts_by_wfdb(2)[0].id == "left-bundle-branch-block-beat"
    assert {row.id for row in concepts_by_wfdb(2)} == {
        "left-bundle-branch-block-beat",
        "incomplete-left-bundle-branch-block-beat",
    }
    assert concepts_by_wfdb(28, "(AFIB")[0].id == "atrial-fibrillation"
    assert [row.id for row in concepts_by_wfdb(28, "(N")] == ["normal-sinus-rhythm", "sinus-rhythm"]
    assert concepts_by_wfdb(28)[0].id == "rhythm-change"
    assert concepts_by_wfdb(99) == ()


def test_beats():
    assert (beat(5).symbol, beat(5).concept, beat(5).counts_as_qrs) == ("V", "ventricular-premature-beat", True)
    assert beat_for_symbol("V") is beat(5)
    assert beat_for_symbol("+") is beat(28)
    assert beat_for_symbol("%") is None
    assert beat(28, "(AFIB").concept == "atrial-fibrillation"
    assert beat(28, " (AFIB ").concept == "atrial-fibrillation"
    assert beat(28, "(OWN") is beat(28)
    assert beat(5, "(AFIB") is beat(5)
    assert [n for n in range(64) if beat(n) is None] == [15, 17, *range(42, 64)]
    assert beat_for_concept("normal-beat") is beat(1)
    assert beat_for_concept("atrial-fibrillation") is beat(28, "(AFIB")
    assert beat_for_concept("q-wave") is None
    with pytest.raises(KeyError):
        beat_for_concept("no-such-mark")


def test_an_exact_fit_goes_both_ways():
    for row in concepts():
        if row.wfdb_fit == "exact":
            assert beat(row.wfdb_number, row.wfdb_aux).concept == row.id
    for row in beats():
        if row.degree == "exact":
            target = concept(row.concept, "mark")
            assert (target.wfdb_number, target.wfdb_fit, target.mdc_refid) == (row.number, "exact", row.mdc_refid)


def test_every_concept_is_unknown_or_has_its_annotation():
    for row in concepts():
        assert (row.wfdb_number is None) == (row.wfdb_fit in ("", "none"))
        if row.scope == "mark":
            assert beat_for_concept(row.id) == (
                None if row.wfdb_number is None else beat(row.wfdb_number, row.wfdb_aux)
            )


def test_lead_sets():
    twelve = lead_set("standard-12")
    assert twelve.required == ("I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6")
    assert [(need.count, len(need.leads)) for need in twelve.minimum] == [(2, 6), (6, 6)]
    assert lead_sets_by_code("10:11265") == (twelve,)
    assert lead_sets_by_code("mdc_ecg_ldsys_12ld_std") == (twelve,)
    assert lead_sets_by_scp(1, 1) == (twelve,)
    assert [row.id for row in lead_sets_by_scp(1, 2)] == ["frank-xyz"]
    assert {row.id for row in lead_sets_by_code("10:11290")} == {"extended-15", "extended-18", "twelve-extended"}
    assert lead_sets_by_code("") == ()
    assert lead_sets_by_code("10:1") == ()
    assert lead_sets_by_scp(99, 1) == ()
    with pytest.raises(KeyError):
        lead_set("no-such-set")


def test_bytes_of_scp_ecg_run_parallel_to_the_codes():
    """EN 1064 section 1 tag 33 (from memory) counts as PS3.16 CID 3263 does: twelve leads from 11264,
    XYZ from 11273."""
    for row in lead_sets():
        if row.scp_electrodes:
            value, byte = row.scp_electrodes
            assert row.code == f"10:{value + {1: 11264, 2: 11273}[byte]}"


def test_special_values():
    values = {row.value: row.read_as for row in special("scp", "7, 10: measurements")}
    assert values == {"29999": "not-measured", "29998": "rejected", "19999": "wave-absent", "9999": "not-measured"}
    assert special("scp", "no such place") == ()
