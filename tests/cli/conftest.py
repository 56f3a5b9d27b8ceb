"""Running the command line, in this process and in one of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

import interchange
from fixtures.field import limb_leads, twelve_leads, with_strip
from interchange.cli.main import main

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Done:
    """A command that has ended."""

    status: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        """Standard output as one JSON document."""
        return json.loads(self.out)


Command = Callable[..., Done]


@pytest.fixture
def cli(capfd: pytest.CaptureFixture[str]) -> Command:
    """Run in this process: ``cli("show", path)``."""

    def command(*arguments: object) -> Done:
        capfd.readouterr()
        status = main([str(argument) for argument in arguments])
        out, err = capfd.readouterr()
        assert "Traceback" not in err
        return Done(status, out, err)

    return command


@pytest.fixture
def process() -> Command:
    """Run as a process of its own."""

    def command(
        *arguments: object, stdin: bytes | None = None, env: Mapping[str, str] | None = None, cwd: Path | None = None
    ) -> Done:
        done = subprocess.run(
            [sys.executable, "-m", "interchange", *(str(argument) for argument in arguments)],
            input=stdin,
            capture_output=True,
            check=False,
            cwd=cwd,
            timeout=60,
            env={**os.environ, "PYTHONPATH": str(ROOT), **(env or {})},
        )
        out, err = (stream.decode("utf-8", "surrogateescape") for stream in (done.stdout, done.stderr))
        assert "Traceback" not in err
        return Done(done.returncode, out, err)

    return command


@pytest.fixture(scope="session")
def records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the field scenario as WFDB records: twelve.hea, strip.hea, limb.hea (not to be changed)."""
    folder = tmp_path_factory.mktemp("records")
    for name, recording in (("twelve", twelve_leads()), ("strip", with_strip()), ("limb", limb_leads())):
        interchange.write(recording, folder / f"{name}.hea")
    return folder


@pytest.fixture
def twelve(records: Path) -> Path:
    """The twelve-lead record."""
    return records / "twelve.hea"
