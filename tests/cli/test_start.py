"""Start-up: nobody pays for what they do not use.  Judged by what is imported, which does not depend on the machine."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import interchange
from interchange import Recording
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
    """Modules that are loaded after a command in a fresh interpreter, compiled or not."""
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
    assert loaded & (HEAVY | light) == set()
    own = {name for name in loaded if name.startswith("interchange")}
    assert own == {
        "interchange", "interchange._version", "interchange.errors", "interchange.cli", "interchange.cli.main",
        "interchange.cli.output",
    }  # fmt: skip


def test_help_loads_no_sub_command() -> None:
    loaded = imported("--help")
    assert loaded & (HEAVY | {"numpy", "dataclasses"}) == set()
    assert loaded & {module for _, module, _ in COMMANDS} == set()


WAY = {
    *("", "._version", ".api", ".errors", ".findings", ".limits", ".printable", ".publish", ".records", ".requests"),
    *(".cli", ".cli.commands", ".cli.convert", ".cli.deidentify", ".cli.main", ".cli.output", ".cli.parser"),
    *(".compare", ".compare.difference", ".compare.match", ".compare.signal", ".compare.values", ".compare.walk"),
    *(".formats", ".formats.contract", ".formats.native", ".sources", ".writing", ".show", ".show.layout"),
    *(".model", ".model.about", ".model.basic", ".model.content", ".model.exact", ".model.recording"),
    *(".model.tracing", ".receipt", ".receipt.build", ".receipt.content", ".receipt.text", ".receipt.words"),
    *(".vocabulary", ".vocabulary.codes", ".vocabulary.lead_table", ".vocabulary.load"),
}
"""What every conversion goes through.  A module that not every conversion needs is imported where it is used."""

PLAIN_WFDB = {
    "", ".beside", ".channels", ".codecs", ".header", ".notes", ".numerals", ".reader", ".recognise", ".record_line",
    ".signal_line", ".signals", ".units",
}  # fmt: skip
"""What it takes to read a record without info strings, annotations and segments."""

MORE = {
    "scp": set(),
    "xml": {".resources", ".vocabulary.set_table"},
    "dcm": {".model.draft", ".model.lines", ".model.paths", ".vocabulary.concept_table", ".vocabulary.set_table"},
}
PACKAGES = {"scp": "interchange.formats.scp", "xml": "interchange.formats.aecg", "dcm": "interchange.formats.dicom"}
NEEDLESS = {
    "asyncio", "calendar", "concurrent.futures", "email", "http", "importlib.metadata", "json", "locale", "logging",
    "lzma", "multiprocessing", "random", "secrets", "shutil", "socket", "ssl", "statistics", "subprocess", "tempfile",
    "tomllib", "unicodedata", "uuid", "xml", "zipfile",
}  # fmt: skip
"""Of the standard library, unless numpy loads it."""


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A WFDB record of the twelve leads and nothing else."""
    leads = ["I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6"]
    samples = np.arange(1200, dtype=np.int16).reshape(12, 100)
    path = tmp_path_factory.mktemp("plain") / "plain.hea"
    interchange.write(Recording.from_arrays(samples, leads, 500, 5), path)
    return path


@pytest.fixture(scope="module")
def by_numpy() -> set[str]:
    """What numpy loads by itself."""
    code = "import numpy, sys; print(*sys.modules)"
    return set(subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split())


@pytest.mark.parametrize("suffix", ["scp", "xml", "dcm"])
def test_a_plain_conversion_loads_what_it_needs(plain: Path, by_numpy: set[str], suffix: str, tmp_path: Path) -> None:
    loaded = imported("convert", plain, tmp_path / f"out.{suffix}")
    assert (tmp_path / f"out.{suffix}").is_file()
    assert "numpy" in loaded
    assert loaded & HEAVY == ({"lxml"} if suffix == "xml" else set())
    assert (loaded - by_numpy) & NEEDLESS == set()
    own = {name for name in loaded if name.partition(".")[0] == "interchange"}
    target = {name for name in own if f"{name}.".startswith(f"{PACKAGES[suffix]}.")}
    way = {f"interchange{name}" for name in WAY | MORE[suffix]}
    if suffix == "scp":  # nothing is left and nothing added, so nobody asks for reasons
        assert "interchange.formats.scp.account" not in target
    assert own - target - way == {f"interchange.formats.wfdb{name}" for name in PLAIN_WFDB}


def test_compiling_the_package_loads_nothing() -> None:
    """As the first start after an installation does."""
    code = (
        "import sys\n"
        "before = set(sys.modules)\n"
        "for path in sys.argv[1:]:\n"
        "    with open(path, 'rb') as file:\n"
        "        compile(file.read(), path, 'exec')\n"
        "print(len(sys.argv), *(set(sys.modules) - before))\n"
    )
    sources = sorted(map(str, (ROOT / "interchange").rglob("*.py")))
    done = subprocess.run(
        [sys.executable, "-c", code, *sources], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.split() == [str(len(sources) + 1)]


@pytest.mark.parametrize("suffix", ["scp", "xml", "dcm"])
def test_no_pattern_is_compiled_that_a_plain_conversion_may_not_need(plain: Path, suffix: str, tmp_path: Path) -> None:
    code = (
        "import re, sys\n"
        "from interchange.cli.main import main\n"
        "status = main(sys.argv[1:])\n"
        "held = [f'{n}.{k}' for n, m in sys.modules.items() if n.startswith('interchange.')\n"
        "        for k, v in vars(m).items() if isinstance(v, re.Pattern)]\n"
        "sys.stderr.write('\\nPATTERNS ' + ' '.join(held))\n"
        "sys.exit(status)\n"
    )
    command = [sys.executable, "-c", code, "convert", str(plain), str(tmp_path / f"out.{suffix}")]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60, env=environment)
    held = done.stderr.rpartition("PATTERNS ")[2].split()
    outside = {name for name in held if not name.startswith(("interchange.formats.dicom.", "interchange.model.lines."))}
    assert not outside


def test_the_way_leads_through_every_conversion(plain: Path, tmp_path: Path) -> None:
    """Nothing stands in the list above that no conversion loads."""
    loaded = imported("convert", plain, tmp_path / "out.scp")
    assert {f"interchange{name}" for name in WAY} <= loaded


def test_rich_records_load_none_of_the_heavy_packages_but_numpy(twelve: Path, tmp_path: Path) -> None:
    loaded = imported("convert", twelve, tmp_path / "out.scp")
    assert "numpy" in loaded
    assert loaded & HEAVY == set()
    assert (tmp_path / "out.scp").is_file()


@pytest.mark.parametrize("command", ["show", "check"])
def test_looking_at_wfdb_loads_none_of_the_heavy_packages_but_numpy(command: str, twelve: Path) -> None:
    assert imported(command, twelve) & HEAVY == set()


def test_a_missing_file_is_found_missing_before_numpy_is_loaded(tmp_path: Path) -> None:
    assert imported("show", tmp_path / "nothing", status=3) & (HEAVY | {"numpy"}) == set()


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
