"""Small WFDB archives, written here by hand (header(5), signal(5): format 16 is little-endian int16, interleaved)."""

from __future__ import annotations

from pathlib import Path

import numpy as np

LEADS = ("I", "II", "V1", "V2")


def record_files(name: str, seed: int, samples: int = 100) -> dict[str, bytes]:
    """Header and signal file of one record with four leads."""
    values = (np.arange(samples * len(LEADS)).reshape(samples, -1) * 7 + seed * 13) % 2001 - 1000
    signal = values.astype("<i2")
    lines = [f"{name} {len(LEADS)} 500 {samples} 14:03:07 05/04/2031"]
    for row, lead in enumerate(LEADS):
        column = signal[:, row]
        checksum = int(column.astype(np.int64).sum()) & 0xFFFF
        lines.append(f"{name}.dat 16 200/mV 16 0 {column[0]} {checksum} 0 {lead}")
    lines += [f"# Age: {20 + seed % 60}", "# Sex: Female"]
    return {f"{name}.hea": ("\n".join(lines) + "\n").encode(), f"{name}.dat": signal.tobytes()}


def make_archive(folder: Path, count: int, samples: int = 100) -> None:
    """``count`` records in sub-folders of ten."""
    for number in range(count):
        place = folder / f"day{number // 10:03}"
        place.mkdir(parents=True, exist_ok=True)
        for name, data in record_files(f"r{number:05}", number, samples).items():
            (place / name).write_bytes(data)
