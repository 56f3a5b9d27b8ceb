"""Recordings for property tests.

``plain()``: what every format has room for: one rhythm of limb leads or twelve leads, whole seconds, ASCII, the common
measurements.  ``full()``: every field of the model with anything the model allows: accented, Chinese, right-to-left
and control characters, separators of the formats, partial dates, zones, reasons for absence, several tracings of other
rates, leads and starts, gaps, offsets, odd steps, representative beats, marks, measurements, statements side by side.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import numpy as np
from hypothesis import strategies as st

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
from interchange.vocabulary import channel_name, concepts, lead_sets, leads
from tests.everything import everything
from tests.fields import leaves as leaves_of
from tests.fields import may_be_none, with_leaf

Strategy = st.SearchStrategy

TWELVE = ("I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6")


def maybe(strategy: Strategy[Any]) -> Strategy[Any]:
    return st.one_of(st.none(), strategy, strategy)


def some(strategy: Strategy[Any], most: int = 2) -> Strategy[tuple[Any, ...]]:
    return st.lists(strategy, max_size=most).map(tuple)


# Texts -------------------------------------------------------------------------------------------------------------

WORDS = ("alpha", "Bravo", "c7", "delta-3", "Echo", "fox", "12", "g.h", "India", "k")
words = st.lists(st.sampled_from(WORDS), min_size=1, max_size=3).map(" ".join)
short_words = st.sampled_from(WORDS)

AWKWARD = (
    "Łódź–Öst",
    "e\u0301tude",  # a letter and its accent apart
    "山田^太郎",
    "משפחה",
    "\u202eright to left\u202c",
    "a\\b\\\\c",
    "x;y=z, w: v",
    "family^given^^Dr",
    "one\nline\r\nand\ranother",
    "tab\there",
    "\x1b[31mred",
    "nul\x00inside",
    "\x01\x02\x7f\x85",
    "\u2028\u2029",
    " before and after ",
    "two  blanks",
    "<&>\"' ]]>",
    "# not a comment",
    "50 % ~ | / : ?",
    "\U0001f691",
    "\ufeffmark",
    "\uffff",
    "\\u0041 \\n \\s",
    "long " * 70,
    "=",
    ";",
    "\\",
    "",
)
texts = st.one_of(
    words,
    st.sampled_from(AWKWARD),
    st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=12),
)

# Small values ------------------------------------------------------------------------------------------------------

moments_to_the_second = st.builds(
    Moment,
    st.integers(1990, 2035),
    st.integers(1, 12),
    st.integers(1, 28),
    st.integers(0, 23),
    st.integers(0, 59),
    st.integers(0, 59).map(Fraction),
    zone=st.sampled_from((None, 0, 60, -300, 330, 570, -210)),
)
dates = st.builds(Moment, st.integers(1905, 2035), st.integers(1, 12), st.integers(1, 28))

seconds = st.one_of(
    st.integers(0, 59).map(Fraction),
    st.integers(0, 59999).map(lambda n: Fraction(n, 1000)),
    st.integers(0, 59999999).map(lambda n: Fraction(n, 1000000)),
    st.fractions(0, 59, max_denominator=7),
)


@st.composite
def moments(draw: st.DrawFn) -> Moment:
    """As far as anything was said: a year, a date, a time of day, both, with and without a zone; never nothing."""
    date = draw(st.integers(0, 3))
    time = draw(st.integers(0 if date else 1, 3))
    parts = (
        st.integers(1, 9999),
        st.integers(1, 12),
        st.integers(1, 28),
        st.integers(0, 23),
        st.integers(0, 59),
        seconds,
    )
    values = [draw(p) if i < date else None for i, p in enumerate(parts[:3])]
    values += [draw(p) if i < time else None for i, p in enumerate(parts[3:])]
    return Moment(*values, zone=draw(maybe(st.integers(-14 * 60, 14 * 60))))  # type: ignore[arg-type]


numbers = st.one_of(
    st.integers(-30000, 30000),
    st.sampled_from((0, 999, 9999, 19999, 29998, 29999, -32768, 32767, 65535, 2**31, -(2**40))),
    st.fractions(-1000, 1000, max_denominator=1000).filter(lambda f: f.denominator != 1),
    st.sampled_from((Fraction(1, 3), Fraction(-5, 7), Fraction(1, 10**9))),
)
units = st.sampled_from(
    ("a", "mo", "wk", "d", "h", "cm", "m", "[in_i]", "kg", "g", "[lb_av]", "mm[Hg]", "kPa", "{odd}")
)
quantities = st.builds(Quantity, numbers, units)
codes = st.builds(
    Code,
    value=maybe(texts),
    scheme=maybe(st.sampled_from(("SCT", "LN", "99X", "2.999.4")) | texts),
    meaning=maybe(texts),
).filter(lambda c: c != Code())
identifiers = st.builds(
    Identifier,
    texts,
    issuer=maybe(st.just("2.999.7") | texts),
    kind=maybe(st.sampled_from(("temporary", "national", "visit")) | texts),
)
absent = st.sampled_from(
    ("unknown", "not-measured", "wave-absent", "rejected", "undefined", "not-applicable", "withheld")
)
extras = st.lists(
    st.tuples(st.sampled_from(("aecg.x", "dicom.y", "scp.z", "wfdb.w", "wfdb.two words")), texts), max_size=2
).map(tuple)
names = st.builds(
    PersonName,
    family=maybe(texts),
    given=maybe(texts),
    middle=maybe(texts),
    prefix=maybe(texts),
    suffix=maybe(texts),
    second_family=maybe(texts),
    text=maybe(texts),
    script=st.sampled_from((None, None, "ideographic", "phonetic")),
)
persons = st.builds(Person, name=maybe(names), ids=some(identifiers), organisation=maybe(texts))
sites = st.builds(
    Site,
    institution=maybe(texts),
    department=maybe(texts),
    room=maybe(texts),
    address=maybe(texts),
    ids=some(identifiers),
)
frequencies = st.sampled_from(
    (Fraction(0), Fraction(1, 20), Fraction(67, 100), Fraction(40), Fraction(150), Fraction(1, 3), Fraction(2001, 2))
)
filters = st.builds(
    Filters,
    highpass=maybe(frequencies),
    lowpass=maybe(frequencies),
    notches=some(st.sampled_from((Fraction(50), Fraction(60), Fraction(50, 3)))),
    notch_off=st.booleans(),
    descriptions=some(texts),
)


def with_absent(owner: Any) -> Strategy[Any]:
    """The object with reasons for some of the fields that it does not have."""
    empty = [
        field.name
        for field in dataclasses.fields(owner)
        if field.name not in ("absent", "extras") and getattr(owner, field.name) in (None, ())
    ]
    chosen = st.dictionaries(st.sampled_from(empty), absent, max_size=2) if empty else st.just({})
    return chosen.map(lambda found: dataclasses.replace(owner, absent=tuple(sorted(found.items()))))


# Who, when, where --------------------------------------------------------------------------------------------------

patients = st.builds(
    Patient,
    ids=some(identifiers, 3),
    name=maybe(names),
    other_names=some(names),
    birth_date=maybe(dates | moments().map(lambda m: m.date).filter(bool)),
    age=maybe(quantities),
    sex=st.sampled_from((None, "male", "female", "other")),
    height=maybe(quantities),
    weight=maybe(quantities),
    race=maybe(codes),
    systolic=maybe(quantities),
    diastolic=maybe(quantities),
    drugs=some(codes),
    history=some(codes),
    comments=some(texts),
    extras=extras,
).flatmap(with_absent)

devices = st.builds(
    Device,
    role=st.sampled_from((None, "acquiring", "analysing")),
    manufacturer=maybe(texts),
    model=maybe(texts),
    serial=maybe(texts),
    software=some(texts, 3),
    name=maybe(texts),
    ids=some(identifiers),
    site=maybe(sites),
    extras=extras,
)

studies = st.builds(
    Study,
    accession=maybe(identifiers),
    id=maybe(texts),
    uid=maybe(st.just("2.999.55.1") | texts),
    series_uid=maybe(st.just("2.999.55.2") | texts),
    description=maybe(texts),
)

acquisitions = st.builds(
    Acquisition,
    time=maybe(moments_to_the_second | moments()),
    devices=some(devices),
    site=maybe(sites),
    operator=maybe(persons),
    referring=maybe(persons),
    confirming=maybe(persons),
    filters=maybe(filters),
    electrode_placement=maybe(st.sampled_from([row.id for row in lead_sets()]) | texts),
    mains=maybe(st.sampled_from((Fraction(50), Fraction(60), Fraction(50, 3)))),
    reasons=some(texts),
    remarks=some(texts),
    urgency=maybe(st.integers(0, 10)),
    sequence_number=maybe(texts),
    study=maybe(studies),
    extras=extras,
).flatmap(with_absent)

trials = st.builds(
    Trial,
    id=maybe(identifiers),
    title=maybe(texts),
    protocol=maybe(identifiers),
    protocol_title=maybe(texts),
    sponsor=maybe(texts),
    investigator=maybe(persons),
    site=maybe(sites),
    subject=maybe(identifiers),
    subject_role=maybe(codes),
    treatment_group=maybe(codes),
    timepoint=maybe(codes),
    timepoint_time=maybe(moments()),
    relative_timepoint=maybe(codes),
    extras=extras,
).flatmap(with_absent)

# Tracings ----------------------------------------------------------------------------------------------------------

LEAD_NAMES = sorted({channel_name(lead) for lead in leads() if lead.origin == "recorded" and channel_name(lead)})
OTHER_SIGNALS = (("ABP", "mm[Hg]"), ("RESP", None), ("Pleth", "{counts}"), ("ECG", "uV"), ("signal 5", "uV"))
STEPS = (
    Fraction(5),
    Fraction(1),
    Fraction(5, 2),
    Fraction(1, 1000),
    Fraction(1000, 4880),
    Fraction(1, 3),
    Fraction(-5),
    Fraction(305175781, 10**8),
)
RATES = (
    Fraction(500),
    Fraction(1000),
    Fraction(250),
    Fraction(100),
    Fraction(360),
    Fraction(400),
    Fraction(257),
    Fraction(1000, 3),
    Fraction(8000),
    Fraction(1, 2),
)


@st.composite
def channels(draw: st.DrawFn, name: str | None = None) -> Channel:
    unit: str | None = "uV"
    if name is None:
        name, unit = draw(st.sampled_from(OTHER_SIGNALS))
    origin = draw(st.sampled_from(("recorded", "recorded", "recorded", "derived", "reconstructed")))
    return Channel(
        name,
        unit,
        step=draw(st.sampled_from(STEPS)),
        offset=draw(st.sampled_from((Fraction(0), Fraction(0), Fraction(-40), Fraction(1, 3), Fraction(5, 2)))),
        label=draw(maybe(texts)),
        filters=draw(st.none() | st.none() | filters),
        skew=draw(st.sampled_from((Fraction(0), Fraction(0), Fraction(1, 1000), Fraction(1, 3000)))),
        origin=origin,  # type: ignore[arg-type]
        derived_from=draw(maybe(texts)) if origin == "derived" else None,
        bits=draw(maybe(st.integers(8, 32))),
        extras=draw(extras),
    )


@st.composite
def sample_arrays(draw: st.DrawFn, rows: int, length: int) -> np.ndarray[Any, Any]:
    """Counts: small ones, whole 16 bits, whole 32 bits, all equal; the ends of each range among them."""
    kind = draw(st.sampled_from(("small", "small", "16 bits", "32 bits", "flat")))
    generator = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    span = {"small": 2000, "16 bits": 2**15, "32 bits": 2**31, "flat": 1}[kind]
    drawn = generator.integers(-span, span, size=(rows, length), dtype=np.int64)
    if kind == "flat":
        drawn[:] = draw(st.integers(-40, 40))
    elif length > 2 and draw(st.booleans()):
        drawn[-1, 1], drawn[0, 2] = -span, span - 1
    return drawn.astype(np.int32)


@st.composite
def masks(draw: st.DrawFn, rows: int, length: int) -> np.ndarray[Any, Any] | None:
    """Nothing missing, a gap in all rows, a gap in one, a whole row, a few samples here and there, everything."""
    kind = draw(st.sampled_from(("none", "none", "none", "gap", "gap in one", "row", "scattered", "all")))
    if kind == "none":
        return None
    mask = np.zeros((rows, length), dtype=bool)
    row = draw(st.integers(0, rows - 1))
    first = draw(st.integers(0, length - 1))
    last = draw(st.integers(first, length - 1)) + 1
    if kind == "gap":
        mask[:, first:last] = True
    elif kind == "gap in one":
        mask[row, first:last] = True
    elif kind == "row":
        mask[row] = True
    elif kind == "scattered":
        mask[row, first::3] = True
    else:
        mask[:] = True
    return mask


@st.composite
def rhythms(draw: st.DrawFn, first: bool) -> Tracing:
    length = draw(st.integers(1, 24))
    if draw(st.booleans()):
        chosen: list[str | None] = list(TWELVE)
    else:
        chosen = draw(st.lists(st.sampled_from(LEAD_NAMES), min_size=1, max_size=4, unique=True))
    if draw(st.sampled_from((False, False, True))):
        chosen.append(None)
    base = draw(channels("I"))
    rows = [dataclasses.replace(base, name=name) if name else draw(channels()) for name in chosen]
    for row in draw(st.lists(st.integers(0, len(rows) - 1), max_size=2, unique=True)):  # a few are unlike the rest
        rows[row] = draw(channels(chosen[row]))
    return Tracing(
        tuple(rows),
        draw(sample_arrays(len(rows), length)),
        draw(st.sampled_from(RATES)),
        draw(masks(len(rows), length)),
        start=Fraction(0)
        if first
        else draw(st.sampled_from((Fraction(0), Fraction(10), Fraction(1, 250), Fraction(1, 3)))),
        label=draw(maybe(texts)),
        extras=draw(extras),
    )


@st.composite
def representative_beats(draw: st.DrawFn, rhythm: int, leads: tuple[str, ...]) -> Tracing:
    length = draw(st.integers(1, 20))
    base = draw(channels(leads[0]))
    rows = tuple(dataclasses.replace(base, name=name) for name in leads[: draw(st.integers(1, 12))])
    return Tracing(
        rows,
        draw(sample_arrays(len(rows), length)),
        draw(st.sampled_from(RATES)),
        kind="representative beat",
        label=draw(maybe(texts)),
        of=draw(st.sampled_from((None, rhythm))),
        fiducial=draw(maybe(st.fractions(0, 1, max_denominator=1000))),
        beat=draw(maybe(st.integers(0, 3))),
        extras=draw(extras),
    )


# Measurements, marks, statements -----------------------------------------------------------------------------------

CONCEPTS = {
    scope: sorted({row.id for row in concepts() if row.scope == scope and row.kind != "text"})
    for scope in ("global", "per lead", "mark")
}
MARKS = sorted({row.id for row in concepts() if row.scope == "mark" and not row.unit})
SPIKE = sorted({row.id for row in concepts() if row.scope == "mark" and row.id.startswith("pacing-spike-")})
STATEMENT_KINDS = sorted({row.id for row in concepts() if row.scope == "global" and row.kind == "text"})
UNITS = {(row.id, row.scope): row.unit or None for row in concepts()}


@st.composite
def measurements(draw: st.DrawFn, leads: tuple[str, ...], scope: str | None = None) -> Measurement:
    scope = scope or draw(st.sampled_from(("global", "per lead")))
    pool = SPIKE if scope == "mark" else CONCEPTS[scope]
    concept = draw(st.sampled_from([*pool, "other"]))
    value = draw(maybe(numbers))
    return Measurement(
        concept,
        value,
        UNITS.get((concept, scope)) if draw(st.integers(0, 4)) else draw(st.sampled_from((None, "ms", "uV", "1"))),
        lead=draw(st.sampled_from(leads)) if scope == "per lead" or (scope == "mark" and draw(st.booleans())) else None,
        absent=draw(maybe(absent)) if value is None else None,
        beat=draw(st.none() | st.none() | st.integers(0, 3)),
        text=draw(st.none() | st.none() | texts),
        source_code=draw(codes) if concept == "other" else draw(st.none() | st.none() | codes),
        extras=draw(extras),
    )


@st.composite
def marks(draw: st.DrawFn, tracings: tuple[Tracing, ...]) -> Mark:
    index = draw(st.integers(0, len(tracings) - 1))
    tracing = tracings[index]
    start = Fraction(draw(st.integers(0, tracing.length))) / tracing.rate
    if not draw(st.integers(0, 3)):
        start += Fraction(1, 7000)
    concept = draw(st.sampled_from([*MARKS, "other"]))
    return Mark(
        concept,
        index,
        start,
        end=draw(maybe(st.integers(0, 9).map(lambda n: start + n / tracing.rate))),
        lead=draw(maybe(st.sampled_from(tracing.names))),
        text=draw(maybe(texts)),
        group=draw(maybe(st.sampled_from(("atr", "qrs")) | texts)),
        measurements=draw(some(measurements(tracing.names, "mark"))),
        source_code=draw(codes) if concept == "other" else draw(st.none() | st.none() | codes),
        extras=draw(extras),
    )


statements = st.builds(
    Statement,
    texts,
    kind=st.sampled_from(STATEMENT_KINDS),
    group=st.integers(0, 2),
    codes=some(codes),
    author=maybe(texts),
    author_kind=st.sampled_from((None, "machine", "person")),
    time=maybe(moments_to_the_second | moments()),
    confirmed=st.sampled_from((None, True, False)),
    overread=st.sampled_from((None, True, False)),
    confirmed_by=maybe(texts),
    confirmed_time=maybe(moments()),
    extras=extras,
)


# Recordings --------------------------------------------------------------------------------------------------------


@st.composite
def full(draw: st.DrawFn) -> Recording:
    """A recording with anything in it."""

    def often_empty(strategy: Strategy[Any], empty: Any) -> Strategy[Any]:
        return strategy if draw(st.booleans()) else st.just(empty)

    tracings = [draw(rhythms(first=True))]
    tracings += [draw(rhythms(first=False)) for _ in range(draw(st.sampled_from((0, 0, 1, 2))))]
    for _ in range(draw(st.sampled_from((0, 0, 1, 2)))):
        tracings.append(draw(representative_beats(0, tracings[0].names)))
    everything = tuple(tracings)
    return Recording(
        tracings=everything,
        patient=draw(often_empty(patients, Patient())),
        acquisition=draw(often_empty(acquisitions, Acquisition())),
        measurements=draw(often_empty(some(measurements(everything[0].names), 4), ())),
        marks=draw(often_empty(some(marks(everything), 4), ())),
        statements=draw(often_empty(some(statements, 4), ())),
        trial=draw(often_empty(trials, None)),
        document_id=draw(maybe(identifiers)),
        deidentification=draw(often_empty(some(codes), ())),
        extras=draw(extras),
    )


GLOBALS: dict[str, Callable[[], Strategy[int]]] = {
    "heart-rate-ventricular": lambda: st.integers(20, 250),
    "rr-interval": lambda: st.integers(250, 2500),
    "pr-interval": lambda: st.integers(90, 300),
    "p-duration": lambda: st.integers(40, 160),
    "qrs-duration": lambda: st.integers(50, 200),
    "qt-interval": lambda: st.integers(250, 600),
    "p-axis": lambda: st.integers(-179, 180),
    "qrs-axis": lambda: st.integers(-179, 180),
    "t-axis": lambda: st.integers(-179, 180),
}


@st.composite
def plain(draw: st.DrawFn) -> Recording:
    """A recording that every format has room for."""
    names = draw(st.sampled_from((TWELVE, TWELVE, TWELVE[:6], ("II",))))
    length = draw(st.integers(2, 300))
    generator = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    step = draw(st.sampled_from((Fraction(5), Fraction(1), Fraction(5, 2))))
    counts = generator.integers(-3000, 3000, size=(len(names), length), dtype=np.int64)
    rate = draw(st.sampled_from((Fraction(500), Fraction(1000), Fraction(250))))
    taken = draw(moments_to_the_second)
    found = [
        Measurement(concept, draw(values()), UNITS[concept, "global"])
        for concept, values in GLOBALS.items()
        if draw(st.booleans())
    ]
    found += [
        Measurement("j-amplitude", draw(st.integers(-500, 500)), "uV", lead=name)
        for name in names
        if draw(st.booleans())
    ]
    return Recording.from_arrays(
        counts,
        names,
        rate,
        step,
        patient=Patient(
            ids=(Identifier(draw(st.from_regex(r"[A-Z0-9][A-Z0-9-]{0,11}[A-Z0-9]", fullmatch=True))),),
            name=PersonName(family=draw(short_words), given=draw(short_words)),
            birth_date=draw(dates),
            age=Quantity(draw(st.integers(1, 110)), "a"),
            sex=draw(st.sampled_from(("male", "female"))),
        ),
        acquisition=Acquisition(
            time=taken,
            devices=(Device(role="acquiring", manufacturer=draw(words), model="M-1", serial=draw(short_words)),),
            site=Site(institution=draw(words)),
            filters=Filters(highpass=Fraction(1, 20), lowpass=Fraction(150)),
        ),
        measurements=tuple(found),
        statements=tuple(
            Statement(text, author_kind="machine", confirmed=False, time=taken)
            for text in draw(st.lists(words, max_size=3, unique=True))
        ),
    )


# The full example, varied ------------------------------------------------------------------------------------------

_FIXED = re.compile(
    r".*\.(kind|role|script|sex|origin|author_kind|lead|concept|tracing|of|unit|name)|.*absent(\[.*)?|format"
    r"|tracings\[\d\]\.channels\[\d+\]\.(step|offset)"
)
_LEAVES = tuple(
    (path, value)
    for path, value in leaves_of(everything())
    if not isinstance(value, np.ndarray) and not _FIXED.fullmatch(path)
)


def _another(path: str, value: Any) -> Strategy[Any]:
    """A strategy for other values of the leaf at ``path``."""
    if path.endswith((".rate", ".start", ".end", ".fiducial", ".skew")):
        return st.sampled_from((Fraction(1, 250), Fraction(1, 3), Fraction(500), Fraction(7)))
    if path.endswith(("urgency", "bits", "beat", "group")) and isinstance(value, int):
        return st.integers(0, 10)
    if path.endswith(("birth_date",)):
        return dates | moments().map(lambda m: m.date).filter(bool)
    kinds: tuple[tuple[type, Strategy[Any]], ...] = (
        (bool, st.booleans()),
        (str, texts),
        (Moment, moments()),
        (Quantity, quantities),
        (Code, codes),
        (Fraction, frequencies if "filters" in path or "mains" in path else numbers.map(Fraction)),
        (int, numbers),
    )
    return next(strategy for kind, strategy in kinds if isinstance(value, kind))


@st.composite
def varied(draw: st.DrawFn) -> Recording:
    """The recording that says something in every field, with up to thirty of its values others or none."""
    recording = everything()
    for index in draw(st.lists(st.integers(0, len(_LEAVES) - 1), min_size=1, max_size=30, unique=True)):
        path, value = _LEAVES[index]
        if may_be_none(recording, path) and not draw(st.integers(0, 3)):
            new = None
        else:
            new = draw(_another(path, value))
        recording = with_leaf(recording, path, new)
    return recording
