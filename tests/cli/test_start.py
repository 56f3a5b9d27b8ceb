"""Start-up: nobody pays for what they do not use.  Judged by what is imported, which does not depend on the machine."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from interchange._version import __version__
from interchange.cli.commands import COMMANDS

ROOT = Path(__file__).resolve().parents[2]
PROBE = """
import sys
from interchange.cli.main import main
status = main(sys.argv[1:])
sys.stdout.flush()
sys.stderr.write("\\nMODULES " + " ".join(sorted(sys.modules)))
sys.exit(status)
"""
HEAVY = {
    "lxml", "pydicom", "xmlschema", "wfdb", "matplotlib", "scipy", "pandas", "soundfile", "distributed", "jsonschema",
}  # fmt: skip


def imported(*arguments: object, status: int = 0) -> set[str]:
    """Modules that are loaded after a command in a fresh interpreter."""
    done = subprocess.run(
        [sys.executable, "-c", PROBE, *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert done.returncode == status, done.stderr
    return set(done.stderr.rpartition("MODULES ")[2].split())


def test_version_loads_next_to_nothing() -> None:
    loaded = imported("--version")
    light = {"argparse", "re", "enum", "numpy", "typing", "dataclasses", "fractions", "json", "shutil", "pathlib"}
    assert not loaded & (HEAVY | light)
    own = {name for name in loaded if name.startswith("interchange")}
    assert own == {
        "interchange", "interchange._version", "interchange.errors", "interchange.cli", "interchange.cli.main",
        "interchange.cli.output",
    }  # fmt: skip


def test_help_loads_no_sub_command() -> None:
    loaded = imported("--help")
    assert not loaded & (HEAVY | {"numpy", "dataclasses"})
    assert not loaded & {module for _, module, _ in COMMANDS}


def test_wfdb_to_scp_loads_none_of_the_heavy_packages_but_numpy(twelve: Path, tmp_path: Path) -> None:
    loaded = imported("convert", twelve, tmp_path / "out.scp")
    assert "numpy" in loaded
    assert not loaded & HEAVY
    assert (tmp_path / "out.scp").is_file()


@pytest.mark.parametrize("command", ["show", "check"])
def test_looking_at_wfdb_loads_none_of_the_heavy_packages_but_numpy(command: str, twelve: Path) -> None:
    assert not imported(command, twelve) & HEAVY


def test_a_missing_file_is_found_missing_before_numpy_is_loaded(tmp_path: Path) -> None:
    assert not imported("show", tmp_path / "nothing", status=3) & (HEAVY | {"numpy"})


def test_version_is_said(cli) -> None:
    done = cli("--version")
    assert (done.status, done.out, done.err) == (0, f"interchange {__version__}\n", "")


def test_the_module_runs_as_the_command_does(process) -> None:
    done = process("--version")
    assert (done.status, done.out) == (0, f"interchange {__version__}\n")


@pytest.mark.parametrize("name", [name for name, _, _ in COMMANDS])
def test_every_command_explains_itself(cli, name: str) -> None:
    done = cli(name, "--help")
    assert done.status == 0
    assert done.out.startswith(f"usage: interchange {name} ")
    assert done.err == ""
    assert max(len(line) for line in done.out.splitlines()) <= 100


def test_help_names_every_command_and_every_exit_status(cli) -> None:
    done = cli("--help")
    assert done.status == 0
    for name, _, summary in COMMANDS:
        assert name in done.out
        assert summary.split()[0] in done.out
    for status in range(6):
        assert f"\n  {status}  " in done.out
