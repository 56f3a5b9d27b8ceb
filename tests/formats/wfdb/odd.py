"""One record for every rule, broken in that one way: what must be reported is the rule's own id.

``python -m tests.formats.wfdb.odd`` writes them into fixtures/wfdb-odd, with a list of what each must report.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np

from interchange.formats.wfdb.flac import encode_flac
from tests.formats.wfdb.plain import checksum, encoded, simple

FOLDER = Path(__file__).resolve().parents[3] / "fixtures" / "wfdb-odd"
Files = dict[str, bytes]
SAMPLES: dict[str, Callable[[str], Files]] = {}
"""By rule, without the format's name and dot: files of a record of the given name."""

ROWS = [[3, 5, -2, 4], [10, 20, 30, 40]]
SUMS = [checksum(row) for row in ROWS]


def sound(name: str = "sound") -> Files:
    """A record that breaks no rule."""
    header, data = simple(ROWS, name=name, tail="# Age: 61\n# Sex: Female\n", time=" 10:20:30 04/05/2031")
    return {f"{name}.hea": header.encode(), f"{name}.dat": data}


def sample(rule: str) -> Callable[[Callable[[str], Files]], Callable[[str], Files]]:
    def keep(maker: Callable[[str], Files]) -> Callable[[str], Files]:
        SAMPLES[rule] = maker
        return maker

    return keep


def replaced(rule: str, old: str, new: str) -> None:
    """The sound record with one piece of its header replaced."""

    def make(name: str) -> Files:
        files = sound(name)
        header = files[f"{name}.hea"].decode()
        before, after = old.replace("NAME", name), new.replace("NAME", name)
        assert before in header, rule
        return {**files, f"{name}.hea": header.replace(before, after, 1).encode()}

    SAMPLES[rule] = make


# The header as text
replaced("unreadable", "NAME 2 500", "NAME two 500")
replaced("header-byte-order-mark", "NAME 2", "\ufeffNAME 2")
replaced("header-line-length", "# Age: 61", "# Age: 61\n# " + "long " * 60)
replaced("header-control", "# Age: 61", "# Age: 61\n# bell \x07")
replaced("comment-indented", "# Age", "  # Age")
replaced("line-surplus", "# Age", "NAME.dat 16 1000/mV 12 0 0 0 0 V1\n# Age")


@sample("header-encoding")
def _latin(name: str) -> Files:
    files = sound(name)
    return {**files, f"{name}.hea": files[f"{name}.hea"] + "# größer\n".encode("latin-1")}


# The record line
replaced("name-suffix", "NAME 2", "NAME.mat 2")
replaced("name-characters", "NAME 2", "NA.ME! 2")
replaced("name-differs", "NAME 2", "other 2")
replaced("rate-missing", " 500 4 10:20:30 04/05/2031", "")
replaced("number-form", "NAME 2 500 4 ", "NAME 2 500 4.0 ")
replaced("record-field", "04/05/2031", "04/05/2031 and more")
replaced("time-order", "10:20:30 04/05/2031", "04/05/2031 10:20:30")
replaced("time-form", "04/05/2031", "2031-05-04")
replaced("time-value", "04/05/2031", "31/02/2031")
replaced("file-stamp", "10:20:30 04/05/2031", "04-May-2031 10:20:30")
replaced("date-without-time", "10:20:30 04/05/2031", "04/05/2031")
replaced("samples-missing", "NAME 2 500 4 ", "NAME 2 500 0 ")

# Signal lines
replaced("signal-field", f" 12 0 10 {SUMS[1]} 0 II", " 12 lead II")
replaced("gain-missing", "1000(0)/mV", "0(0)/mV")
replaced("gain-negative", "1000(0)/mV", "-1000(0)/mV")
replaced("units-spelling", "1000(0)/mV", "1000(0)/mv")
replaced("units-length", "1000(0)/mV", "1000(0)/" + "m" * 51)
replaced("description-length", "0 II\n", "0 " + "II " * 40 + "\n")
replaced("description-missing", "0 II\n", "0\n")
replaced("description-repeats", "0 II\n", "0 I\n")
replaced("resolution", " 12 0 10 ", " 99 0 10 ")
replaced("checksum-form", f" {SUMS[0]} 0 I\n", f" {SUMS[0] + 65536} 0 I\n")
replaced("checksum-missing", f" 12 0 10 {SUMS[1]} 0 II", " 12 0 10")
replaced("initial-value", " 12 0 10 ", " 12 0 11 ")
replaced("block-size", f" {SUMS[1]} 0 II", f" {SUMS[1]} 512 II")


@sample("offset-differs")
def _offsets(name: str) -> Files:
    files = sound(name)
    header = files[f"{name}.hea"].decode().replace(f"{name}.dat 16 ", f"{name}.dat 16+2 ", 1)
    return {f"{name}.hea": header.encode(), f"{name}.dat": b"\0\0" + files[f"{name}.dat"]}


# Info strings
replaced("age-withheld", "# Age: 61", "# Age: 300")
replaced("age-zero", "# Age: 61", "# Age: 0")
replaced("comment-value", "# Age: 61", "# Age: 161")
replaced("line", "# Age: 61", "# patient.shoe_size: 43")
replaced(
    "lines-stale",
    "# Age: 61",
    "# tracings[0].channels[0].name: V2\n"
    "# Guard: samples 0123456789abcdef, signals 0123456789abcdef, annotations 0123456789abcdef",
)
replaced("layout", "# Age: 61", "# Tracing 1 of 1: signals 1 to 7, samples 0 to 99")
replaced(
    "further-record", "# Age: 61", "# Tracing 1 of 2: signals 1 to 2, samples 0 to 3\n# Tracing 2 of 2: record gone"
)
replaced("time-differs", "# Age: 61", "# acquisition.time: 2031-05-04T11:20:30+01:00")
replaced("annotation-missing", "# Age: 61", "# Annotations marks_abcdef01: 3 marks")

# Signal files
replaced("checksum", f" {SUMS[1]} 0 II", f" {SUMS[1] + 1} 0 II")
replaced("skew", "16 1000(0)/mV", "16:1 1000(0)/mV")


def file_changed(rule: str, change: Callable[[bytes], bytes]) -> None:
    """The sound record with another signal file."""

    def make(name: str) -> Files:
        files = sound(name)
        return {**files, f"{name}.dat": change(files[f"{name}.dat"])}

    SAMPLES[rule] = make


file_changed("file-short", lambda data: data[:-4])
file_changed("file-long", lambda data: data + bytes(8))
file_changed("file-odd", lambda data: data + b"\0")


def one_signal(rule: str, form: str, data: bytes, length: int, initial: int = 0, total: int = 0) -> None:
    """A record of one signal in a format of its own."""

    def make(name: str) -> Files:
        line = f"{name}.dat {form} 200(0)/mV 10 0 {initial} {total} 0 II\n"
        return {f"{name}.hea": f"{name} 1 250 {length}\n{line}".encode(), f"{name}.dat": data}

    SAMPLES[rule] = make


one_signal("packing-bits", "310", b"\x01\x00\x00\x00", 3)
one_signal("flac-bits", "516", encode_flac(np.array([[1], [2]]), 24), 2, 1, 3)
_FLAC = encode_flac(np.array([[1], [2]]), 16)
one_signal("flac-rate", "516", _FLAC[:18] + b"\x0b\xb8\x00" + _FLAC[21:], 2, 1, 3)


@sample("file-missing")
def _one_file_gone(name: str) -> Files:
    files = sound(name)
    header = files[f"{name}.hea"].decode().replace("NAME.dat", "NAME.dat").replace(" 2 500 4", " 3 500 4", 1)
    header = header.replace("# Age", f"{name}.d1 16 1000/mV 12 0 0 0 0 V1\n# Age", 1)
    return {**files, f"{name}.hea": header.encode()}


@sample("null-signal")
def _null(name: str) -> Files:
    files = _one_file_gone(name)
    header = files[f"{name}.hea"].decode().replace(f"{name}.d1 16", "~ 0", 1)
    return {**files, f"{name}.hea": header.encode()}


# Segments
def segments(rule: str, first: str, lines: str, change: Callable[[str, Files], Files] | None = None) -> None:
    """Two segments of the sound record, under a top header of ``lines``."""

    def make(name: str) -> Files:
        one, two = sound(f"{name}_1"), sound(f"{name}_2")
        plain = (" 10:20:30 04/05/2031", "")
        parts = {n: d.replace(plain[0].encode(), b"") if n.endswith(".hea") else d for n, d in {**one, **two}.items()}
        parts = {n: d.split(b"# ")[0] if n.endswith(".hea") else d for n, d in parts.items()}
        files = {f"{name}.hea": f"{name}{first}\n{lines.replace('NAME', name)}".encode(), **parts}
        return change(name, files) if change else files

    SAMPLES[rule] = make


def in_second(old: bytes, new: bytes) -> Callable[[str, Files], Files]:
    def change(name: str, files: Files) -> Files:
        key = f"{name}_2.hea"
        assert old in files[key]
        return {**files, key: files[key].replace(old, new, 1)}

    return change


TWO = "NAME_1 4\nNAME_2 4\n"
segments("segment-missing", "/2 2 500 8", "NAME_1 4\nNAME_3 4\n")
segments("segment-length", "/2 2 500 7", "NAME_1 4\nNAME_2 3\n")
segments("segment-sum", "/2 2 500 9", TWO)
segments("segment-rate", "/2 2 500 8", TWO, in_second(b" 2 500 4", b" 2 250 4"))
segments("segment-signals", "/2 2 500 8", TWO, in_second(b"0 II\n", b"0 III\n"))
segments("segment-start", "/2 2 500 8 10:00:00", TWO, in_second(b" 2 500 4", b" 2 500 4 11:00:00"))
segments("segment-gain", "/2 2 500 8", TWO, in_second(b"1000(0)/mV", b"500(0)/mV"))


# Annotation files
def annotated(rule: str, data: bytes) -> None:
    """The sound record with an annotation file."""
    SAMPLES[rule] = lambda name: {**sound(name), f"{name}.atr": data}


BEAT = b"\x02\x04"  # a normal beat two samples on
annotated("annotation-end", BEAT)
annotated("annotation-trailing", BEAT + b"\0\0more")
annotated("annotation-cut", BEAT + b"\x14\xfctoo short\0\0")
annotated("annotation-code", BEAT + b"\x01\xc8\0\0")
annotated("annotation-order", BEAT + b"\0\xec\xff\xff\xff\xff\0\x04\0\0")
annotated("annotation-time", b"\xff\x07\0\0")
annotated("annotation-text", b"\x01\x58\x02\xfc\xc3\xa9\0\0")
annotated("annotation-form", (b"\0N" + bytes(14)) * 2)
annotated("annotation-note", b"\0\x58\x06\xfc## odd\x02\x04\0\0")


@sample("annotation-changed")
def _edited(name: str) -> Files:
    from fractions import Fraction

    from interchange.model import Channel, Mark, Recording, Tracing

    samples = np.array([[1, 2, 3, 4]], dtype=np.int16)
    tracing = Tracing((Channel("II", bits=16),), samples, Fraction(500))
    files = encoded(Recording(tracings=(tracing,), marks=(Mark("normal-beat", 0, Fraction(1, 500)),)), name)
    marks = next(key for key in files if ".marks_" in key)
    return {**files, marks: b"\x02\x14\0\0"}


def everything() -> Files:
    """All samples, each under its rule's name, and the list of what each must report."""
    files: Files = dict(sound())
    for rule, make in SAMPLES.items():
        files.update(make(rule.replace("-", "_")))
    expected = {"sound": [], **{rule.replace("-", "_"): [f"wfdb.{rule}"] for rule in sorted(SAMPLES)}}
    files["expected.json"] = (json.dumps(expected, indent=1, sort_keys=True) + "\n").encode()
    return files


if __name__ == "__main__":
    for name, data in everything().items():
        (FOLDER / name).write_bytes(data)
