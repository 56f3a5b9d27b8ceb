"""The installed wheel works outside the clone: tables, schemas and all commands."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built here and unpacked into a folder of its own."""
    pytest.importorskip("hatchling", reason="hatchling, which builds the wheel, is not installed")
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    (wheel,) = folder.glob("*.whl")
    site = folder / "site"
    zipfile.ZipFile(wheel).extractall(site)
    return site


def run(site: Path, *arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
    code = (
        "import sys; sys.path[:] = [p for p in sys.path if p and p != sys.argv[1]]; "
        "sys.path.insert(0, sys.argv[2]); import interchange; "
        "assert interchange.__file__.startswith(sys.argv[2]), interchange.__file__; "
        "from interchange.cli.main import main; sys.exit(main(sys.argv[3:]))"
    )
    command = [sys.executable, "-I", "-c", code, str(ROOT), str(site), *arguments]
    return subprocess.run(command, cwd=cwd, env=environment, capture_output=True, text=True, check=False)


def test_it_converts_checks_and_explains(installed: Path, tmp_path: Path) -> None:
    for name in ("00841_lr.hea", "00841_lr.dat"):
        (tmp_path / name).write_bytes((ROOT / "fixtures" / "open" / name).read_bytes())
    for target in ("x.xml", "x.dcm", "x.scp", "x.hea"):
        done = run(installed, "convert", "00841_lr.hea", target, "--json", cwd=tmp_path)
        assert done.returncode == 0, done.stderr
        assert json.loads(done.stdout)["samples_identical"] is True
        checked = run(installed, "check", target, "--json", cwd=tmp_path)
        assert checked.returncode in (0, 1), checked.stderr
        assert json.loads(checked.stdout)["document"]
    rules = run(installed, "rules", cwd=tmp_path)
    assert rules.returncode == 0
    for prefix in ("aecg.", "dicom.", "scp.", "wfdb.", "leads.", "quality."):
        assert prefix in rules.stdout


def test_it_holds_the_package_and_its_schemas_alone(installed: Path) -> None:
    assert {path.name for path in installed.iterdir() if "dist-info" not in path.name} == {"interchange"}
    assert (installed / "interchange" / "py.typed").exists()
    schemas = {path.name for path in (installed / "interchange" / "_schemas").rglob("*") if path.is_file()}
    assert {path.name for path in (ROOT / "schemas").rglob("*") if path.is_file()} == schemas
