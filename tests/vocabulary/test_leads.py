"""Looking leads up."""

import pytest

from interchange.vocabulary import (
    calculated_lead,
    channel_name,
    lead,
    lead_by_code,
    lead_by_legacy,
    lead_by_mdc,
    lead_by_refid,
    lead_by_scp,
    lead_for_channel,
    lead_named,
    leads,
    mdc_32bit,
    mdc_code,
    recorded_lead,
)


def test_channel_names_and_leads_are_inverses_over_the_whole_table():
    for row in leads():
        assert lead_for_channel(channel_name(row), row.origin == "derived") is row
    pairs = {(channel_name(row), row.origin) for row in leads()}
    assert len(pairs) == len(leads())


def test_channel_names_are_found_again_as_labels():
    """What one format is given as a label another reader must take back as the same lead."""
    for row in leads():
        if row.origin == "recorded":
            assert lead_named(channel_name(row)) is row


@pytest.mark.parametrize(
    ("name", "id_"),
    [("I", "I"), ("aVR", "aVR"), ("V4R", "V4R"), ("A", "NehbA"), ("C", "C"), ("fI", "fI"), ("fA", "fA"), ("fC", "fC")],
)
def test_of_two_leads_with_one_printed_name_the_rarer_is_called_by_its_id(name, id_):
    assert channel_name(lead(id_)) == name
    assert lead_for_channel(name) is lead(id_)
    assert channel_name(lead("d" + id_)) == name


def test_a_calculated_channel_has_the_trade_name_and_its_own_code():
    row = lead_for_channel("V1", derived=True)
    assert row is lead("dV1")
    assert (row.mdc_number, row.mdc_refid) == (33, "MDC_ECG_LEAD_dV1")
    assert channel_name(row) == "V1"
    assert recorded_lead(row) is lead("V1")
    assert calculated_lead(lead("V1")) is row
    assert calculated_lead(row) is row
    assert recorded_lead(lead("V1")) is lead("V1")


def test_a_lead_without_a_number_has_no_calculated_version():
    assert calculated_lead(lead("MLII")) is None
    assert lead_for_channel("MLII", derived=True) is None


@pytest.mark.parametrize("label", ["Resp", "", "ABP", "SpO2", "V44", "avr", "v1", "dI"])
def test_a_channel_of_another_name_has_no_lead(label):
    assert lead_for_channel(label) is None


@pytest.mark.parametrize(
    ("label", "id_"),
    [
        ("I", "I"), ("i", "I"), (" Lead  I ", "I"), ("DI", "I"), ("di", "I"), ("AVR", "aVR"), ("avr", "aVR"),
        ("aVR", "aVR"),
        ("-AVR", "-aVR"), ("C1", "V1"), ("lead v1", "V1"), ("v4r", "V4R"), ("rV4", "V4R"), ("VX", "X"), ("x", "X"),
        ("A", "NehbA"), ("a", "NehbA"), ("c", "C"), ("V", "V"), ("FI", "FoI"), ("fI", "fI"), ("NehbD", "NehbD"),
        ("MLII", "MLII"),
        ("mlii", "MLII"), ("Frank I", "fI"), ("PADS", "Defib"), ("ECG", "unspecified"), ("MDC_ECG_LEAD_AVF", "aVF"),
        ("mdc_ecg_lead_avf", "aVF"), ("MDC_ECG_LEAD_dI", "dI"), ("MDC_ECG_LEAD_VX", "X"),
    ],
)  # fmt: skip
def test_labels(label, id_):
    assert lead_named(label) is lead(id_)


@pytest.mark.parametrize(
    "label", ["", " ", "Resp", "V44", "unspecified", "dV1", "L", "N", "NA", "Unknown", "MDC_ECG_LEAD_NONE", "I II"]
)
def test_labels_of_no_lead(label):
    assert lead_named(label) is None


@pytest.mark.parametrize(
    ("refid", "id_"),
    [
        ("MDC_ECG_LEAD_AVR", "aVR"), ("MDC_ECG_LEAD_aVR", "aVR"), (" mdc_ecg_lead_v4r ", "V4R"),
        ("MDC_ECG_LEAD_AVRneg", "-aVR"),
        ("MDC_ECG_LEAD_AVRNEG", "-aVR"), ("MDC_ECG_LEAD_CONFIG", "unspecified"), ("MDC_ECG_LEAD", "unspecified"),
        ("MDC_ECG_LEAD_fI", "fI"), ("MDC_ECG_LEAD_dI", "dI"), ("MDC_ECG_LEAD_DI", "dI"), ("MDC_ECG_LEAD_Ical", "dI"),
        ("MDC_ECG_LEAD_D", "NehbD"), ("MDC_ECG_ELEC_POTL_V1", "V1"), ("V1", "V1"), ("aVR", "aVR"),
    ],
)  # fmt: skip
def test_reference_ids(refid, id_):
    assert lead_by_refid(refid) is lead(id_)


def test_every_reference_id_finds_its_row():
    for row in leads():
        for refid in (row.mdc_refid, row.mdc_refid_other):
            if refid:
                assert lead_by_refid(refid) is lead_by_refid(refid.upper()) is lead_by_refid(refid.lower()) is row


@pytest.mark.parametrize("refid", ["", "MDC_ECG_LEAD_", "MDC_ECG_LEAD_V77", "DI", "dV1", "MDC_ECG_TIME_PD_PR", "LEAD"])
def test_no_reference_ids_of_leads(refid):
    """The bare "DI" is a label of lead I; only with its prefix is it the calculated one."""
    assert lead_by_refid(refid) is None


@pytest.mark.parametrize(
    ("number", "id_"),
    [
        (131072, "unspecified"), (131073, "I"), (131074, "II"), (131075, "V1"), (131080, "V6"), (131081, "V7"),
        (131082, "V2R"),
        (131083, "V3R"), (131084, "V4R"), (131085, "V5R"), (131086, "V6R"), (131087, "V7R"), (131088, "X"),
        (131089, "Y"),
        (131090, "Z"), (131091, "CC5"), (131092, "CM5"), (131093, "LA"), (131094, "RA"), (131095, "LL"),
        (131133, "III"),
        (131134, "aVR"), (131135, "aVL"), (131136, "aVF"), (131138, "V8"), (131139, "V9"),
    ],
)  # fmt: skip
def test_numbers_as_published_in_value_sets_of_iso_ieee_11073_10101(number, id_):
    """HL7 FHIR value set for electrocardiogram leads; III to V9 by DICOM PS3.16 CID 3001."""
    row = lead(id_)
    assert lead_by_mdc(number) is row
    assert lead_by_mdc(number - 131072) is row
    assert lead_by_scp(number - 131072) is row
    assert mdc_32bit(row.mdc_code) == number
    assert mdc_code(number) == row.mdc_code
    assert lead_by_code(row.mdc_code) is row
    assert lead_by_code(f" 2: {row.mdc_number} ") is row
    assert lead_by_legacy(f"5.6.3-9-{row.scp_id}") is row


@pytest.mark.parametrize("number", [-1, 185, 255, 256, 131072 + 185, 131071, 2**40])
def test_numbers_of_no_lead(number):
    assert lead_by_mdc(number) is None
    assert lead_by_scp(number) is None


@pytest.mark.parametrize(
    "code", ["", "2:", "10:1", "2:185", "2:-1", "2:1a", "1", "2:²", "2:999999", "5.6.3-9-185", "5.6.3-9-"]
)
def test_codes_of_no_lead(code):
    assert lead_by_code(code) is None
    assert lead_by_legacy(code) is None


@pytest.mark.parametrize("code", ["", ":", "2:", ":1", "2:65536", "65536:0", "a:b", "2:1:1", "-1:2", "2:²"])
def test_no_mdc_codes(code):
    with pytest.raises(ValueError, match="partition:term"):
        mdc_32bit(code)


def test_numbers_beyond_32_bits_are_no_mdc_codes():
    assert mdc_code(2**32 - 1) == "65535:65535"
    for number in (-1, 2**32):
        with pytest.raises(ValueError, match="32-bit"):
            mdc_code(number)


def test_unknown_ids_are_key_errors():
    with pytest.raises(KeyError):
        lead("V99")
