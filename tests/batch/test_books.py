"""The books tell the truth: names that differ, changes that are seen, files of others that stay."""

from __future__ import annotations

import csv
import io
import json
import os
import stat
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import interchange
from fixtures.field import recordings
from interchange.batch import Settings, run_batch
from interchange.batch.find import Found, find_recordings
from interchange.batch.items import mark_of
from interchange.batch.journal import Journal
from interchange.batch.names import different, output_names
from interchange.deidentify import Policy
from interchange.errors import InterchangeError, TargetError, UsageError
from interchange.publish import Publication
from tests.batch.archive import make_archive, record_files

TO_WFDB = Settings(format="wfdb")
TO_SCP = Settings(format="scp")


def put(folder: Path, name: str, seed: int) -> Path:
    """A record of this name in the folder; its header."""
    folder.mkdir(parents=True, exist_ok=True)
    for file, data in record_files(name, seed).items():
        (folder / file).write_bytes(data)
    return folder / f"{name}.hea"


def rows(folder: Path) -> dict[str, dict[str, str]]:
    text = (folder / "manifest.csv").read_text(encoding="utf-8")
    return {row["name"]: row for row in csv.DictReader(io.StringIO(text))}


def outputs(folder: Path, pattern: str = "*.hea") -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob(pattern)}


# Names -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("names", "places", "wanted"),
    [
        (["x", "y"], ["/a/x", "/a/y"], ["x", "y"]),
        (["x", "x"], ["/a/x", "/b/x"], ["a/x", "b/x"]),
        (["x", "x"], ["/a/w/x", "/b/w/x"], ["a/w/x", "b/w/x"]),
        (["x", "x", "x"], ["/w/x", "/b/w/x", "/c/x"], ["w/x", "b/w/x", "c/x"]),
        (["x", "x", "a/x"], ["/a/x", "/b/x", "/c/a/x"], ["a/x", "b/x", "c/a/x"]),
        (["x", "x", "x~2"], ["x", "link/of/another", "x~2"], ["x", "of/another", "x~2"]),
    ],
)
def test_names_that_meet_get_leading_folders(names: list[str], places: list[str], wanted: list[str]) -> None:
    assert different(names, places) == wanted


def test_names_without_further_folders_get_numbers() -> None:
    assert different(["x", "x~2", "x"], ["", "", ""]) == ["x", "x~2", "x~3"]


def test_two_files_of_one_name_are_two_recordings(tmp_path: Path) -> None:
    files = [str(put(tmp_path / "a", "x", 1)), str(put(tmp_path / "b", "x", 2))]
    (tmp_path / "a" / "x.dat").unlink()
    out = tmp_path / "out"
    result = run_batch(files, out, TO_WFDB)
    assert (result.total, result.done, result.failed) == (2, 1, 1)
    told = rows(out)
    assert {name: row["status"] for name, row in told.items()} == {"a/x.hea": "failed", "b/x.hea": "done"}
    assert run_batch(files, out, TO_WFDB).worked == 1, "the failure alone"


def test_two_folders_of_one_name_keep_apart(tmp_path: Path) -> None:
    for place, seed in (("A", 1), ("B", 2)):
        put(tmp_path / place / "ward", "x", seed)
    sources = [str(tmp_path / place / "ward") for place in "AB"]
    result = run_batch(sources, tmp_path / "out", TO_WFDB)
    assert result.done == 2
    assert outputs(tmp_path / "out") == {"A/ward/x.hea", "B/ward/x.hea"}
    assert run_batch(sources, tmp_path / "out", TO_WFDB).worked == 0


def test_the_same_folder_named_twice_is_done_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    header = put(tmp_path / "S", "x", 1)
    (tmp_path / "other").symlink_to(tmp_path / "S")
    monkeypatch.chdir(tmp_path)
    names = ["S", str(tmp_path / "S"), "S/../S", "other", str(header), "S/x"]
    assert [item.name for item in find_recordings(names)] == ["x.hea"]


def test_deidentified_recordings_of_one_name_have_outputs_of_their_own(tmp_path: Path) -> None:
    files = [str(put(tmp_path / place, "x", seed)) for seed, place in enumerate("ab")]
    settings = Settings(format="wfdb", overwrite=True, deidentify=Policy(), secret=b"k" * 32, accept=("identity",))
    result = run_batch(files, tmp_path / "out", settings)
    assert result.done == 2
    written = outputs(tmp_path / "out")
    assert len(written) == 2
    digests = {interchange.read(tmp_path / "out" / name).tracings[0].digest for name in written}
    assert digests == {interchange.read(name).tracings[0].digest for name in files}


def found(*names: str) -> list[Found]:
    return [Found(name, name, "dicom", 1, 1) for name in names]


@pytest.mark.parametrize(
    ("names", "suffix", "wanted"),
    [
        (("x.dcm", "x.dcm", "x.dcm~2.dcm"), ".xml", ["x.dcm.xml", "x.dcm~2.xml", "x.dcm~2~2.xml"]),
        (("x~2.dcm", "X.dcm", "x.dcm"), ".xml", ["x~2.xml", "X.dcm.xml", "x.dcm~2.xml"]),
        (("X-2.dcm", "X.dcm"), ".scp", ["X-2.dcm.scp", "X.scp"]),
        (("X-2.dcm", "X.dcm"), ".xml", ["X-2.xml", "X.xml"]),
        (("x-17.dcm", "X.dcm"), ".scp", ["x-17.dcm.scp", "X.scp"]),
        (("a/X-2.dcm", "b/X.dcm"), ".scp", ["a/X-2.scp", "b/X.scp"]),
        (("r-1.dcm", "r-2.dcm"), ".scp", ["r-1.scp", "r-2.scp"]),
        (("q-2", "q.x", "q.y"), ".scp", ["q-2.scp", "q.x.scp", "q.y.scp"]),
        (("q.a-2.b", "q.a", "q.b"), ".scp", ["q.a-2.scp", "q.a~2.scp", "q.b.scp"]),
    ],
)
def test_outputs_never_meet_nor_further_files(names: tuple[str, ...], suffix: str, wanted: list[str]) -> None:
    got = output_names(found(*names), suffix)
    assert got == wanted
    assert len({name.casefold() for name in got}) == len(names)


def test_a_record_of_several_files_meets_no_other_output(tmp_path: Path) -> None:
    source = tmp_path / "in"
    source.mkdir()
    interchange.write(recordings()["field-strip"], source / "X.dcm")
    interchange.write(recordings()["field-limb"], source / "X-2.dcm")
    result = run_batch([str(source)], tmp_path / "out", TO_SCP)
    assert (result.total, result.done) == (2, 2)
    for name, output in (("X.dcm", "X.scp"), ("X-2.dcm", "X-2.dcm.scp")):
        read = interchange.read(tmp_path / "out" / output)
        assert [t.digest for t in read.tracings] == [t.digest for t in interchange.read(source / name).tracings]


# Resuming ----------------------------------------------------------------------------------------------------------


def remove_receipt(source: Path, out: Path) -> None:
    (out / "x.hea.receipt.json").unlink()


def change_signal(source: Path, out: Path) -> None:
    (source / "x.dat").write_bytes(record_files("x", 2)["x.dat"])
    (source / "x.hea").touch()
    os.utime(source / "x.hea", ns=(1, 1))


def add_annotations(source: Path, out: Path) -> None:
    (source / "x.atr").write_bytes(b"\x00\x04\x00\x00")


@pytest.mark.parametrize("change", [remove_receipt, change_signal, add_annotations])
def test_what_changed_beside_the_main_file_is_done_again(tmp_path: Path, change: Callable[[Path, Path], None]) -> None:
    header = put(tmp_path / "in", "x", 1)
    put(tmp_path / "in", "y", 2)
    os.utime(header, ns=(1, 1))
    settings = Settings(format="wfdb", overwrite=True)
    run_batch([str(tmp_path / "in")], tmp_path / "out", settings)
    assert run_batch([str(tmp_path / "in")], tmp_path / "out", settings).worked == 0
    change(tmp_path / "in", tmp_path / "out")
    assert run_batch([str(tmp_path / "in")], tmp_path / "out", settings).worked == 1
    assert (tmp_path / "out" / "x.hea.receipt.json").exists()


@pytest.mark.parametrize("named", [False, True])
def test_further_files_and_segments_are_watched(tmp_path: Path, named: bool) -> None:
    source = tmp_path / "in"
    put(source, "s1", 1)
    (source / "whole.hea").write_text("whole/1 4 500 100\ns1 100\n")
    interchange.write(recordings()["field-strip"], source / "strip.scp")
    given = [str(source / "whole.hea"), str(source / "strip.scp")] if named else [str(source)]
    settings = Settings(format=None, check_only=True)
    assert run_batch(given, tmp_path / "out", settings).total == 2
    assert run_batch(given, tmp_path / "out", settings).worked == 0
    for name in ("s1.dat", "strip-2.scp"):
        os.utime(source / name, ns=(5, 5))
        assert run_batch(given, tmp_path / "out", settings).worked == 1, name


def test_another_file_under_the_same_name_is_another_source(tmp_path: Path) -> None:
    for place in ("a", "b"):
        os.utime(put(tmp_path / place, "x", 1), ns=(1, 1))
    assert run_batch([str(tmp_path / "a")], tmp_path / "out", Settings(None, check_only=True)).worked == 1
    assert run_batch([str(tmp_path / "b")], tmp_path / "out", Settings(None, check_only=True)).worked == 1


# What cannot be read -----------------------------------------------------------------------------------------------


def closed_to_us(name: str, real: Callable[..., Any]) -> Callable[..., Any]:
    """The same function, which is not permitted to open this name."""

    def refusing(path: Any, *arguments: Any, **named: Any) -> Any:
        if isinstance(path, (str, os.PathLike)) and Path(path).name == name:
            raise PermissionError(13, "Permission denied", os.fspath(path))
        return real(path, *arguments, **named)

    return refusing


@pytest.mark.parametrize("settings", [TO_WFDB, Settings(None, check_only=True)])
def test_files_and_folders_that_cannot_be_read_are_rows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    put(tmp_path / "in", "good", 1)
    put(tmp_path / "in", "shut", 2)
    put(tmp_path / "in" / "ward", "inside", 3)
    (tmp_path / "in" / "notes.txt").write_text("no recording")
    monkeypatch.setattr(os, "open", closed_to_us("shut.hea", os.open))
    monkeypatch.setattr(os, "scandir", closed_to_us("ward", os.scandir))
    result = run_batch([str(tmp_path / "in")], tmp_path / "out", settings)
    assert (result.total, result.done, result.failed, result.status) == (3, 1, 2, 1)
    told = rows(tmp_path / "out")
    for name in ("shut.hea", "ward"):
        assert (told[name]["status"], told[name]["reason"]) == ("failed", "cannot be read: Permission denied")
    monkeypatch.undo()
    result = run_batch([str(tmp_path / "in")], tmp_path / "out", settings)
    assert (result.total, result.worked, result.done) == (3, 2, 3)


def test_a_signal_file_that_cannot_be_read_is_the_failure_of_its_record(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path / "in", "x", 1)
    monkeypatch.setattr(os, "open", closed_to_us("x.dat", os.open))
    result = run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    assert (result.total, result.failed) == (1, 1)
    assert "Permission denied" in rows(tmp_path / "out")["x.hea"]["reason"]


# Other people's files ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("journal", [False, True])
def test_a_foreign_manifest_stays(tmp_path: Path, journal: bool) -> None:
    put(tmp_path / "in", "x", 1)
    out = tmp_path / "out"
    out.mkdir()
    if journal:
        (out / Journal.NAME).touch()
    (out / "manifest.csv").write_text("name,price\r\napple,3\r\n")
    for _ in range(2):
        with pytest.raises(TargetError, match=r"manifest\.csv"):
            run_batch([str(tmp_path / "in")], out, TO_WFDB)
    assert (out / "manifest.csv").read_text() == "name,price\napple,3\n"
    assert not outputs(out)
    assert run_batch([str(tmp_path / "in")], out, Settings("wfdb", overwrite=True)).done == 1


@pytest.mark.parametrize(
    "content",
    [
        b'{"journal": "of my travels"}',
        b"one line and no line feed",
        b'{"journal":1}\n',
        b'{"journal":1,"settings":"","name":"x","status":"done","stamp":"","output":"","files":[1],'
        b'"exit_status":0,"errors":0}\n',
        b'{"journal":1,"settings":"","name":"x","status":"done","stamp":"","output":"","files":[],"errors":0}\n',
        b"[" * 100_000 + b"\n",
    ],
)
def test_a_foreign_journal_stays(tmp_path: Path, content: bytes) -> None:
    (tmp_path / Journal.NAME).write_bytes(content)
    with pytest.raises(UsageError, match="line 1: is no journal"):
        run_batch([], tmp_path, TO_WFDB)
    assert (tmp_path / Journal.NAME).read_bytes() == content


def test_every_torn_end_of_our_own_line_is_cut_off(tmp_path: Path) -> None:
    put(tmp_path / "in", "x", 1)
    run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    path = tmp_path / "out" / Journal.NAME
    line = path.read_bytes()
    for length in (1, 5, 20, 40, len(line) - 1):
        path.write_bytes(line + line[:length])
        assert run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB).resumed == 1
        assert path.read_bytes() == line


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs pipes with a name")
@pytest.mark.parametrize("name", [Journal.NAME, "manifest.csv"])
def test_a_pipe_is_no_book(tmp_path: Path, name: str) -> None:
    os.mkfifo(tmp_path / name)
    with pytest.raises(TargetError, match="no regular file"):
        run_batch([], tmp_path, Settings("wfdb", overwrite=True))
    assert stat.S_ISFIFO((tmp_path / name).stat().st_mode)


# One batch at a time, beside other writers ----------------------------------------------------------------------------


def test_a_second_batch_into_the_folder_is_refused(tmp_path: Path) -> None:
    pytest.importorskip("fcntl")
    put(tmp_path / "in", "x", 1)
    (tmp_path / "out").mkdir()
    first = Journal(tmp_path / "out")
    with pytest.raises(TargetError, match="another batch is at work") as caught:
        run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    assert caught.value.status == 5
    first.close()
    assert run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB).done == 1


def test_leftovers_of_our_own_go_and_the_files_of_others_at_work_stay(tmp_path: Path) -> None:
    put(tmp_path / "in" / "day", "x", 1)
    place = tmp_path / "out" / "day"
    place.mkdir(parents=True)
    other = Publication(place, [("y.dat", b"1234"), ("y.hea", b"abcd")], overwrite=False)
    other.write()
    killed = Publication(place, [("z.dat", b"1234"), ("z.hea", b"abcd")], overwrite=False)
    killed.mark = mark_of(tmp_path / "out")
    killed.write()
    assert len(list(place.glob(".interchange-*"))) == 4
    run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    other.place()
    other.drop()
    assert (place / "y.hea").read_bytes() == b"abcd"
    assert not list(place.glob(".interchange-*"))


def test_the_journal_counts_the_receipt(tmp_path: Path) -> None:
    put(tmp_path / "in", "x", 1)
    run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    entry = json.loads((tmp_path / "out" / Journal.NAME).read_text())
    there = {path.name: path.stat().st_size for path in (tmp_path / "out").glob("x*")}
    assert dict(entry["files"]) == there
    assert "x.hea.receipt.json" in there


def test_old_files_that_stay_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A record of several files is replaced by one of fewer, and the system does not let the rest go."""
    source, out = tmp_path / "in" / "x.scp", tmp_path / "out"
    source.parent.mkdir()
    interchange.write(recordings()["field-strip"], source)
    run_batch([str(source)], out, TO_SCP)
    source.unlink()
    (source.parent / "x-2.scp").unlink()
    interchange.write(recordings()["field-limb"], source)
    real = os.unlink

    def refusing(path: Any, *arguments: Any, **named: Any) -> None:
        if Path(path) == out / "x-2.scp":
            raise PermissionError(13, "Permission denied")
        real(path, *arguments, **named)

    monkeypatch.setattr(os, "unlink", refusing)
    assert run_batch([str(source)], out, Settings("scp", overwrite=True)).done == 1
    assert rows(out)["x.scp"]["reason"] == "old files of this record could not be removed: x-2.scp"


# Targets that cannot be ----------------------------------------------------------------------------------------------


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    put(tmp_path / "in" / "day", "x", 1)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "day").write_bytes(b"a file")
    result = run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    assert result.failed == 1
    assert rows(tmp_path / "out")["day/x.hea"]["reason"] == "the folder cannot be made: File exists"


def test_outputs_do_not_become_sources(tmp_path: Path) -> None:
    put(tmp_path / "s", "x", 1)
    put(tmp_path / "s" / "s", "y", 1)
    put(tmp_path / "t", "z", 1)
    before = outputs(tmp_path, "*")
    for sources, into in ((["s"], "s"), (["s", "t"], "."), (["s"], ".")):
        with pytest.raises(UsageError, match="the next time"):
            run_batch([str(tmp_path / name) for name in sources], tmp_path / into, TO_WFDB)
    with pytest.raises(UsageError, match="no such file"):
        run_batch([str(tmp_path / "none")], tmp_path / "new", TO_WFDB)
    assert outputs(tmp_path, "*") == before
    assert run_batch([str(tmp_path / "s")], tmp_path / "s", Settings(None, check_only=True)).done == 2
    assert run_batch([str(tmp_path / "t")], tmp_path, TO_WFDB).done == 1


@pytest.mark.parametrize(("sources", "into"), [([""], "out"), (["in"], ""), (["in", ""], "out")])
def test_empty_names_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, sources: list[str], into: str
) -> None:
    make_archive(tmp_path / "in", 1)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InterchangeError, match="empty"):
        run_batch(sources, into, TO_WFDB)
