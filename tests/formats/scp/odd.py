"""Odd and broken records for fixtures/scp-odd: ``python -m tests.formats.scp.odd`` writes them; content invented.

Each is made by the plain encoder of the tests.  EXPECTED.toml says what each shows and which rules it breaks.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from pathlib import Path

from tests.formats.scp import plain
from tests.formats.scp.broken import fixed, patched, place_of
from tests.formats.scp.test_measured import BLOCK, coded, lead_values, report, section_7

FOLDER = Path(__file__).resolve().parents[3] / "fixtures" / "scp-odd"

SIZE = 250
"""Half a second at 500 samples per second."""


def _wave(phase: int, height: int) -> list[int]:
    """A small drawn beat on a slow swing, in counts."""
    found = []
    for n in range(SIZE):
        swing = abs((n * 3 + phase) % 200 - 100) // 12
        spike = max(0, height - abs(n - 90) * height // 7) - max(0, height // 3 - abs(n - 102) * height // 12)
        found.append(swing + spike + max(0, height // 5 - abs(n - 170) // 2))
    return found


LEADS = [(1, 1, _wave(0, 90)), (2, 1, _wave(40, 160)), (3, 1, _wave(80, -60))]
DEFAULT = {"tables": [plain.DEFAULT_CODES], "order": 2}
BEAT = [max(0, 60 - abs(n - 12) * 8) for n in range(30)]
ZONES = {"zones": [(0, 78, 90, 104)], "areas": [(80, 103)], "beats": [BEAT] * 3, "fiducial": 13}


def _record(**changes: object) -> bytes:
    return plain.encode(plain.Record(**{"leads": LEADS, **changes}))


def _own_tables() -> bytes:
    quiet = [plain.Code("0", value=0), plain.Code("100", value=1), plain.Code("101", value=-1)]
    quiet += [plain.Code("110", table=2), plain.Code("111", extra=16)]
    loud = [plain.Code("0", extra=8), plain.Code("10", extra=16), plain.Code("11", table=1)]
    where = [int(80 <= n < 110) for n in range(SIZE)]
    return _record(tables=[quiet, loud], is_default=False, order=1, switches=where)


def _old() -> bytes:
    """What a record made before 2005 may be like."""
    value = bytearray(plain.device(protocol=10))
    value[35] = 9
    tags = [(n, bytes(value) if n == 14 else v) for n, v in plain.plain_tags(protocol=10)]
    body = b"".join(plain.tag(n, v) for n, v in [*tags, (27, b"\5\0"), (27, b"\5\0")])
    sections = {
        1: body,
        7: struct.pack("<BBHH", 1, 0, 850, 29999) + struct.pack("<HHHHHhhh", *BLOCK) + bytes(range(200, 230)),
        10: lead_values((2, [*range(90, 124)])),
        11: b"",
    }
    data = bytearray(_record(protocol=10, sections=sections, **DEFAULT))
    data[16:22] = bytes(6)
    start = place_of(bytes(data), 3)
    data[start + 8] = 47
    data[start + 10 : start + 14] = b"\1\2\3\4"
    return fixed(data)


def _groups() -> bytes:
    names = [(1, 2, 61), (62, 63, 64), (3, 4, 5), (6, 7, 8)]
    leads = [
        (code, 1 + group * SIZE, _wave(20 * code, 60 + code)) for group, codes in enumerate(names) for code in codes
    ]
    return _record(leads=leads, **DEFAULT)


def _second_lead_damaged() -> bytes:
    data = _record(**DEFAULT)
    sizes = struct.unpack_from("<HHH", plain.sections_of(data)[6], 6)
    return patched(data, 6, 12 + sizes[0] + 40, b"\xff" * (sizes[1] - 40))


def _wrong_checksum() -> bytes:
    data = bytearray(_record())
    data[place_of(bytes(data), 6) + 16 + 12 + 300] ^= 4
    return bytes(data)


def _full() -> bytes:
    sections = {
        7: section_7([BLOCK], [(150, -800, 2, 1, 1, 500)], types=[0]),
        8: report(1, [b"Paced rhythm"]),
        9: b"a maker's own words",
        10: lead_values((1, [110, 160, 92, 380]), (2, [19999, 29999, 92, 29998])),
        11: coded(1, [(1, b"PACE")]),
        200: b"a maker's own section",
    }
    tags = [*plain.plain_tags(), (8, b"\0"), (36, b"??"), (34, struct.pack("<hH", 60, 0) + b"\0")]
    return _record(sections=sections, tags=tags, **ZONES)


FILES: dict[str, Callable[[], bytes]] = {
    "full.scp": _full,
    "old.scp": _old,
    "own-tables.scp": _own_tables,
    "subtracted.scp": lambda: _record(subtracted=True, beat_step=500, step=2000, **DEFAULT, **ZONES),
    "bimodal.scp": lambda: _record(subtracted=True, factor=4, step=5000, **DEFAULT, **ZONES),
    "groups.scp": _groups,
    "version-3.scp": lambda: _record(protocol=30, sections={12: bytes(64), 15: bytes(20)}, **DEFAULT),
    "cut-off.scp": lambda: _record()[:-700],
    "second-lead-damaged.scp": _second_lead_damaged,
    "wrong-checksum.scp": _wrong_checksum,
    "no-samples.scp": lambda: _record(subtracted=True, **DEFAULT),
    "more-samples-than-bytes.scp": lambda: patched(
        _record(**DEFAULT), 3, 2, b"".join(struct.pack("<IIB", 1, 4_000_000_000, code) for code in (1, 2, 3))
    ),
}


def main() -> None:
    """Write all files."""
    FOLDER.mkdir(exist_ok=True)
    for name, make in FILES.items():
        (FOLDER / name).write_bytes(make())


if __name__ == "__main__":
    main()
