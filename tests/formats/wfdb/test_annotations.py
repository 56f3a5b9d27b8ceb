"""Annotation files against the wfdb package and against files put together word by word."""

from __future__ import annotations

import random
import struct
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import wfdb
from hypothesis import given, settings
from hypothesis import strategies as st

from interchange.errors import SourceError
from interchange.formats.wfdb.annotations import (
    Annotation,
    encode_annotations,
    is_annotation_file,
    parse_annotations,
)

SKIP, NUM, SUB, CHN, AUX = 59, 60, 61, 62, 63


def word(code: int, value: int) -> bytes:
    return struct.pack("<H", code << 10 | value)


END = b"\0\0"


def test_an_annotation_is_six_bits_of_code_and_ten_of_interval() -> None:
    file = parse_annotations(word(1, 18) + word(8, 59) + word(5, 1023) + END)
    assert [(a.time, a.code) for a in file.annotations] == [(18, 1), (77, 8), (1100, 5)]
    assert file.broken == []


def test_skip_has_its_high_word_first_and_is_added_to_what_follows() -> None:
    data = word(SKIP, 0) + b"\x01\x00\x02\x00" + word(1, 3) + word(SKIP, 0) + b"\xff\xff\xff\xff" + word(1, 0) + END
    assert [a.time for a in parse_annotations(data).annotations] == [65541, 65540][::-1]
    assert [rule for rule, _ in parse_annotations(data).broken] == ["wfdb.annotation-order"]


def test_intervals_beyond_32_bits() -> None:
    four = (word(SKIP, 0) + b"\xff\x7f\xff\xff") * 4
    file = parse_annotations(four + word(SKIP, 0) + b"\x0b\x54\x04\xe4" + word(1, 0) + END)
    assert file.annotations[0].time == 10_000_000_000


def test_num_and_chan_stay_and_subtype_goes() -> None:
    data = word(1, 10) + word(SUB, 3) + word(CHN, 2) + word(NUM, 5) + word(1, 10) + word(1, 10) + word(NUM, 0) + END
    assert [(a.subtype, a.chan, a.num) for a in parse_annotations(data).annotations] == [
        (3, 2, 5),
        (0, 2, 5),
        (0, 2, 0),
    ]


def test_small_numbers_are_signed_and_channels_are_not() -> None:
    data = word(14, 10) + word(SUB, 0x3FF) + word(CHN, 255) + word(NUM, 0x80) + END
    item = parse_annotations(data).annotations[0]
    assert (item.subtype, item.chan, item.num) == (-1, 255, -128)


def test_aux_of_odd_length_is_padded_and_a_closing_nul_is_dropped() -> None:
    data = word(28, 18) + word(AUX, 3) + b"(N\0\0" + word(22, 5) + word(AUX, 4) + b"text" + END
    assert [a.aux for a in parse_annotations(data).annotations] == [b"(N", b"text"]


def test_code_0_with_an_interval_only_moves_on() -> None:
    data = word(SKIP, 0) + b"\xff\xff\xff\xff" + word(0, 1) + word(1, 7) + END
    file = parse_annotations(data)
    assert [(a.time, a.code) for a in file.annotations] == [(7, 1)]
    assert file.broken == []


def test_time_resolution_and_own_types_are_notes_for_the_whole_file() -> None:
    def note(text: bytes) -> bytes:
        return word(22, 0) + word(AUX, len(text)) + text + b"\0" * (len(text) % 2)

    data = (
        note(b"## time resolution: 500")
        + note(b"## annotation type definitions")
        + note(b"42 x my own beat")
        + note(b"## end of definitions")
        + note(b"an ordinary comment")
        + word(42, 9)
        + END
    )
    file = parse_annotations(data)
    assert file.resolution == 500
    assert file.own_types == {42: "my own beat"}
    assert [(a.time, a.code, a.aux) for a in file.annotations] == [(0, 22, b"an ordinary comment"), (9, 42, b"")]
    assert file.broken == []


@pytest.mark.parametrize(
    ("data", "rule", "left"),
    [
        (word(1, 5), "wfdb.annotation-end", 1),
        (word(1, 5) + END + b"more", "wfdb.annotation-trailing", 1),
        (word(1, 5) + word(AUX, 20) + b"short" + END, "wfdb.annotation-cut", 1),
        (word(1, 5) + word(SKIP, 0) + b"\1", "wfdb.annotation-cut", 1),
        (word(1, 5) + word(50, 3) + word(1, 2) + END, "wfdb.annotation-code", 2),
        (word(22, 0) + word(AUX, 8) + b"## other" + word(1, 5) + END, "wfdb.annotation-note", 2),
        (b"", "wfdb.annotation-end", 0),
    ],
)
def test_damage_is_reported_and_the_rest_is_read(data: bytes, rule: str, left: int) -> None:
    file = parse_annotations(data)
    assert [found for found, _ in file.broken] == [rule]
    assert len(file.annotations) == left


def test_the_old_16_byte_form_is_refused() -> None:
    with pytest.raises(SourceError):
        parse_annotations((b"\0N" + bytes(14)) * 3)


# Against the library ---------------------------------------------------------------------------------------------

CODES = [code for code in range(1, 42) if code not in (15, 17)]


def many(seed: int, count: int = 200) -> list[Annotation]:
    draw = random.Random(seed)
    time, found = 0, []
    for _ in range(count):
        time += draw.choice([1, 5, 300, 1023, 1024, 70_000, 2**31, 5 * 10**9])
        aux = draw.choice([b"", b"", b"(AFIB", b"odd", b"a longer text of some words", b"x" * 255])
        found.append(
            Annotation(
                time, draw.choice(CODES), draw.randint(-128, 127), draw.randint(0, 255), draw.randint(0, 127), aux
            )
        )
    return found


@pytest.mark.parametrize("seed", range(4))
def test_what_is_written_the_library_reads_the_same(seed: int, tmp_path: Path) -> None:
    items = many(seed)
    (tmp_path / "rec.atr").write_bytes(encode_annotations(items, None))
    theirs = wfdb.rdann(str(tmp_path / "rec"), "atr", return_label_elements=["label_store"])
    found = zip(
        theirs.sample.tolist(), theirs.label_store.tolist(), theirs.subtype.tolist(), theirs.chan.tolist(),
        theirs.num.tolist(), [text.encode() for text in theirs.aux_note], strict=True,
    )  # fmt: skip
    assert [Annotation(*each) for each in found] == items


@pytest.mark.parametrize("seed", range(4))
def test_what_the_library_writes_is_read_the_same(seed: int, tmp_path: Path) -> None:
    items = [item._replace(num=max(item.num, 0), time=(at + 1) * 700) for at, item in enumerate(many(seed))]
    symbols = wfdb.io.annotation.ann_label_table.set_index("label_store")["symbol"]
    wfdb.wrann(
        "rec", "atr", np.array([a.time for a in items]), [symbols[a.code] for a in items],
        np.array([a.subtype for a in items]), np.array([a.chan for a in items]), np.array([a.num for a in items]),
        [a.aux.decode() for a in items], write_dir=str(tmp_path),
    )  # fmt: skip
    file = parse_annotations((tmp_path / "rec.atr").read_bytes())
    assert file.annotations == items
    assert file.broken == []


def test_the_library_reads_the_time_resolution(tmp_path: Path) -> None:
    (tmp_path / "rec.x").write_bytes(encode_annotations([Annotation(7, 1)], Fraction(1000)))
    theirs = wfdb.rdann(str(tmp_path / "rec"), "x")
    assert theirs.fs == 1000
    assert theirs.sample.tolist() == [7]


# There and back --------------------------------------------------------------------------------------------------

annotations = st.builds(
    Annotation,
    st.integers(1, 2**40),
    st.integers(1, 49),
    st.integers(-128, 127),
    st.integers(0, 255),
    st.integers(-128, 127),
    st.binary(max_size=255).filter(lambda aux: not aux.endswith(b"\0")),
)


@settings(max_examples=150, deadline=None)
@given(st.lists(annotations, max_size=20), st.sampled_from([None, Fraction(1000), Fraction(1, 3)]))
def test_everything_comes_back(items: list[Annotation], resolution: Fraction | None) -> None:
    items.sort(key=lambda item: (item.time, item.num, item.chan))
    file = parse_annotations(encode_annotations(items, resolution))
    assert file.annotations == items
    assert file.resolution == resolution
    assert file.broken == []


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=80))
def test_any_bytes_give_annotations_or_an_error(data: bytes) -> None:
    try:
        file = parse_annotations(data)
    except SourceError:
        return
    assert all(1 <= item.code <= 49 for item in file.annotations)
    assert is_annotation_file(data) in (True, False)


def test_texts_are_no_annotation_files() -> None:
    for data in (b"some text\n", b"%PDF-1.7 and so on", b"", b"\0", b"\x89PNG\r\n\x1a\n\0\0", b"{}"):
        assert not is_annotation_file(data)
    assert is_annotation_file(END)
    assert is_annotation_file(word(1, 5) + END)


def test_reading_takes_time_in_line_with_size() -> None:
    """A hundred thousand words of every hostile kind are done at once."""
    for data in (word(1, 1) * 10**5, (word(SKIP, 0) + b"\xff\x7f\xff\xff") * 30_000, word(CHN, 7) * 10**5):
        assert len(parse_annotations(data + END).annotations) in (10**5, 0)
