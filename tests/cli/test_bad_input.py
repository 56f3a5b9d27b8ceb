"""Bad sources and bad targets: one line that names file and reason, the exit status, no trace of an output."""

from __future__ import annotations

from pathlib import Path

import pytest

import interchange
from fixtures.field import twelve_leads
from interchange.formats import FORMATS
from tests.cli.schemas import errors_in


def broken_sources(folder: Path) -> dict[str, tuple[Path, str]]:
    """What is wrong -> (path, words of the reason)."""
    good = {}
    for entry in FORMATS:
        path = folder / f"good{entry.suffix}"
        interchange.write(twelve_leads(), path)
        good[entry.name] = path.read_bytes()
    made = {
        "unknown": (b"%PDF-1.7 nothing of the kind", "the content is none of the formats"),
        "empty": (b"", "the file is empty"),
        "zeros": (b"\0" * 4096, "the content is none of the formats"),
        "half an XML": (good["aecg"][: len(good["aecg"]) // 2], ""),
        "half a DICOM": (good["dicom"][: len(good["dicom"]) // 2], ""),
        "another XML": (b"<?xml version='1.0'?><note>hello</note>", "the content is none of the formats"),
        "header without signals": (b"gone 1 500 5000\ngone.dat 16 200 16 0 0 0 0 II\n", ""),
        "header with rate zero": (b"zero 1 0 5000\nzero.dat 16 200 16 0 0 0 0 II\n", ""),
        "header with a path": (b"away 1 500 10\n../good.dat 16 200 16 0 0 0 0 II\n", "no plain name"),
    }
    paths = {}
    for what, (data, words) in made.items():
        path = folder / f"{what.replace(' ', '_')}.hea"
        path.write_bytes(data)
        paths[what] = (path, words)
    (folder / "afolder").mkdir()
    return {
        **paths,
        "missing": (folder / "nothing.scp", "there is no such file"),
        "folder": (folder / "afolder", "is a folder, not a file"),
    }


WHAT = (
    "unknown", "empty", "zeros", "half an XML", "half a DICOM", "another XML",
    "header without signals", "header with rate zero", "header with a path", "missing",
    "folder",
)  # fmt: skip


@pytest.fixture(scope="module")
def broken(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Path, str]]:
    found = broken_sources(tmp_path_factory.mktemp("broken"))
    assert set(found) == set(WHAT)
    return found


@pytest.mark.parametrize("what", WHAT)
@pytest.mark.parametrize("command", ["show", "convert", "check", "compare"])
def test_a_source_that_cannot_be_read(cli, broken, tmp_path: Path, command: str, what: str) -> None:
    path, words = broken[what]
    if command == "check" and what == "folder":
        pytest.skip("a folder is something that can be checked")
    arguments = {"convert": [path, tmp_path / "out.scp"], "compare": [path, path]}.get(command, [path])
    done = cli(command, *arguments)
    assert done.status == 3, (done.out, done.err)
    assert done.out == ""
    assert done.err.startswith(f"interchange: {path}: ")
    assert done.err.count("\n") == 1
    assert words in done.err
    assert "internal" not in done.err
    assert "please report" not in done.err
    assert list(tmp_path.iterdir()) == []
    as_json = cli(command, *arguments, "--json")
    assert as_json.status == 3
    assert errors_in(as_json.document) == []
    assert as_json.document["file"] == str(path)
    assert as_json.err == done.err


def test_a_file_that_was_cut_is_shown_with_a_warning_in_front_and_fails_the_check(cli, tmp_path: Path) -> None:
    whole, cut = tmp_path / "whole.scp", tmp_path / "cut.scp"
    interchange.write(twelve_leads(), whole)
    cut.write_bytes(whole.read_bytes()[:60000])
    shown = cli("show", cut)
    assert shown.status == 0
    assert shown.out.splitlines()[2].startswith("ATTENTION   ")
    assert "scp.record-truncated" in shown.out
    checked = cli("check", cut)
    assert checked.status == 1
    assert "Six of six limb leads and no chest lead" in checked.out
    assert "errors" in " ".join(checked.out.split()[:40])
    warning = f"interchange: {cut}: 12 errors in the source: leads, samples or values may be missing\n"
    for command in (("convert", cut, tmp_path / "out.xml"), ("compare", cut, whole)):
        assert cli(*command).err == warning


def test_a_format_that_is_forced_upon_another_file(cli, twelve: Path) -> None:
    for name in ("aecg", "dicom", "scp"):
        done = cli("show", twelve, "--from", name)
        assert (done.status, done.out) == (3, "")
        assert done.err.startswith(f"interchange: {twelve}: ")


# Targets -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("suffix", [entry.suffix for entry in FORMATS])
def test_a_target_that_exists_is_kept_unless_overwriting_was_asked_for(
    cli, twelve: Path, tmp_path: Path, suffix: str
) -> None:
    target = tmp_path / f"out{suffix}"
    target.write_bytes(b"mine")
    done = cli("convert", twelve, target)
    assert (done.status, done.out) == (5, "")
    assert done.err == f"interchange: {target}: exists already (--overwrite replaces it)\n"
    assert [path.name for path in tmp_path.iterdir()] == [target.name]
    assert target.read_bytes() == b"mine"
    assert cli("convert", twelve, target, "--overwrite").status == 0
    assert interchange.read(target).tracings[0].digest == twelve_leads().tracings[0].digest


def test_targets_that_are_refused(cli, twelve: Path, tmp_path: Path) -> None:
    inside = tmp_path / "folder"
    inside.mkdir()
    (inside / "a.scp").mkdir()
    (inside / "link.scp").symlink_to(tmp_path / "elsewhere.scp")
    before = sorted(inside.rglob("*"))
    for target, words in (
        (inside / "a.scp", "is a folder"),
        (inside / "link.scp", "is a link; name the file itself"),
        (tmp_path / "no" / "out.scp", "the folder does not exist"),
        (inside / "bad\nname.scp", "the name is not one that every system can hold"),
        (inside / "bad:name.scp", "the name is not one that every system can hold"),
    ):
        done = cli("convert", twelve, target, "--overwrite", "--json")
        assert done.status == 5, target
        assert done.document["reason"] == words
        assert errors_in(done.document) == []
        assert done.err.count("\n") == 1
    assert sorted(inside.rglob("*")) == before
    assert not (tmp_path / "elsewhere.scp").exists()


def test_the_source_itself_is_never_the_target(cli, tmp_path: Path) -> None:
    source = tmp_path / "tracing.scp"
    interchange.write(twelve_leads(), source)
    before = source.read_bytes()
    done = cli("convert", source, source, "--overwrite")
    assert done.status == 5
    assert done.err == f"interchange: {source}: is the source itself; give the target another name\n"
    hard = tmp_path / "same.scp"
    hard.hardlink_to(source)
    assert cli("convert", source, hard, "--overwrite").status == 5
    assert source.read_bytes() == before


def test_a_folder_that_nobody_may_write_to(cli, twelve: Path, tmp_path: Path) -> None:
    import os

    if os.geteuid() == 0:
        pytest.skip("root may write everywhere")
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o555)
    done = cli("convert", twelve, closed / "out.scp")
    assert done.status == 5
    assert "cannot be written" in done.err
