"""What a plain record does not need is not loaded: every module costs a command that starts, converts and ends."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]

PLAIN = """
import sys
from fractions import Fraction
import numpy as np
from interchange.formats import load
from interchange.model import Channel, Recording, Tracing
from interchange.sources import Source
scp = load("scp")
channels = tuple(Channel(name, step=Fraction(5)) for name in ("I", "II", "V1"))
recording = Recording(tracings=(Tracing(channels, np.zeros((3, 500), dtype=np.int16), Fraction(500)),))
encoded = scp.encode(recording, "plain", {"coding": "plain"})
read, findings = scp.read_and_check(Source(encoded.main[1], encoded.main[0]))
assert read.tracings[0].digest == recording.tracings[0].digest
assert not [finding for finding in findings if finding.severity == "error"]
print(*sorted(sys.modules))
"""


def test_a_plain_record_loads_no_more_than_it_needs() -> None:
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, "-c", PLAIN], capture_output=True, text=True, env=environment, check=True)
    modules = set(done.stdout.split())
    package = "interchange.formats.scp."
    loaded = {name.removeprefix(package) for name in modules if name.startswith(package)}
    assert {"writer.record", "reader.record", "syntax.frame"} <= loaded
    for part in ("coding", "syntax", "reader", "writer"):
        there = {path.stem for path in (ROOT / "interchange" / "formats" / "scp" / part).glob("*.py")}
        assert there > {name.split(".")[1] for name in loaded if name.startswith(f"{part}.")}
    assert not loaded & {
        "coding.bimodal", "coding.huffman", "coding.packing", "coding.paths", "coding.subtraction", "coding.switching",
        "coding.windows", "reader.marks", "reader.measures", "reader.statements", "syntax.beats", "syntax.globals",
        "syntax.leadvalues", "syntax.statements", "syntax.tables", "writer.beats", "writer.measures",
        "writer.statements",
    }  # fmt: skip
    assert not modules & {"calendar", "lxml", "pydicom", "interchange.model.lines"}
