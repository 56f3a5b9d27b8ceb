"""Marks and annotation files: every code, several annotators, and what an annotation cannot say."""

from __future__ import annotations

import time
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import wfdb

from interchange.formats.wfdb.annotations import Annotation, encode_annotations
from interchange.model import Channel, Code, Mark, Measurement, Recording, Tracing
from interchange.vocabulary import beats, concepts
from tests.formats.wfdb.plain import again, encoded, on_disk, read, rules, simple
from tests.walk import walk

HEADER, DATA = simple([[1, 2, 3, 4] * 250, [4, 3, 2, 1] * 250])


def with_annotations(*items: Annotation, resolution: Fraction | None = None, suffix: str = "atr") -> Recording:
    return read(HEADER, dat=DATA, **{suffix: encode_annotations(items, resolution)})


def recording(*marks: Mark, leads: tuple[str, ...] = ("I", "II", "V1"), rate: int = 500) -> Recording:
    samples = np.arange(len(leads) * 1000, dtype=np.int16).reshape(len(leads), 1000)
    tracing = Tracing(tuple(Channel(name) for name in leads), samples, Fraction(rate))
    return Recording(tracings=(tracing,), marks=marks)


# Reading ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "row", [row for row in beats() if row.number and row.kind == "annotation"], ids=lambda r: r.name
)
def test_every_code_becomes_a_mark(row: object) -> None:
    number, concept = row.number, row.concept  # type: ignore[attr-defined]
    mark = with_annotations(Annotation(500, number)).marks[0]
    assert mark.start == 1
    assert mark.group == "atr"
    assert mark.concept == concept


@pytest.mark.parametrize("number", [15, 17, 42, 49])
def test_codes_without_a_meaning_keep_their_number(number: int) -> None:
    mark = with_annotations(Annotation(5, number, aux=b"mine")).marks[0]
    assert (mark.concept, mark.source_code, mark.text) == ("other", Code(str(number), "WFDB"), "mine")
    defined = encode_annotations([Annotation(5, number)], None)
    notes = b"".join(
        encode_annotations([Annotation(0, 22, aux=text)], None)[:-2]
        for text in (b"## annotation type definitions", f"{number} q my beat".encode(), b"## end of definitions")
    )
    assert read(HEADER, dat=DATA, atr=notes + defined).marks[0].source_code == Code(str(number), "WFDB", "my beat")


@pytest.mark.parametrize(
    ("aux", "concept", "text"),
    [
        (b"(AFIB", "atrial-fibrillation", None),
        (b"(N", "normal-sinus-rhythm", None),
        (b"(VFIB", "ventricular-fibrillation", "(VFIB"),
        (b"(P", "rhythm-change", "(P"),
        (b"(ODD", "rhythm-change", "(ODD"),
        (b"", "rhythm-change", None),
    ],
)
def test_rhythm_texts(aux: bytes, concept: str, text: str | None) -> None:
    mark = with_annotations(Annotation(5, 28, aux=aux)).marks[0]
    assert (mark.concept, mark.text) == (concept, text)


def test_brackets_belong_to_the_peak_between_them() -> None:
    items = [
        Annotation(10, 39), Annotation(20, 24), Annotation(30, 40),
        Annotation(40, 39), Annotation(50, 1), Annotation(60, 40),
        Annotation(70, 39), Annotation(80, 27), Annotation(90, 40),
        Annotation(95, 39), Annotation(99, 22),
    ]  # fmt: skip
    assert [mark.concept for mark in with_annotations(*items).marks] == [
        "p-onset", "p-peak", "p-offset", "qrs-onset", "normal-beat", "qrs-offset", "t-onset", "t-peak", "t-offset",
        "wave-onset", "note",
    ]  # fmt: skip


def test_brackets_on_other_channels_do_not_mix() -> None:
    items = [Annotation(10, 39, chan=1), Annotation(12, 24), Annotation(20, 27, chan=1), Annotation(30, 40, chan=1)]
    assert [mark.concept for mark in with_annotations(*items).marks] == ["t-onset", "p-peak", "t-peak", "t-offset"]


def test_numbers_of_foreign_files_are_kept_and_not_interpreted() -> None:
    mark = with_annotations(Annotation(5, 14, subtype=-1, chan=1, num=7)).marks[0]
    assert mark.lead is None
    assert mark.extras == (("wfdb.chan", "1"), ("wfdb.num", "7"), ("wfdb.subtype", "-1"))


def test_a_file_may_state_its_own_time_resolution() -> None:
    assert with_annotations(Annotation(250, 1), resolution=Fraction(1000)).marks[0].start == Fraction(1, 4)


def test_several_annotators_are_groups() -> None:
    one = encode_annotations([Annotation(5, 1)], None)
    two = encode_annotations([Annotation(6, 5)], None)
    found = read(HEADER, dat=DATA, atr=one, qrs=two).marks
    assert [(m.concept, m.group) for m in found] == [("normal-beat", "atr"), ("ventricular-premature-beat", "qrs")]


def test_files_that_are_no_annotations_are_left_alone_or_listed() -> None:
    found = read(HEADER, dat=DATA, txt=b"notes\n", xyz=b"what is this", json=b"{}")
    assert found.marks == ()
    assert [(u.place, u.size) for u in found.unread] == [("annotation file .xyz", 12)]


def test_a_damaged_file_of_a_customary_name_is_read_as_far_as_it_goes() -> None:
    whole = encode_annotations([Annotation(5, 1), Annotation(9, 22, aux=b"text")], None)
    found = read(HEADER, dat=DATA, atr=whole[:-4])
    assert [m.concept for m in found.marks] == ["normal-beat", "note"]
    assert rules(found) == ["wfdb.annotation-cut"]
    assert found.unread[0].place.startswith("annotation file .atr, byte")


def test_annotations_of_a_record_without_signals_are_listed() -> None:
    found = read("rec 0 360 100\n", atr=encode_annotations([Annotation(5, 1)], None))
    assert found.marks == ()
    assert [(u.place, u.size) for u in found.unread] == [("annotation file .atr", 4)]


def test_annotations_outside_the_record_are_kept_and_reported() -> None:
    found = with_annotations(Annotation(5, 1), Annotation(10**9, 1))
    assert len(found.marks) == 2
    assert rules(found) == ["wfdb.annotation-time"]


def test_texts_beyond_ascii_are_read_as_utf_8_or_latin_1() -> None:
    found = with_annotations(
        Annotation(5, 22, aux="größer".encode()), Annotation(6, 22, aux="größer".encode("latin-1"))
    )
    assert [m.text for m in found.marks] == ["größer", "größer"]
    assert rules(found) == ["wfdb.annotation-text"]


# Writing ------------------------------------------------------------------------------------------------------------


def library(folder: Path, files: dict[str, bytes]) -> wfdb.Annotation:
    on_disk(folder, files)
    name = next(name for name in files if not name.endswith((".hea", ".dat")))
    return wfdb.rdann(str(folder / name.rpartition(".")[0]), name.rpartition(".")[2])


def exact_concepts() -> list[str]:
    return [c.id for c in concepts() if c.scope == "mark" and c.wfdb_fit == "exact"]


def test_every_concept_that_wfdb_has_exactly_needs_no_info_string(tmp_path: Path) -> None:
    marks = tuple(Mark(concept, 0, Fraction(n + 1, 50), group="atr") for n, concept in enumerate(exact_concepts()))
    files = encoded(recording(*marks))
    assert b"marks[" not in files["rec.hea"]
    assert again(files).marks == marks
    read_by_library = library(tmp_path, files)
    assert read_by_library.sample.tolist() == [(n + 1) * 10 for n in range(len(marks))]


@pytest.mark.parametrize("concept", sorted({c.id for c in concepts() if c.scope == "mark" and c.kind != "amplitude"}))
def test_every_concept_comes_back(concept: str) -> None:
    marks = (Mark(concept, 0, Fraction(1, 10)), Mark(concept, 0, Fraction(1, 5), Fraction(1, 4), lead="II", text="why"))
    files = encoded(recording(*marks))
    assert again(files).marks == marks


def test_what_is_not_true_of_a_mark_is_never_written(tmp_path: Path) -> None:
    """A spike of unknown effect is no spike without capture, a wave no peak, a beat not an unclassifiable one."""
    marks = (
        Mark("pacing-spike", 0, Fraction(1, 10)),
        Mark("p-wave", 0, Fraction(2, 10)),
        Mark("beat", 0, Fraction(3, 10)),
        Mark("sinus-rhythm", 0, Fraction(4, 10)),
        Mark("severe-noise", 0, Fraction(5, 10)),
    )
    found = library(tmp_path, encoded(recording(*marks)))
    assert set(found.symbol) == {'"'}
    assert found.aux_note[0].startswith("pacing spike")


def test_leads_are_channels_and_the_first_signal_is_told_apart_from_all(tmp_path: Path) -> None:
    marks = (
        Mark("p-peak", 0, Fraction(1, 10)),
        Mark("p-peak", 0, Fraction(2, 10), lead="V1"),
        Mark("p-peak", 0, Fraction(3, 10), lead="I"),
        Mark("p-peak", 0, Fraction(4, 10), lead="V9"),
    )
    files = encoded(recording(*marks))
    assert again(files).marks == marks
    assert library(tmp_path, files).chan.tolist() == [0, 2, 0, 0]


def test_times_between_frames_get_a_time_resolution(tmp_path: Path) -> None:
    marks = (Mark("normal-beat", 0, Fraction(1, 3)), Mark("normal-beat", 0, Fraction(1, 2)))
    files = encoded(recording(*marks))
    assert again(files).marks == marks
    assert b"marks[" not in files["rec.hea"]
    found = library(tmp_path, files)
    assert (found.fs, found.sample.tolist()) == (6, [2, 3])


def test_times_on_no_common_grid_are_rounded_for_others_and_exact_for_us(tmp_path: Path) -> None:
    marks = (Mark("normal-beat", 0, Fraction(1, 999983)), Mark("normal-beat", 0, Fraction(1, 999979)))
    files = encoded(recording(*marks))
    assert again(files).marks == marks


def test_marks_before_the_record_are_told_in_info_strings_alone() -> None:
    marks = (Mark("normal-beat", 0, Fraction(-1, 10)),)
    files = encoded(recording(*marks))
    assert set(files) == {next(n for n in files if n.endswith(".dat")), "rec.hea"}
    assert again(files).marks == marks


def test_marks_at_one_instant_all_stay(tmp_path: Path) -> None:
    """Of annotations with equal time, num and chan the reference library keeps the last alone."""
    marks = tuple(Mark("note", 0, Fraction(1, 10), text=f"note {n}") for n in range(5))
    files = encoded(recording(*marks))
    assert again(files).marks == marks
    found = library(tmp_path, files)
    assert len({(s, n, c) for s, n, c in zip(found.sample, found.num, found.chan, strict=True)}) == 5


def test_a_crowd_at_one_instant_loses_none() -> None:
    marks = tuple(Mark("note", 0, Fraction(1, 10), text=f"note {n}") for n in range(300))
    assert sorted(again(encoded(recording(*marks))).marks, key=str) == sorted(marks, key=str)


def test_writing_many_marks_takes_time_in_line_with_their_number() -> None:
    def took(count: int) -> float:
        marks = tuple(Mark("normal-beat", 0, Fraction(n, 500), group="atr") for n in range(count))
        whole = recording(*marks)
        start = time.process_time()
        files = encoded(whole)
        end = time.process_time()
        assert again(files).marks == marks
        return end - start

    small, large = took(500), took(8000)
    assert large < 16 * 3 * small + 0.1


def test_notes_at_sample_0_are_moved_for_the_library_that_drops_them(tmp_path: Path) -> None:
    marks = (Mark("note", 0, Fraction(0), text="at the beginning"),)
    files = encoded(recording(*marks))
    assert again(files).marks == marks
    found = library(tmp_path, files)
    assert found.sample.tolist() == [1]
    assert found.aux_note[0].startswith("at the beginning")


@pytest.mark.parametrize(
    "text",
    [
        "## time resolution: 1", "## anything", "x" * 255, "x" * 256, "y" * 5000, "größer", "two\nlines", "nul\0", " ",
        "(AFIB", "[marks 0]", "ends with [marks 7]", "\\", "a\u2028b",
    ],
)  # fmt: skip
@pytest.mark.parametrize("concept", ["note", "normal-beat", "rhythm-change", "atrial-fibrillation"])
def test_awkward_texts_come_back_and_stay_7_bit_for_others(concept: str, text: str, tmp_path: Path) -> None:
    marks = (Mark(concept, 0, Fraction(0), text=text), Mark(concept, 0, Fraction(1, 10), text=text))
    files = encoded(recording(*marks))
    assert again(files).marks == marks
    found = library(tmp_path, files)
    assert len(found.sample) >= 1
    assert all(32 <= ord(c) < 127 for aux in found.aux_note for c in aux)


def test_pacing_spikes_tell_amplitude_and_width_in_words(tmp_path: Path) -> None:
    spike = Mark(
        "ventricular-pacing-spike", 0, Fraction(1, 10), lead="II",
        measurements=(Measurement("pacing-spike-amplitude", 900, "uV"), Measurement("pacing-spike-width", 500, "us")),
    )  # fmt: skip
    files = encoded(recording(spike))
    assert again(files).marks == (spike,)
    found = library(tmp_path, files)
    assert found.symbol == ['"']
    assert "ventricular pacing spike" in found.aux_note[0]
    assert "900 uV" in found.aux_note[0]


@pytest.mark.parametrize("group", [None, "atr", "set one", "größer", "a" * 200, "x\ny", " lead", "marks"])
def test_sets_keep_their_names(group: str | None) -> None:
    marks = (Mark("normal-beat", 0, Fraction(1, 10), group=group), Mark("normal-beat", 0, Fraction(2, 10), group="b"))
    assert set(again(encoded(recording(*marks))).marks) == set(marks)


def test_marks_on_a_representative_beat_are_annotations_of_its_own_record(tmp_path: Path) -> None:
    base = recording(Mark("normal-beat", 0, Fraction(1, 10)))
    beat = Tracing(
        (Channel("II"),),
        np.arange(300, dtype=np.int16).reshape(1, 300),
        Fraction(500),
        kind="representative beat",
        of=0,
    )
    marks = (*base.marks, Mark("qrs-onset", 1, Fraction(1, 5)), Mark("normal-beat", 1, Fraction(1, 4)))
    whole = base.with_(tracings=(*base.tracings, beat), marks=marks)
    files = encoded(whole)
    assert not walk(whole, again(files))
    own = next(n for n in files if n.startswith("rec_") and ".marks_" in n)
    on_disk(tmp_path, files)
    found = wfdb.rdann(str(tmp_path / own.partition(".")[0]), own.partition(".")[2])
    assert (found.sample.tolist(), found.symbol) == ([100, 125], ["(", "N"])


# What may happen to the files --------------------------------------------------------------------------------------


def edited() -> tuple[dict[str, bytes], str]:
    files = encoded(recording(Mark("normal-beat", 0, Fraction(1, 10)), Mark("r-peak", 0, Fraction(2, 10))))
    return files, next(name for name in files if ".marks_" in name)


def test_a_lost_annotation_file_is_an_error_finding() -> None:
    files, name = edited()
    del files[name]
    found = again(files)
    assert rules(found) == ["wfdb.annotation-missing"]
    assert [m.concept for m in found.marks] == ["r-peak"]


def test_an_edited_annotation_file_is_read_and_reported() -> None:
    files, name = edited()
    files[name] = encode_annotations([Annotation(70, 5)], None)
    found = again(files)
    assert rules(found) == ["wfdb.annotation-changed", "wfdb.lines-stale"]
    assert [m.concept for m in found.marks] == ["ventricular-premature-beat"]
    assert [u.what for u in found.unread] == ["1 lines about signals or annotations that were changed since"]


def test_an_annotation_file_of_an_earlier_version_is_not_read() -> None:
    files, _ = edited()
    files["rec.marks_abcdef01"] = encode_annotations([Annotation(70, 5)], None)
    found = again(files)
    assert len(found.marks) == 2
    assert [u.what for u in found.unread] == ["annotation file of an earlier version of this record"]


def test_an_annotation_file_that_somebody_added_is_read() -> None:
    files, _ = edited()
    files["rec.qrs"] = encode_annotations([Annotation(70, 1)], None)
    assert [m.group for m in again(files).marks] == [None, None, "qrs"]
