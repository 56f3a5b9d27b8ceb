"""Recordings at the edge of the model, options, names of targets, ways to hand in a source: true or refused."""

from __future__ import annotations

import dataclasses
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

import interchange
from interchange.formats import FORMATS
from interchange.model import (
    Channel,
    Code,
    Device,
    Identifier,
    Mark,
    Measurement,
    Moment,
    Patient,
    PersonName,
    Quantity,
    Recording,
    Site,
    Statement,
    Tracing,
)
from tests.contract.conftest import Written
from tests.contract.support import (
    CLASSES,
    NAMES,
    SUFFIX,
    Handed,
    assert_sound,
    check_receipt,
    hand_over,
    sample,
)
from tests.everything import TWELVE, everything

each = pytest.mark.parametrize("format", NAMES)


def small(rows: int = 1, length: int = 4, **fields: object) -> Tracing:
    names = fields.pop("names", TWELVE[:rows])
    channel = fields.pop("channel", Channel("I", step=Fraction(5)))
    channels = tuple(dataclasses.replace(channel, name=name) for name in names)  # type: ignore[attr-defined, type-var]
    counts = np.arange(rows * length, dtype=np.int32).reshape(rows, length) * 7 % 501 - 250
    return Tracing(channels, counts, fields.pop("rate", Fraction(500)), **fields)  # type: ignore[arg-type]


def one(**fields: object) -> Recording:
    return Recording(tracings=(small(),), **fields)  # type: ignore[arg-type]


def scaled(**fields: object) -> Recording:
    return Recording(tracings=(small(channel=Channel("I", **{"step": Fraction(5), **fields})),))  # type: ignore[arg-type]


EDGES: dict[str, Recording] = {
    "nothing": Recording(),
    "a patient alone": Recording(patient=Patient(ids=(Identifier("A"),))),
    "no samples": Recording(tracings=(small(length=0),)),
    "no leads": Recording(tracings=(Tracing((), np.zeros((0, 4), np.int16), Fraction(500)),)),
    "one sample": Recording(tracings=(small(length=1),)),
    "an empty tracing behind": Recording(tracings=(small(), small(length=0, start=Fraction(3)))),
    "a beat alone": Recording(tracings=(small(kind="representative beat"),)),
    "a beat of itself": Recording(tracings=(small(kind="representative beat", of=0),)),
    "a beat of nothing": Recording(tracings=(small(), small(kind="representative beat", of=9))),
    "a beat first": Recording(tracings=(small(kind="representative beat", of=1), small())),
    "two beats of one type": Recording(tracings=(small(), *(small(kind="representative beat", beat=0),) * 2)),
    "one lead twice": Recording(tracings=(small(2, names=("II", "II")),)),
    "one label twice": Recording(tracings=(small(2, names=("ECG", "ECG")),)),
    "a lead without name": Recording(tracings=(small(1, names=("",)),)),
    "a lead with a strange name": Recording(tracings=(small(1, names=("a b:c;d=e\n\x1b[1m",)),)),
    "a long name": Recording(tracings=(small(1, names=("x" * 300,)),)),
    "200 channels": Recording(tracings=(small(200, names=tuple(f"c{n}" for n in range(200))),)),
    "forty tracings": Recording(tracings=tuple(small(start=Fraction(n)) for n in range(40))),
    "tracings that overlap": Recording(tracings=(small(length=500), small(length=500, start=Fraction(1, 2)))),
    "a tracing before the first": Recording(tracings=(small(), small(start=Fraction(-3)))),
    "a start that is no sample": Recording(tracings=(small(start=Fraction(1, 700)), small(start=Fraction(1, 3)))),
    "a start far away": Recording(tracings=(small(), small(start=Fraction(10**12)))),
    "a slow rate": Recording(tracings=(small(rate=Fraction(1, 86400)),)),
    "a fast rate": Recording(tracings=(small(rate=Fraction(10**9)),)),
    "an odd rate": Recording(tracings=(small(rate=Fraction(10**15 + 1, 7 * 10**12)),)),
    "rates side by side": Recording(tracings=(small(), small(rate=Fraction(250)), small(rate=Fraction(333)))),
    "a step of zero": scaled(step=Fraction(0)),
    "a step below zero": scaled(step=Fraction(-5)),
    "a tiny step": scaled(step=Fraction(1, 10**30)),
    "a huge step": scaled(step=Fraction(10**30)),
    "a step without decimals": scaled(step=Fraction(22, 7)),
    "a huge offset": scaled(offset=Fraction(10**30)),
    "an offset without decimals": scaled(offset=Fraction(1, 7)),
    "no unit": scaled(unit=None),
    "another unit": scaled(unit="mm[Hg]"),
    "a strange unit": scaled(unit="very {odd} unit\n^"),
    "a huge skew": scaled(skew=Fraction(10**6)),
    "a skew below zero": scaled(skew=Fraction(-1, 1000)),
    "bits of zero": scaled(bits=0),
    "all missing": Recording(tracings=(small(missing=np.ones((1, 4), bool)),)),
    "first and last missing": Recording(tracings=(small(missing=np.array([[True, False, False, True]])),)),
    "the ends of 16 bits": Recording.from_arrays(np.array([[-32768, 32767, 0, -1]], np.int16), ["II"], 500, 5),
    "the ends of 32 bits": Recording.from_arrays(np.array([[-(2**31), 2**31 - 1, 0, -1]]), ["II"], 500, 5),
    "the end of 16 bits and a gap": Recording.from_arrays(
        np.array([[-32768, 32767, 0, -1]], np.int16), ["II"], 500, 5, missing=np.array([[False, False, True, False]])
    ),
    "a mark on no tracing": one(marks=(Mark("r-peak", 7, Fraction(0)),)),
    "a mark before the start": one(marks=(Mark("r-peak", 0, Fraction(-1)),)),
    "a mark behind the end": one(marks=(Mark("r-peak", 0, Fraction(1000)),)),
    "a mark that ends before it starts": one(marks=(Mark("noise", 0, Fraction(1, 250), Fraction(0)),)),
    "a mark on no lead": one(marks=(Mark("r-peak", 0, Fraction(0), lead="V9"),)),
    "a mark of no concept": one(marks=(Mark("no-such-concept", 0, Fraction(0)),)),
    "a thousand marks": one(
        marks=tuple(Mark("normal-beat", 0, Fraction(n % 4, 500), text=str(n)) for n in range(1000))
    ),
    "a measurement of no concept": one(measurements=(Measurement("no-such-concept", 3, "ms"),)),
    "a measurement on no lead": one(measurements=(Measurement("j-amplitude", 3, "uV", lead="V9"),)),
    "one measurement twice": one(measurements=(Measurement("pr-interval", 160, "ms"),) * 2),
    "two values of one measurement": one(
        measurements=(Measurement("pr-interval", 160, "ms"), Measurement("pr-interval", 170, "ms"))
    ),
    "a value and a reason": one(measurements=(Measurement("pr-interval", 160, "ms", absent="rejected"),)),
    "numbers that mean something else": one(
        measurements=tuple(
            Measurement("qrs-axis", n, "deg", beat=b) for b, n in enumerate((999, 29999, 19999, 32767, 0))
        )
    ),
    "a value without unit": one(measurements=(Measurement("qt-interval", 400),)),
    "a value in another unit": one(measurements=(Measurement("qt-interval", Fraction(2, 5), "s"),)),
    "a long statement": one(statements=(Statement("word " * 20000),)),
    "an empty statement": one(statements=(Statement(""),)),
    "300 statements": one(statements=tuple(Statement(f"statement {n}") for n in range(300))),
    "confirmed and not": one(statements=(Statement("a", confirmed=True), Statement("b", confirmed=False))),
    "half a character": one(patient=Patient(name=PersonName(family="\ud83d"), comments=("\udce9",))),
    "controls": one(patient=Patient(ids=(Identifier("\x00\x01"),), name=PersonName(family="\x1b[2J", given="\r\n"))),
    "a name of separators": one(patient=Patient(name=PersonName(family="^=^=", given="\\^", middle=";;", prefix="=="))),
    "blanks": one(patient=Patient(ids=(Identifier(" "),), name=PersonName(family="  a  ", given=" "))),
    "long names": one(
        patient=Patient(ids=(Identifier("9" * 500),), name=PersonName(family="F" * 500, given="G" * 500))
    ),
    "an empty name": one(patient=Patient(name=PersonName())),
    "an odd age": one(patient=Patient(age=Quantity(Fraction(1, 3), "a"))),
    "an age below zero": one(patient=Patient(age=Quantity(-1, "a"))),
    "an age in seconds": one(patient=Patient(age=Quantity(3 * 10**9, "s"))),
    "a huge height": one(patient=Patient(height=Quantity(10**30, "cm"))),
    "a birth in the year 1": one(patient=Patient(birth_date=Moment(1, 1, 1))),
    "a birth in the year 9999": one(patient=Patient(birth_date=Moment(9999, 12, 31))),
    "a code of nothing": one(patient=Patient(drugs=(Code(),))),
    "a device of nothing": one(acquisition=interchange.Acquisition(devices=(Device(), Device(site=Site())))),
    "a time of day": one(acquisition=interchange.Acquisition(time=Moment(hour=3, minute=4))),
    "a zone alone": one(acquisition=interchange.Acquisition(time=Moment(zone=60))),
    "a leap second": one(acquisition=interchange.Acquisition(time=Moment(2016, 12, 31, 23, 59, Fraction(60), zone=0))),
    "a third of a second": one(acquisition=interchange.Acquisition(time=Moment(2030, 1, 2, 3, 4, Fraction(1, 3)))),
    "an odd zone": one(acquisition=interchange.Acquisition(time=Moment(2030, 1, 2, 3, 4, Fraction(5), zone=-1439))),
}  # fmt: skip


@each
@pytest.mark.parametrize("edge", EDGES)
def test_the_edge_is_carried_truly_or_refused(format: str, edge: str, tmp_path: Path) -> None:
    recording = EDGES[edge]
    handed = hand_over(recording, format, tmp_path)
    if isinstance(handed, Handed):
        check_receipt(recording, handed)
    else:
        assert_sound(handed)
        assert list(tmp_path.iterdir()) == []


@each
def test_a_plain_edge_is_not_refused(format: str, tmp_path: Path) -> None:
    """The recording that the edges are made from is an ordinary one."""
    handed = hand_over(one(), format, tmp_path)
    assert isinstance(handed, Handed)
    assert handed.receipt.samples_identical


# Options -----------------------------------------------------------------------------------------------------------

OPTIONS = [(entry.name, option.name, value) for entry in FORMATS for option in entry.options for value in option.values]


@pytest.mark.parametrize("name", ["field-twelve", "field-strip", "everything"])
@pytest.mark.parametrize(("format", "option", "value"), OPTIONS, ids=[f"{f}-{o}-{v}" for f, o, v in OPTIONS])
def test_every_choice_of_a_format_is_true(name: str, format: str, option: str, value: str, tmp_path: Path) -> None:
    recording = _narrowed(sample(name)) if value == "80" else sample(name)
    path = tmp_path / f"record{SUFFIX[format]}"
    receipt = interchange.write(recording, path, format=format, accept=CLASSES, **{option.replace("-", "_"): value})
    back = interchange.read(path)
    check_receipt(recording, Handed(path, receipt, back, None if not receipt.losses else _refusal(receipt)))
    if name != "everything":
        assert receipt.samples_identical
        assert [t.digest for t in back.tracings] == [t.digest for t in recording.tracings]
    assert [f for f in interchange.check(path).findings if f.severity == "error" and f.rule.startswith(format)] == []


def _narrowed(recording: Recording) -> Recording:
    """The recording with counts that fit 8 bits, each of the same channel's own."""
    tracings = (dataclasses.replace(t, samples=t.samples % np.int16(100) - np.int16(50)) for t in recording.tracings)
    return recording.with_(tracings=tuple(tracings))


def _refusal(receipt: interchange.receipt.Receipt) -> interchange.RefusedError:
    return interchange.RefusedError("accepted", losses=receipt.losses)


# What is accepted --------------------------------------------------------------------------------------------------


@each
def test_nothing_but_what_is_accepted_is_let_through(format: str, tmp_path: Path) -> None:
    """Of the classes that would be lost, each one alone that is not accepted is a reason to refuse."""
    tracing = dataclasses.replace(everything().tracings[0], rate=Fraction(10**7, 19999))
    recording = everything().with_(tracings=(tracing, *everything().tracings[1:]))
    handed = hand_over(recording, format, tmp_path)
    assert isinstance(handed, Handed)
    lost = {entry.protected for entry in handed.receipt.losses}
    for kept_back in lost:
        path = tmp_path / f"not-{kept_back}{SUFFIX[format]}"
        with pytest.raises(interchange.RefusedError) as caught:
            interchange.write(recording, path, format=format, accept=tuple(c for c in CLASSES if c != kept_back))
        assert {entry.protected for entry in caught.value.losses} == {kept_back}  # type: ignore[attr-defined]
        assert not path.exists()
    path = tmp_path / f"enough{SUFFIX[format]}"
    receipt = interchange.write(recording, path, format=format, accept=tuple(sorted(filter(None, lost))))
    assert {entry.protected for entry in receipt.losses} == lost
    assert receipt.samples_identical == lost.isdisjoint({"signal", "timing", "leads"})


# Targets and sources -----------------------------------------------------------------------------------------------

TARGETS = (
    "plain",
    "two words",
    "dots.in.it",
    "Ünïcödé",
    "心電図",
    "-dash",
    "UPPER",
    "a" * 100,
    "a" * 240,
    "# hash",
    "100%",
    "x^y=z",
    "con",
)


@each
@pytest.mark.parametrize("name", TARGETS)
def test_any_name_of_a_target_works_or_is_refused(format: str, name: str, tmp_path: Path) -> None:
    path = tmp_path / f"{name}{SUFFIX[format]}"
    recording = sample("field-strip")
    if _refused(recording, path, format):
        assert list(tmp_path.iterdir()) == []
        assert name not in ("plain", "UPPER", "two words", "dots.in.it", "a" * 100), "an ordinary name"
        return
    back = interchange.read(path)
    assert [t.digest for t in back.tracings] == [t.digest for t in recording.tracings]
    assert all(p.name.startswith((name, path.stem)) or format == "wfdb" for p in tmp_path.iterdir())


def _refused(recording: Recording, path: Path, format: str) -> bool:
    try:
        interchange.write(recording, path, format=format)
    except interchange.InterchangeError as error:
        assert_sound(error)
        return True
    return False


@each
def test_a_path_bytes_and_names_with_bytes_are_read_alike(format: str, written: Written) -> None:
    path = written("field-strip", format).path
    files = {p.name: p.read_bytes() for p in sorted(path.parent.iterdir(), key=lambda p: p != path)}
    by_path = interchange.read(path)
    assert interchange.read(str(path)) == by_path
    assert interchange.read(files) == by_path
    assert interchange.read(files, format=format) == by_path
    if len(files) == 1:
        assert interchange.read(files[path.name]) == by_path
    if format == "wfdb":
        assert interchange.read(path.with_suffix("")) == by_path


@each
def test_converting_is_reading_and_writing(format: str, written: Written, tmp_path: Path) -> None:
    source = written("field-twelve", format).path
    for target in NAMES:
        folders = []
        for way in ("convert", "write"):
            folder = tmp_path / f"{target}-{way}"
            folder.mkdir()
            path = folder / f"r{SUFFIX[target]}"
            if way == "convert":
                interchange.convert(source, path)
            else:
                interchange.write(interchange.read(source), path)
            folders.append({p.name: p.read_bytes() for p in folder.iterdir()})
        assert folders[0] == folders[1]
