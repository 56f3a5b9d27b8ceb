"""Recordings are found by content, and no two outputs meet."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

import interchange
from fixtures.field import recordings
from interchange.batch import Settings, run_batch
from interchange.batch.find import Found, find_recordings
from interchange.batch.names import output_names
from interchange.errors import UsageError
from tests.batch.archive import make_archive, record_files


def write(folder: Path, files: dict[str, bytes]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for name, data in files.items():
        (folder / name).write_bytes(data)


def test_found_by_content_in_trees_and_sorted(tmp_path: Path) -> None:
    write(tmp_path / "b" / "deep", record_files("two", 1))
    write(tmp_path / "a", record_files("one", 2))
    write(
        tmp_path / "a",
        {
            "notes.txt": b"no recording",
            "other.xml": b"<a/>",
            "._one.hea": b"x",
            "renamed.bin": record_files("x", 3)["x.hea"],
        },
    )
    names = [(item.name, item.format) for item in find_recordings([str(tmp_path)])]
    assert names == [("a/one.hea", "wfdb"), ("a/renamed.bin", "wfdb"), ("b/deep/two.hea", "wfdb")]


def test_segments_belong_to_their_record(tmp_path: Path) -> None:
    write(tmp_path, {**record_files("s1", 1), **record_files("s2", 2), **record_files("alone", 3)})
    samples = 100
    (tmp_path / "whole.hea").write_text(f"whole/2 2 500 {2 * samples}\ns1 {samples}\ns2 {samples}\n")
    assert [item.name for item in find_recordings([str(tmp_path)])] == ["alone.hea", "whole.hea"]


def test_what_is_called_like_a_recording_and_is_none_is_not_passed_over(tmp_path: Path) -> None:
    """A transmission of which nothing or something else arrived has a row that says so."""
    damaged = {"empty.hea": b"", "torn.SCP": b"\0" * 40, "half.dcm": b"<html>gateway timeout</html>"}
    write(tmp_path / "in", {**record_files("one", 1), **damaged})
    found = {item.name: item.format for item in find_recordings([str(tmp_path / "in")])}
    assert found == {"one.hea": "wfdb", **dict.fromkeys(damaged)}
    result = run_batch([str(tmp_path / "in")], tmp_path / "out", Settings(format="dicom"))
    assert (result.total, result.done, result.failed, result.status) == (4, 1, 3, 1)
    text = (tmp_path / "out" / "manifest.csv").read_text()
    assert "empty.hea,failed,the file is empty" in text
    assert text.count("the content is none of the formats that can be read") == 2


@pytest.mark.parametrize("lists", [{"a": "a"}, {"a": "b", "b": "a"}, {"a": "b", "b": "c", "c": "c"}])
def test_no_record_is_hidden_by_headers_that_list_each_other(tmp_path: Path, lists: dict[str, str]) -> None:
    for name, segment in lists.items():
        (tmp_path / f"{name}.hea").write_text(f"{name}/1 2 500 100\n{segment} 100\n")
    assert [item.name for item in find_recordings([str(tmp_path)])] == [f"{name}.hea" for name in lists]


@pytest.mark.skipif(not hasattr(os, "O_NOFOLLOW"), reason="needs links that can be refused when a file is opened")
def test_a_link_hides_nothing(tmp_path: Path) -> None:
    write(tmp_path / "archive", record_files("s1", 1))
    (tmp_path / "whole.hea").write_text("whole/1 2 500 100\ns1 100\n")
    (tmp_path / "archive" / "whole.hea").symlink_to(tmp_path / "whole.hea")
    assert [item.name for item in find_recordings([str(tmp_path / "archive")])] == ["s1.hea"]


@pytest.mark.parametrize("name", ["strip", "Łódź 5"])
def test_further_files_belong_to_their_record(tmp_path: Path, name: str) -> None:
    interchange.write(recordings()["field-strip"], tmp_path / f"{name}.scp")
    assert {path.name for path in tmp_path.iterdir()} == {f"{name}.scp", f"{name}-2.scp"}
    assert [item.name for item in find_recordings([str(tmp_path)])] == [f"{name}.scp"]


def test_a_further_file_without_its_record_is_found(tmp_path: Path) -> None:
    source = recordings()["field-strip"]
    interchange.write(source, tmp_path / "strip.scp")
    further, main = tmp_path / "strip-2.scp", tmp_path / "strip.scp"
    interchange.write(recordings()["field-limb"], tmp_path / "other.scp")

    def found() -> list[str]:
        return [item.name for item in find_recordings([str(tmp_path)])]

    held, data = main.read_bytes(), further.read_bytes()
    main.write_bytes((tmp_path / "other.scp").read_bytes())
    assert "strip-2.scp" in found(), "the record of that name does not list it"
    main.write_bytes(held)
    further.write_bytes((tmp_path / "other.scp").read_bytes())
    assert "strip-2.scp" in found(), "it is another file than the record lists"
    further.write_bytes(data)
    main.unlink()
    assert "strip-2.scp" in found(), "there is no such record"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs pipes with a name")
def test_nobody_waits_for_a_pipe(tmp_path: Path) -> None:
    write(tmp_path, record_files("one", 1))
    for name in ("pipe", "pipe.hea", "one-2.scp"):
        os.mkfifo(tmp_path / name)
    program = (
        "from interchange.batch.find import find_recordings\n"
        f"print([found.name for found in find_recordings([{str(tmp_path)!r}])])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout.strip() == "['one.hea']"


def test_several_sources_links_and_the_target_inside(tmp_path: Path) -> None:
    make_archive(tmp_path / "one", 2)
    make_archive(tmp_path / "two", 2)
    target = tmp_path / "one" / "out"
    make_archive(target, 1)
    (tmp_path / "one" / "link").symlink_to(tmp_path / "two")
    found = find_recordings([str(tmp_path / "one"), str(tmp_path / "two")], skip=target)
    assert [item.name.split("/")[0] for item in found] == ["one", "one", "two", "two"]


def test_a_named_record_without_suffix_and_a_missing_one(tmp_path: Path) -> None:
    write(tmp_path, record_files("one", 1))
    assert find_recordings([str(tmp_path / "one")])[0].name == "one.hea"
    with pytest.raises(UsageError, match="no such file"):
        find_recordings([str(tmp_path / "none")])
    both = find_recordings([str(tmp_path / "none"), str(tmp_path / "one")])
    assert [(item.name, item.format) for item in both] == [("none", None), ("one.hea", "wfdb")]


def found(*names: str) -> list[Found]:
    return [Found(name, name, "scp", 1, 1) for name in names]


@pytest.mark.parametrize(
    ("names", "outputs"),
    [
        (("a/x.scp", "b/x.scp"), ["a/x.dcm", "b/x.dcm"]),
        (("x.scp", "x.xml"), ["x.scp.dcm", "x.xml.dcm"]),
        (("X.scp", "x.scp"), ["X.scp.dcm", "x.scp~2.dcm"]),
        (("a:b.scp", "a|b.scp"), ["a_b.scp.dcm", "a_b.scp~2.dcm"]),
        (("dot. .scp", "tab\tx.scp"), ["dot.dcm", "tab_x.dcm"]),
        (("../x.scp",), ["_/x.dcm"]),
    ],
)
def test_outputs_never_meet_and_are_safe_names(names: tuple[str, ...], outputs: list[str]) -> None:
    assert output_names(found(*names), ".dcm") == outputs
