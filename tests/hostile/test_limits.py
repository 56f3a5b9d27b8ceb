"""Limits are documented, hold, and can be set by the caller and by the environment."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

import interchange
from interchange.errors import SourceError, UsageError
from interchange.limits import DEFAULTS, ENVIRONMENT, limit, limits
from tests.fuzz.seeds import small_recording

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    ("suffix", "name", "value", "reason"),
    [
        (".scp", "bytes", 100, "larger than 100 bytes"),
        (".dcm", "channels", 2, "more than 2 channels"),
        (".hea", "samples", 100, "more than 100 samples"),
        (".xml", "xml_depth", 5, "more than 5 elements inside one another"),
        (".xml", "xml_markup", 50, "more than 50 elements"),
        (".xml", "xml_attributes", 3, "an element with more than 3 attributes"),
        (".dcm", "sequence_depth", 1, "nested deeper than 1"),
        (".dcm", "elements", 20, "more than 20 elements"),
    ],
)
def test_a_limit_holds_where_it_is_set_and_only_there(
    suffix: str, name: str, value: int, reason: str, tmp_path: Path
) -> None:
    target = tmp_path / f"x{suffix}"
    interchange.write(small_recording(), target)
    with limits(**{name: value}), pytest.raises(SourceError, match=reason):
        interchange.read(target)
    assert interchange.read(target).tracings


def test_limits_nest_and_refuse_nonsense() -> None:
    with limits(bytes=10):
        with limits(text=5):
            assert (limit("bytes"), limit("text")) == (10, 5)
        assert limit("text") == DEFAULTS["text"][0]
    with pytest.raises(UsageError, match="no such limit"), limits(pages=3):
        pass
    with pytest.raises(UsageError, match="at least 1"), limits(bytes=0):
        pass


@pytest.mark.parametrize(
    ("value", "status"), [("bytes=100", 3), ("bytes=lots", 2), ("pages=1", 2), ("bytes=9999999", 0)]
)
def test_the_environment_sets_limits_for_a_process(value: str, status: int, tmp_path: Path) -> None:
    interchange.write(small_recording(), tmp_path / "x.scp")
    environment = {**os.environ, "PYTHONPATH": str(ROOT), ENVIRONMENT: value}
    code = "from interchange.cli.main import run; run()"
    done = subprocess.run(
        [sys.executable, "-c", code, "show", str(tmp_path / "x.scp")], env=environment, capture_output=True, check=False
    )
    assert done.returncode == status, done.stderr
    assert b"Traceback" not in done.stderr


def test_the_readme_names_every_limit() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for name in DEFAULTS:
        assert f"`{name}`" in text
