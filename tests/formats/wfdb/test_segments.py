"""Records of several segments: fixed and variable layout, gaps, gains that change."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import wfdb

from interchange.errors import SourceError
from interchange.formats import wfdb as ours
from interchange.model import Recording
from interchange.sources import Source
from tests.formats.wfdb.plain import checksum, on_disk, pack, rules


def segment(
    name: str, signals: list[tuple[str, str, list[int]]], rate: str = "250", time: str = ""
) -> dict[str, bytes]:
    """Header and signal file of one segment: (description, gain field, samples) per signal."""
    count = len(signals[0][2])
    lines = [f"{name} {len(signals)} {rate} {count}{time}"]
    lines += [f"{name}.dat 16 {gain} 12 0 {s[0]} {checksum(s)} 0 {label}" for label, gain, s in signals]
    data = pack(16, [s[n] for n in range(count) for _, _, s in signals])
    return {f"{name}.hea": ("\n".join(lines) + "\n").encode(), f"{name}.dat": data}


def layout(name: str, signals: list[tuple[str, str]]) -> dict[str, bytes]:
    lines = [f"{name} {len(signals)} 250 0", *(f"~ 0 {gain} 12 0 0 0 0 {label}" for label, gain in signals)]
    return {f"{name}.hea": ("\n".join(lines) + "\n").encode()}


def top(*lines: str, count: int = 2, total: int, time: str = "", tail: str = "") -> dict[str, bytes]:
    text = f"rec/{len(lines)} {count} 250 {total}{time}\n" + "".join(f"{line}\n" for line in lines) + tail
    return {"rec.hea": text.encode()}


def read(files: dict[str, bytes]) -> Recording:
    return ours.read(Source(files["rec.hea"], "rec.hea", files=files))


def theirs(folder: Path, files: dict[str, bytes]) -> np.ndarray:
    on_disk(folder, files)
    return wfdb.rdrecord(str(folder / "rec"), m2s=True).p_signal.T


MV = "200(0)/mV"
FIXED = {
    **top("rec1 3", "rec2 2", total=5, tail="# Age: 60\n"),
    **segment("rec1", [("I", MV, [1, 2, 3]), ("II", MV, [10, 20, 30])]),
    **segment("rec2", [("I", MV, [4, 5]), ("II", MV, [40, -32768])]),
}


def test_a_fixed_layout_is_joined(tmp_path: Path) -> None:
    recording = read(FIXED)
    tracing = recording.tracings[0]
    assert tracing.samples.tolist() == [[1, 2, 3, 4, 5], [10, 20, 30, 40, 0]]
    assert tracing.missing is not None
    assert tracing.missing.tolist() == [[False] * 5, [False] * 4 + [True]]
    assert str(recording.patient.age) == "60 a"
    assert recording.findings == ()
    assert np.allclose(tracing.microvolts() / 1000, theirs(tmp_path, FIXED), equal_nan=True)


VARIABLE = {
    **top("rec_layout 0", "rec1 2", "~ 3", "rec2 2", count=3, total=7, time=" 10:00:00"),
    **layout("rec_layout", [("I", MV), ("II", MV), ("ABP", "10/mmHg")]),
    **segment("rec1", [("I", MV, [1, 2]), ("ABP", "10/mmHg", [50, 60])], time=" 10:00:00"),
    **segment("rec2", [("II", MV, [7, 8]), ("I", "100(0)/mV", [5, 6])], time=" 10:00:00.020"),
}


def test_a_variable_layout_has_gaps_and_signals_that_come_and_go(tmp_path: Path) -> None:
    recording = read(VARIABLE)
    tracing = recording.tracings[0]
    assert tracing.names == ("I", "II", "ABP")
    assert tracing.missing is not None
    assert tracing.missing.tolist() == [
        [False, False, True, True, True, False, False],
        [True, True, True, True, True, False, False],
        [False, False, True, True, True, True, True],
    ]
    physical = tracing.physical() / np.array([[1000], [1000], [1]])
    assert np.allclose(physical, theirs(tmp_path, VARIABLE), equal_nan=True)


def test_changed_gains_are_brought_to_their_greatest_common_step() -> None:
    recording = read(VARIABLE)
    channel = recording.tracings[0].channels[0]
    assert channel.step == 5  # 1/200 mV and 1/100 mV
    assert recording.tracings[0].samples[0].tolist() == [1, 2, 0, 0, 0, 10, 12]
    assert rules(recording) == ["wfdb.segment-gain"]


def test_changed_baselines_are_exact_too() -> None:
    files = {
        **top("rec1 1", "rec2 1", count=1, total=2),
        **segment("rec1", [("I", "3(0)/uV", [1])]),
        **segment("rec2", [("I", "2(1)/uV", [4])]),
    }
    tracing = read(files).tracings[0]
    channel = tracing.channels[0]
    values = [channel.offset + channel.step * n for n in tracing.samples[0].tolist()]
    assert values == [Fraction(1, 3), Fraction(3, 2)]


def test_gains_without_a_common_step_of_32_bits_are_refused() -> None:
    files = {
        **top("rec1 1", "rec2 1", count=1, total=2),
        **segment("rec1", [("I", "1000.0001/uV", [30000])]),
        **segment("rec2", [("I", "999.9999/uV", [30000])]),
    }
    with pytest.raises(SourceError, match="common step"):
        read(files)


def test_several_rates_in_segments() -> None:
    def part(name: str, fast: list[int], slow: list[int]) -> dict[str, bytes]:
        text = (
            f"{name} 2 250 {len(slow)}\n{name}.dat 16x2 200/mV 12 0 {fast[0]} {sum(fast)} 0 I\n"
            f"{name}.dat 16 10/mmHg 12 0 {slow[0]} {sum(slow)} 0 ABP\n"
        )
        frames = [v for n, s in enumerate(slow) for v in (*fast[2 * n : 2 * n + 2], s)]
        return {f"{name}.hea": text.encode(), f"{name}.dat": pack(16, frames)}

    files = {
        **top("rec1 2", "~ 1", "rec2 1", total=4),
        **part("rec1", [1, 2, 3, 4], [9, 8]),
        **part("rec2", [5, 6], [7]),
    }
    recording = read(files)
    assert [t.rate for t in recording.tracings] == [500, 250]
    assert recording.tracings[0].samples.tolist() == [[1, 2, 3, 4, 0, 0, 5, 6]]
    assert recording.tracings[1].samples.tolist() == [[9, 8, 0, 7]]
    assert recording.findings == ()


def test_a_segment_may_appear_twice() -> None:
    files = {**top("rec1 2", "rec1 2", count=1, total=4), **segment("rec1", [("I", MV, [1, 2])])}
    assert read(files).tracings[0].samples.tolist() == [[1, 2, 1, 2]]


def test_a_record_that_is_only_a_gap() -> None:
    files = {**top("rec_layout 0", "~ 5", total=5), **layout("rec_layout", [("I", MV), ("II", MV)])}
    tracing = read(files).tracings[0]
    assert tracing.missing is not None
    assert tracing.missing.all()
    assert tracing.samples.shape == (2, 5)


def test_annotations_belong_to_the_whole_record() -> None:
    files = {**FIXED, "rec.atr": b"\x04\x04\x00\x00"}
    recording = read(files)
    assert [(m.concept, m.start, m.group) for m in recording.marks] == [("normal-beat", Fraction(4, 250), "atr")]


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ({"rec2.hea": None}, "wfdb.segment-missing"),
        ({"rec2.dat": None}, "wfdb.segment-missing"),
        (top("rec1 3", "rec2 2", total=9), "wfdb.segment-sum"),
        (top("rec1 3", "rec2 1", total=4), "wfdb.segment-length"),
        (segment("rec2", [("I", MV, [4, 5]), ("II", MV, [40, 50])], rate="500"), "wfdb.segment-rate"),
        (segment("rec2", [("I", MV, [4, 5]), ("III", MV, [40, 50])]), "wfdb.segment-signals"),
        (
            {
                **top("rec1 3", "rec2 2", total=5, time=" 10:00:00"),
                **segment("rec2", [("I", MV, [4, 5]), ("II", MV, [40, 50])], time=" 11:00:00"),
            },
            "wfdb.segment-start",
        ),
    ],
)
def test_deviations_of_segments(change: dict[str, bytes | None], rule: str) -> None:
    files = {name: data for name, data in {**FIXED, **change}.items() if data is not None}
    recording = read(files)
    assert rule in rules(recording)
    assert recording.tracings[0].samples[0, :3].tolist() == [1, 2, 3]


def test_a_missing_segment_is_a_gap() -> None:
    files = {name: data for name, data in FIXED.items() if not name.startswith("rec2")}
    tracing = read(files).tracings[0]
    assert tracing.missing is not None
    assert tracing.missing.tolist() == [[False] * 3 + [True] * 2] * 2


def test_segments_in_segments_are_refused() -> None:
    with pytest.raises(SourceError, match="of its own"):
        read({**FIXED, "rec2.hea": b"rec2/1 2 250 2\nrec3 2\n"})


def test_a_record_that_names_itself_is_refused() -> None:
    with pytest.raises(SourceError, match="of its own"):
        read(top("rec 5", total=5))


def test_gaps_of_any_stated_length_take_no_memory() -> None:
    files = {**top("rec1 3", "~ 900000000000", total=900000000003), **segment("rec1", [("I", MV, [1, 2, 3])])}
    with pytest.raises(SourceError, match="longer than their files allow"):
        read(files)
    files = {**top(*["rec1 3"] * 20000, count=1, total=60000), **segment("rec1", [("I", MV, [1, 2, 3])])}
    assert read(files).tracings[0].length == 60000


def test_segment_names_with_paths_are_refused() -> None:
    with pytest.raises(SourceError, match="plain name") as caught:
        read(top("../rec1 3", total=3))
    assert caught.value.place == "line 2"


def test_info_strings_of_segments_are_listed() -> None:
    files = {**FIXED, "rec2.hea": FIXED["rec2.hea"] + b"# produced by hand\n"}
    assert [(u.place, u.what) for u in read(files).unread] == [("line 3", "info string of a segment")]
