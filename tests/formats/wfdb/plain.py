"""Plain decoders and a builder of records for the tests: bit by bit, without numpy, sharing nothing with the package.

Written from the format's pages signal(5), header(5) and annot(5): slow, and easy to check by eye.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import wfdb

from interchange.formats import wfdb as ours
from interchange.model import Recording
from interchange.sources import Source

LOWEST = {16: -32768, 24: -(2**23), 32: -(2**31), 61: -32768, 80: -128, 160: -32768, 212: -2048, 310: -512, 311: -512}
BITS = {8: 8, 16: 16, 24: 24, 32: 32, 61: 16, 80: 8, 160: 16, 212: 12, 310: 10, 311: 10}
FORMATS = tuple(BITS)


def signed(value: int, bits: int) -> int:
    value &= (1 << bits) - 1
    return value - (1 << bits) if value >> (bits - 1) else value


def unpack(form: int, data: bytes, count: int) -> list[int]:
    """The first ``count`` samples of a stream (differences for format 8)."""
    found: list[int] = []
    for n in range(count):
        if form == 8:
            found.append(signed(data[n], 8))
        elif form == 16:
            found.append(signed(data[2 * n] + 256 * data[2 * n + 1], 16))
        elif form == 24:
            found.append(signed(data[3 * n] + 256 * data[3 * n + 1] + 65536 * data[3 * n + 2], 24))
        elif form == 32:
            found.append(signed(sum(data[4 * n + k] << 8 * k for k in range(4)), 32))
        elif form == 61:
            found.append(signed(256 * data[2 * n] + data[2 * n + 1], 16))
        elif form == 80:
            found.append(data[n] - 128)
        elif form == 160:
            found.append(data[2 * n] + 256 * data[2 * n + 1] - 32768)
        elif form == 212:
            three = data[n // 2 * 3 : n // 2 * 3 + 3]
            low = three[0] + 256 * (three[1] & 15) if n % 2 == 0 else three[2] + 256 * (three[1] >> 4)
            found.append(signed(low, 12))
        elif form == 310:
            four = data[n // 3 * 4 : n // 3 * 4 + 4] + b"\0\0\0\0"
            words = [four[0] + 256 * four[1], four[2] + 256 * four[3]]
            if n % 3 < 2:
                found.append(signed(words[n % 3] >> 1, 10))
            else:
                found.append(signed((words[0] >> 11) + 32 * (words[1] >> 11), 10))
        elif form == 311:
            four = data[n // 3 * 4 : n // 3 * 4 + 4] + b"\0\0\0\0"
            word = sum(four[k] << 8 * k for k in range(4))
            found.append(signed(word >> 10 * (n % 3), 10))
    return found


def pack(form: int, values: list[int]) -> bytes:
    """The stream that holds the samples (differences for format 8)."""
    out = bytearray()
    if form in (8, 16, 24, 32):
        size = BITS[form] // 8
        return b"".join((v & (1 << 8 * size) - 1).to_bytes(size, "little") for v in values)
    if form == 61:
        return b"".join((v & 0xFFFF).to_bytes(2, "big") for v in values)
    if form == 80:
        return bytes(v + 128 for v in values)
    if form == 160:
        return b"".join((v + 32768).to_bytes(2, "little") for v in values)
    if form == 212:
        for at in range(0, len(values), 2):
            a, b = values[at] & 0xFFF, (values[at + 1] if at + 1 < len(values) else 0) & 0xFFF
            out += bytes((a & 255, a >> 8 | b >> 8 << 4, b & 255)[: 3 if at + 1 < len(values) else 2])
        return bytes(out)
    for at in range(0, len(values), 3):
        three = [v & 0x3FF for v in values[at : at + 3]] + [0, 0]
        if form == 310:
            group = (three[0] << 1 | (three[2] & 31) << 11) | (three[1] << 1 | three[2] >> 5 << 11) << 16
            size = (2, 4, 4)[min(len(values) - at, 3) - 1]
        else:
            group = three[0] | three[1] << 10 | three[2] << 20
            size = (2, 3, 4)[min(len(values) - at, 3) - 1]
        out += group.to_bytes(4, "little")[:size]
    return bytes(out)


def checksum(values: list[int]) -> int:
    """The sum modulo 65536 as a signed number."""
    return signed(sum(values), 16)


def record(header: str | bytes, name: str = "rec", **files: bytes) -> Source:
    """A record in memory; ``files`` by suffix (``dat=...`` is ``rec.dat``), underscores before a suffix stay."""
    data = header.encode() if isinstance(header, str) else header
    beside = {f"{name}.{suffix}": body for suffix, body in files.items()}
    return Source(data, f"{name}.hea", files={f"{name}.hea": data, **beside})


def simple(
    rows: list[list[int]],
    form: int = 16,
    *,
    gain: str = "1000(0)/mV",
    rate: str = "500",
    names: tuple[str, ...] = ("I", "II", "III"),
    tail: str = "",
    time: str = "",
    length: int | None = None,
    name: str = "rec",
) -> tuple[str, bytes]:
    """Header and signal file of a small record with one sample per frame, by the plain packer."""
    count = len(rows[0])
    stream = [row[n] for n in range(count) for row in rows]
    lines = [f"{name} {len(rows)} {rate} {count if length is None else length}{time}"]
    for row, label in zip(rows, names, strict=False):
        lines.append(f"{name}.dat {form} {gain} 12 0 {row[0] if row else 0} {checksum(row)} 0 {label}")
    return "\n".join(lines) + "\n" + tail, pack(form, stream)


def read(header: str | bytes, name: str = "rec", **files: bytes) -> Recording:
    """The recording that the package makes of a record in memory."""
    return ours.read(record(header, name, **files))


def rules(recording: Recording) -> list[str]:
    """Ids of the findings, in order."""
    return [finding.rule for finding in recording.findings]


def on_disk(folder: Path, files: Any) -> None:
    """Write (name, bytes) pairs into a folder."""
    for name, data in dict(files).items():
        (folder / name).write_bytes(data)


def encoded(recording: Recording, name: str = "rec", **options: str) -> dict[str, bytes]:
    """The files that the package writes, by name."""
    chosen = {key.replace("_", "-"): value for key, value in options.items()}
    return dict(ours.encode(recording, name, chosen).files)


def again(files: dict[str, bytes], name: str = "rec") -> Recording:
    """What the package reads from files that it wrote."""
    return ours.read(Source(files[f"{name}.hea"], f"{name}.hea", files=files))


def by_library(folder: Path, files: dict[str, bytes], name: str = "rec", **options: Any) -> Any:
    """The record as the wfdb package reads it, every signal at its own rate."""
    on_disk(folder, files)
    return wfdb.rdrecord(str(folder / name), **{"smooth_frames": False, **options})
