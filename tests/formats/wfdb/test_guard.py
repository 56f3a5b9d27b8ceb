"""Info strings that speak of signals, marks and fields by number or path never land on something else."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from interchange.model import Channel, Filters, Mark, Recording, Statement, Tracing
from tests.formats.wfdb.plain import again, encoded

LEADS = ("I", "II", "V1")
STALE = "lines about signals or annotations that were changed since"


def rhythm(leads: tuple[str, ...] = LEADS, length: int = 8, **fields: object) -> Tracing:
    """Each channel with a label that says its lead, which no signal line can say."""
    channels = tuple(
        Channel(lead, step=Fraction(5), label=f"clip of {lead}", filters=Filters(lowpass=Fraction(40 + row)))
        for row, lead in enumerate(leads)
    )
    samples = (np.arange(len(leads) * length).reshape(len(leads), length) * 7 - 20).astype(np.int16)
    return Tracing(channels, samples, Fraction(500), **fields)  # type: ignore[arg-type]


MARKS = (
    Mark("normal-beat", 0, Fraction(1, 500)),
    Mark("r-peak", 0, Fraction(2, 500)),
    Mark("note", 0, Fraction(3, 500), text="n" * 300),
)
WHOLE = Recording(tracings=(rhythm(),), marks=MARKS)
STRIP = rhythm(("II", "V1"), 6, start=Fraction(8, 500), label="strip")
TWO = Recording(tracings=(rhythm(), STRIP))


def header(files: dict[str, bytes], change: Callable[[list[str]], list[str]]) -> dict[str, bytes]:
    """The record with other header lines."""
    lines = change(files["rec.hea"].decode().splitlines())
    return {**files, "rec.hea": ("\n".join(lines) + "\n").encode()}


def rules(recording: Recording) -> set[str]:
    return {finding.rule for finding in recording.findings}


def labels(recording: Recording) -> dict[str, str | None]:
    return {channel.name: channel.label for tracing in recording.tracings for channel in tracing.channels}


def test_lines_of_an_untouched_record_come_back_without_a_finding() -> None:
    for whole in (WHOLE, TWO):
        found = again(encoded(whole))
        assert found.tracings == whole.tracings
        assert found.marks == whole.marks
        assert found.findings == ()


def test_a_renamed_record_keeps_its_lines() -> None:
    files = encoded(WHOLE, "old")
    renamed = {name.replace("old", "rec"): data.replace(b"old", b"rec") for name, data in files.items()}
    found = again(renamed)
    assert found.tracings == WHOLE.tracings
    assert found.marks == WHOLE.marks
    assert found.findings == ()


def without_signal(lines: list[str]) -> list[str]:
    return [lines[0].replace("rec 3", "rec 2"), *lines[1:2], *lines[3:]]


def with_signals_swapped(lines: list[str]) -> list[str]:
    return [lines[0], lines[2], lines[1], *lines[3:]]


@pytest.mark.parametrize("change", [without_signal, with_signals_swapped])
@pytest.mark.parametrize("whole", [WHOLE, Recording(tracings=(rhythm(),))], ids=["marks", "no marks"])
def test_a_label_never_lands_on_another_signal(change: Callable[[list[str]], list[str]], whole: Recording) -> None:
    found = again(header(encoded(whole), change))
    assert all(label is None for label in labels(found).values())
    assert all(channel.filters is None for channel in found.tracings[0].channels)
    assert "wfdb.lines-stale" in rules(found)
    assert any(left.what.endswith(STALE) for left in found.unread)


def test_a_record_written_anew_without_a_signal_by_a_program_that_keeps_comments() -> None:
    """Signal lines, data and checksums are right; only the info strings are of the older record."""
    rest = rhythm(("I", "V1"))
    new, old = encoded(Recording(tracings=(rest,))), encoded(Recording(tracings=(rhythm(),)))
    comments = [line for line in old["rec.hea"].decode().splitlines() if line.startswith("#")]
    found = again(header(new, lambda lines: [line for line in lines if not line.startswith("#")] + comments))
    assert labels(found) == {"I": None, "V1": None}
    assert rules(found) == {"wfdb.lines-stale"}


def test_a_layout_of_other_signals_cuts_no_tracing() -> None:
    found = again(header(encoded(TWO), lambda lines: [lines[0], *lines[4:6], *lines[1:4], *lines[6:]]))
    assert "wfdb.lines-stale" in rules(found)
    assert len(found.tracings) == 1
    assert all(label is None for label in labels(found).values())


def test_a_lead_that_was_named_anew_gets_no_label_of_the_old_one() -> None:
    found = again(header(encoded(WHOLE), lambda lines: [line.replace("0 V1", "0 V2") for line in lines]))
    assert labels(found) == {"I": None, "II": None, "V2": None}
    assert "wfdb.lines-stale" in rules(found)
    assert found.marks == WHOLE.marks  # they stand on the same samples, whatever the leads are called


def test_a_gain_that_was_put_right_by_hand_counts() -> None:
    third = replace(rhythm(), channels=tuple(Channel(lead, step=Fraction(1, 3)) for lead in LEADS))
    files = encoded(Recording(tracings=(third,)))
    assert again(files).tracings[0].channels[0].step == Fraction(1, 3)
    found = again(header(files, lambda lines: [line.replace(lines[1].split()[2], "1000(0)/mV") for line in lines]))
    assert [channel.step for channel in found.tracings[0].channels] == [1, 1, 1]


def test_a_mark_that_was_moved_in_its_file_is_not_moved_back() -> None:
    files = encoded(WHOLE)
    name = next(name for name in files if ".marks" in name)
    edited = files[name].replace(b"\x01\x04", b"\x02\x04", 1)
    assert edited != files[name]
    found = again({**files, name: edited})
    assert rules(found) == {"wfdb.annotation-changed", "wfdb.lines-stale"}
    assert [mark.start * 500 for mark in found.marks] == [2, 3, 4]
    assert [left.what for left in found.unread] == [f"2 {STALE}"]


def test_annotation_files_that_were_exchanged_in_the_header() -> None:
    found = again(header(encoded(WHOLE), lambda lines: [line for line in lines if "Annotations" not in line]))
    assert "wfdb.lines-stale" in rules(found)
    assert any(left.what.endswith(STALE) for left in found.unread)


@pytest.mark.parametrize(
    "line",
    [
        "tracings[0].rate: 250",
        "tracings[0].rate: 500.001",
        "tracings[0].channels[0].step: 10",
        "tracings[0].channels[0].step: 0",
        "tracings[0].channels[0].step: 1/0",
        "tracings[0].channels[0].offset: 100",
        "tracings[0].channels[0]: name=V6; step=7",
        "tracings[0].samples: 1",
        "tracings[0].missing: yes",
        "tracings[7].rate: 500",
        "format: dicom",
    ],
)
def test_no_line_sets_samples_rate_or_scale(line: str) -> None:
    plain = Recording(
        tracings=(Tracing((Channel("II", step=Fraction(5)),), np.array([[1, 2]], np.int16), Fraction(500)),)
    )
    found = again(header(encoded(plain), lambda lines: [*lines, f"# {line}"]))
    assert found.tracings[0] == plain.tracings[0]
    assert found.acquisition.remarks == (line,)
    assert "wfdb.line" in rules(found) or line.startswith("format")


@pytest.mark.parametrize(
    ("key", "line"),
    [
        ("Dx: 426783006", "statements[0]: text=Infarction"),
        ("Age: 62", "patient.age: 31 a"),
        ("Age: unknown", "patient.age: 31 a"),
        ("Patient ID: 7", "patient.ids[0]: value=8"),
        ("Rx: aspirin", "patient.drugs[0]: meaning=other"),
    ],
)
def test_a_line_never_replaces_what_a_customary_key_tells(key: str, line: str) -> None:
    plain = encoded(Recording(tracings=(rhythm(),)))
    bare = again(header(plain, lambda lines: [*lines, f"# {key}"]))
    both = again(header(plain, lambda lines: [*lines, f"# {key}", f"# {line}"]))
    assert both.patient == bare.patient
    assert both.statements == bare.statements
    assert line in both.acquisition.remarks
    assert "wfdb.line" in rules(both)


def test_a_comment_that_was_added_by_hand_replaces_no_remark() -> None:
    whole = Recording(tracings=(rhythm(),)).with_(statements=(Statement("Sinus rhythm"),))
    acquisition = replace(whole.acquisition, remarks=("first", "Age: 5", "third"))
    files = encoded(whole.with_(acquisition=acquisition))
    found = again(header(files, lambda lines: [*lines, "# added by hand"]))
    assert sorted(found.acquisition.remarks) == ["Age: 5", "added by hand", "first", "third"]


@pytest.mark.parametrize(
    "remark", ["Guard: on duty", f"Guard: samples {'0' * 16}, signals {'1' * 16}", "Guard: samples"]
)
def test_a_remark_that_looks_like_a_guard_is_a_remark(remark: str) -> None:
    acquisition = replace(WHOLE.acquisition, remarks=(remark, "other"))
    found = again(encoded(WHOLE.with_(acquisition=acquisition)))
    assert found.acquisition.remarks == (remark, "other")
    assert found.tracings == WHOLE.tracings
    assert found.findings == ()


def test_fields_that_only_this_format_knows_stay_beside_others() -> None:
    extras = (("wfdb.counter-frequency", "100"), ("other", "kept"))
    assert again(encoded(Recording(tracings=(rhythm(),), extras=extras))).extras == extras


def test_a_record_of_before_the_guard_is_taken_at_its_word() -> None:
    files = header(encoded(WHOLE), lambda lines: [line for line in lines if not line.startswith("# Guard")])
    found = again(files)
    assert found.tracings == WHOLE.tracings
    assert found.marks == WHOLE.marks
    assert found.findings == ()


def test_a_guard_that_cannot_be_read_guards() -> None:
    found = again(header(encoded(WHOLE), lambda lines: [*lines[:-1], "# Guard: samples nonsense"]))
    assert all(label is None for label in labels(found).values())
    assert "wfdb.lines-stale" in rules(found)
