"""One recording that says something in every field of the model, in ordinary words.  All of it is invented."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from interchange.model import (
    Acquisition,
    Channel,
    Code,
    Device,
    Filters,
    Identifier,
    Mark,
    Measurement,
    Moment,
    Patient,
    Person,
    PersonName,
    Quantity,
    Recording,
    Site,
    Statement,
    Study,
    Tracing,
    Trial,
)

TWELVE = ("I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6")
TAKEN = Moment(2029, 7, 14, 23, 58, Fraction(7), zone=120)
MUCH = Filters(
    highpass=Fraction(1, 20),
    lowpass=Fraction(150),
    notches=(Fraction(50), Fraction(60)),
    notch_off=True,
    descriptions=("smoothed over five samples",),
)


def _name(family: str) -> PersonName:
    return PersonName(
        family=family,
        given="Hélène",
        middle="Q",
        prefix="Dr",
        suffix="MSc",
        second_family="Brasko",
        text=f"Dr Hélène Q {family}",
        script="phonetic",
    )


def _person(family: str) -> Person:
    return Person(
        name=_name(family),
        ids=(Identifier(f"P-{family}", "2.999.31", "staff"),),
        organisation=f"practice of {family}",
    )


def _site(institution: str) -> Site:
    return Site(
        institution=institution,
        department="front desk",
        room="7",
        address="1 Nowhere Lane",
        ids=(Identifier("S-9", "2.999.32", "site"),),
    )


PATIENT = Patient(
    ids=(Identifier("TEST-81", "2.999.30", "hospital"), Identifier("tmp 4", "2.999.33", "temporary")),
    name=_name("Varga"),
    other_names=(_name("Bárdos"),),
    birth_date=Moment(1950, 2, 28),
    age=Quantity(79, "a"),
    sex="other",
    height=Quantity(Fraction(1715, 10), "cm"),
    weight=Quantity(68, "kg"),
    race=Code("R1", "2.999.34", "not asked further"),
    systolic=Quantity(131, "mm[Hg]"),
    diastolic=Quantity(84, "mm[Hg]"),
    drugs=(Code("D1", "2.999.35", "drug one"), Code(meaning="drug two")),
    history=(Code("H1", "2.999.36", "history one"),),
    comments=("a comment",),
    absent=(("race", "withheld"),),
    extras=(("demo.patient", "p"),),
)

DEVICES = (
    Device(
        role="acquiring",
        manufacturer="Testmaker",
        model="T-5",
        serial="0001",
        software=("one 1.0", "two 2.0"),
        name="cart nine",
        ids=(Identifier("dev-9", "2.999.37", "asset"),),
        site=_site("workshop"),
        extras=(("demo.device", "d"),),
    ),
    Device(role="analysing", manufacturer="Testmaker", model="A-1", serial="0002", software=("three 3.0",)),
)

ACQUISITION = Acquisition(
    time=TAKEN,
    devices=DEVICES,
    site=_site("house of tests"),
    operator=_person("Olm"),
    referring=_person("Rask"),
    confirming=_person("Kell"),
    filters=MUCH,
    electrode_placement="placement-mason-likar",
    mains=Fraction(50),
    reasons=("for a test",),
    remarks=("first remark", "second remark"),
    urgency=3,
    sequence_number="17",
    study=Study(
        accession=Identifier("ACC-5", "2.999.38", "order"),
        id="ST-5",
        uid="2.999.39.1",
        series_uid="2.999.39.2",
        description="study of tests",
    ),
    absent=(("sequence_number", "unknown"),),
    extras=(("demo.acquisition", "a"),),
)

TRIAL = Trial(
    id=Identifier("TR-1", "2.999.40", "trial"),
    title="a trial",
    protocol=Identifier("PR-1", "2.999.41", "protocol"),
    protocol_title="a protocol",
    sponsor="sponsor",
    investigator=_person("Imre"),
    site=_site("trial place"),
    subject=Identifier("SU-1", "2.999.42", "subject"),
    subject_role=Code("RO", "2.999.43", "enrolled"),
    treatment_group=Code("G1", "2.999.44", "group one"),
    timepoint=Code("V3", "2.999.45", "visit three"),
    timepoint_time=Moment(2029, 7, 14, 23, 50, Fraction(0), zone=120),
    relative_timepoint=Code("R2", "2.999.46", "two hours after"),
    absent=(("sponsor", "unknown"),),
    extras=(("demo.trial", "t"),),
)


def _channel(name: str, **fields: object) -> Channel:
    return Channel(name, "uV", Fraction(5), **fields)  # type: ignore[arg-type]


def _counts(rows: int, length: int, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).integers(-400, 400, size=(rows, length)).astype(np.int16)


def everything() -> Recording:
    first = _channel(
        "I",
        label="lead one",
        filters=MUCH,
        skew=Fraction(1, 5000),
        origin="derived",
        derived_from="II - III",
        bits=16,
        extras=(("demo.channel", "c"),),
    )
    gap = np.zeros((12, 60), dtype=bool)
    gap[:, 20:25] = True
    rhythm = Tracing(
        (first, *(_channel(name) for name in TWELVE[1:])),
        _counts(12, 60, 1),
        Fraction(500),
        gap,
        label="the twelve",
        extras=(("demo.tracing", "r"),),
    )
    strip = Tracing(
        (_channel("V4R"), Channel("ABP", "mm[Hg]", Fraction(1, 8), Fraction(20))),
        _counts(2, 40, 2),
        Fraction(250),
        start=Fraction(2),
    )
    average = Tracing(
        tuple(_channel(name, origin="reconstructed") for name in TWELVE),
        _counts(12, 30, 3),
        Fraction(500),
        kind="representative beat",
        of=0,
        fiducial=Fraction(1, 50),
        beat=0,
    )
    spike = Measurement(
        "pacing-spike-amplitude",
        900,
        "uV",
        lead="II",
        beat=1,
        text="tall",
        source_code=Code("s", "2.999.47", "spike"),
        extras=(("demo.spike", "s"),),
    )
    return Recording(
        tracings=(rhythm, strip, average),
        patient=PATIENT,
        acquisition=ACQUISITION,
        measurements=(
            Measurement("pr-interval", 160, "ms"),
            Measurement("qrs-axis", None, "deg", absent="undefined"),
            Measurement(
                "j-amplitude",
                -35,
                "uV",
                lead="V2",
                beat=0,
                text="low",
                source_code=Code("j", "2.999.47", "J point"),
                extras=(("demo.measurement", "m"),),
            ),
        ),
        marks=(
            Mark("r-peak", 0, Fraction(1, 50)),
            Mark(
                "pacing-spike",
                0,
                Fraction(1, 100),
                end=Fraction(3, 250),
                lead="II",
                text="a spike",
                group="atr",
                measurements=(spike, _width(spike)),
                source_code=Code("k", "2.999.47", "kind"),
                extras=(("demo.mark", "k"),),
            ),
        ),
        statements=(
            Statement("Sinus rhythm", author="program P", author_kind="machine", confirmed=False),
            Statement(
                "Sinus rhythm, agreed",
                kind="interpretation-summary",
                group=1,
                codes=(Code("426783006", "SCT", "sinus rhythm"),),
                author="Dr Kell",
                author_kind="person",
                time=TAKEN.plus(600),
                confirmed=True,
                overread=True,
                confirmed_by="Dr Kell",
                confirmed_time=TAKEN.plus(660),
                extras=(("demo.statement", "s"),),
            ),
        ),
        trial=TRIAL,
        document_id=Identifier("DOC-1", "2.999.48", "document"),
        deidentification=(Code("113100", "DCM", "basic profile"), Code(meaning="names blanked")),
        extras=(("demo.recording", "e"),),
    )


def _width(spike: Measurement) -> Measurement:
    """A width that nobody measured, beside the amplitude."""
    return Measurement("pacing-spike-width", None, "us", lead=spike.lead, absent="not-measured")
