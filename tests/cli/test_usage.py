"""Wrong usage: exit status 2, one line that says what is wrong and where to read on, and nothing done."""

from __future__ import annotations

from pathlib import Path

import pytest

from interchange.cli.commands import COMMANDS

WRONG = {
    "nothing": ((), "which command? There are convert, show, check, compare"),
    "no such command": (("transmogrify", "a"), "there is no such command; the commands are convert, show"),
    "no file": (("show",), "FILE is missing"),
    "no target": (("convert", "SOURCE"), "TARGET is missing"),
    "too many": (("show", "SOURCE", "b"), "not understood: b"),
    "no such option": (("show", "SOURCE", "--colour"), "not understood: --colour"),
    "shortened option": (("show", "SOURCE", "--js"), "not understood: --js"),
    "unknown format to write": (("convert", "SOURCE", "TARGET", "--to", "pdf"), "--to: there is no such format; "),
    "unknown format to read": (("show", "SOURCE", "--from", "x"), "--from: there is no such format; the formats are"),
    "no suffix": (("convert", "SOURCE", "FOLDER/plain"), "the name ends with no suffix of a format"),
    "unknown class": (("convert", "SOURCE", "TARGET", "--accept", "all"), "--accept: the classes that can be accepted"),
    "empty class": (("convert", "SOURCE", "TARGET", "--accept", "timing,"), "--accept: has an empty part"),
    "tracing 0": (("convert", "SOURCE", "TARGET", "--tracing", "0"), "--tracing: must be a whole number"),
    "tracing minus": (("convert", "SOURCE", "TARGET", "--tracing=-1"), "--tracing: must be a whole number"),
    "tracing word": (("convert", "SOURCE", "TARGET", "--tracing", "two"), "--tracing: must be a whole number"),
    "tracing too high": (("convert", "SOURCE", "TARGET", "--tracing", "7"), "--tracing: the recording has one tracing"),
    "set without value": (("convert", "SOURCE", "TARGET", "--set", "sex"), "--set: must have the form FIELD=VALUE"),
    "set without field": (("convert", "SOURCE", "TARGET", "--set", "=x"), "--set: must have the form FIELD=VALUE"),
    "set no field": (("convert", "SOURCE", "TARGET", "--set", "patient.shoes=44"), "--set patient.shoes: there is no"),
    "set signal": (("convert", "SOURCE", "TARGET", "--set", "tracings[0].rate=1"), "--set: can set fields of patient"),
    "set bad value": (("convert", "SOURCE", "TARGET", "--set", "birth-date=1.5.90"), "--set birth-date: the value"),
    "bad zone": (("convert", "SOURCE", "TARGET", "--zone", "CET"), "--zone: is no zone in the form +02:00"),
    "bad time": (("convert", "SOURCE", "TARGET", "--time", "noon"), "--time: is no time in the form"),
    "relabel form": (("convert", "SOURCE", "TARGET", "--relabel", "V4"), "--relabel: must have the form OLD=NEW"),
    "relabel nobody": (("convert", "SOURCE", "TARGET", "--relabel", "V9=V4"), "--relabel: the recording has no lead"),
    "relabel onto another": (("convert", "SOURCE", "TARGET", "--relabel", "V4=V5"), "--relabel: the recording has a"),
    "leads empty": (("convert", "SOURCE", "TARGET", "--leads", "I,,II"), "--leads: has an empty part"),
    "leads none": (("convert", "SOURCE", "TARGET", "--leads", "V9"), "--leads: the recording has no lead V9"),
    "only what": (("convert", "SOURCE", "TARGET", "--only", "eeg"), "--only: invalid choice"),
    "verify what": (("convert", "SOURCE", "TARGET", "--verify", "some"), "--verify: invalid choice"),
    "edition": (("convert", "SOURCE", "FOLDER/x.xml", "--edition", "1999"), "--edition: invalid choice"),
    "option of another format": (("convert", "SOURCE", "FOLDER/x.hea", "--edition", "2009"), "--edition: WFDB has no"),
    "receipt's name": (("convert", "SOURCE", "TARGET", "--receipt", "FOLDER/r.dat"), "--receipt: the name of the "),
    "receipt is target": (("convert", "SOURCE", "FOLDER/x.json", "--to", "scp", "--receipt", "FOLDER/x.json"), "--rec"),
    "samples": (("show", "SOURCE", "--samples"), "--samples: goes with --json only"),
    "lead set": (("check", "SOURCE", "--expect", "thirteen"), "--expect: there is no such lead set; the lead sets are"),
    "no config": (("check", "SOURCE", "--config", "FOLDER/no.toml"), "--config: cannot be read: No such file"),
    "target empty": (("convert", "SOURCE", "", "--to", "wfdb"), "the target names no file"),
    "target here": (("convert", "SOURCE", ".", "--to", "wfdb"), "the target names no file"),
    "target here too": (("convert", "SOURCE", "./", "--to", "scp"), "the target names no file"),
    "target above": (("convert", "SOURCE", "..", "--to", "wfdb"), "the target names no file"),
    "target root": (("convert", "SOURCE", "/", "--to", "wfdb"), "the target names no file"),
    "target a folder": (("convert", "SOURCE", "FOLDER/new/", "--to", "wfdb"), "the target names no file"),
    "empty zone": (("convert", "SOURCE", "TARGET", "--zone", ""), "--zone: is no zone in the form +02:00"),
    "zone of a day": (
        ("convert", "SOURCE", "TARGET", "--time", "2031-04-05", "--zone", "+02:00"),
        "--zone: the acquisition time has no time of day",
    ),
    "age below zero": (("convert", "SOURCE", "TARGET", "--set", "age=-5 a"), "--set age: the value must be a number"),
    "height below zero": (
        ("convert", "SOURCE", "TARGET", "--set", "patient.height=-1 cm"),
        "--set patient.height: the",
    ),
    "urgency": (
        ("convert", "SOURCE", "TARGET", "--set", "acquisition.urgency=11"),
        "--set acquisition.urgency: the value must be a whole number from 0 (routine) to 10",
    ),
    "urgency below zero": (("convert", "SOURCE", "TARGET", "--set", "acquisition.urgency=-1"), "--set acquisition.urg"),
    "empty key": (("convert", "SOURCE", "TARGET", "--deidentify", "--key", ""), "--key: needs the name of a file"),
    "empty key alone": (("convert", "SOURCE", "TARGET", "--key", ""), "--key, --keep and --dates go with"),
    "empty to show": (("show", ""), "the name of the file to read is empty"),
    "empty to convert": (("convert", "", "TARGET"), "the name of the file to read is empty"),
    "empty to compare": (("compare", "SOURCE", ""), "the name of the file to read is empty"),
    "empty to check": (("check", ""), "the name of the file to read is empty"),
    "no known": (
        ("check", "SOURCE", "SOURCE", "--identifiers", "--known", "FOLDER/none"),
        "none: --known: cannot be read: No such file",
    ),
    "no rule": (("rules", "scp.nonsense"), 'ID: there is no such rule or area; "interchange rules" lists all'),
}


@pytest.mark.parametrize("case", WRONG)
def test_wrong_usage_is_one_line_and_nothing_done(case: str, cli, twelve: Path, tmp_path: Path) -> None:
    words, expected = WRONG[case]
    names = {"SOURCE": str(twelve), "TARGET": str(tmp_path / "out.hea"), "FOLDER": str(tmp_path)}
    arguments = [_named(word, names) for word in words]
    done = cli(*arguments)
    assert done.status == 2
    assert done.out == ""
    assert done.err.startswith("interchange: ")
    assert done.err.count("\n") == 1
    assert expected in done.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("case", [case for case in WRONG if case not in ("nothing", "samples")])
def test_wrong_usage_after_json_is_a_document_too(case: str, cli, twelve: Path, tmp_path: Path) -> None:
    words, expected = WRONG[case]
    names = {"SOURCE": str(twelve), "TARGET": str(tmp_path / "out.hea"), "FOLDER": str(tmp_path)}
    done = cli(*(_named(word, names) for word in words), "--json")
    assert done.status == 2
    assert done.document["document"] == "interchange error"
    assert done.document["status"] == 2
    said = ": ".join(filter(None, (done.document["file"], done.document["place"], done.document["reason"])))
    assert expected in said


def _named(word: str, names: dict[str, str]) -> str:
    for name, value in names.items():
        word = word.replace(name, value)
    return word


def test_the_line_says_where_to_read_on(cli) -> None:
    assert cli("show").err.endswith("(see interchange show --help)\n")
    assert cli("bogus").err.endswith("(see interchange --help)\n")


def test_the_value_of_a_wrong_set_is_not_repeated(cli, twelve: Path, tmp_path: Path) -> None:
    for wrong in ("birth-date=Mallory", "sex=Mallory", "Mallory", "age=Mallory"):
        done = cli("convert", twelve, tmp_path / "out.hea", "--set", wrong, "--json")
        assert done.status == 2
        assert "Mallory" not in done.err + done.out


def test_a_zone_west_of_greenwich_is_taken_for_no_option(cli, twelve: Path, tmp_path: Path) -> None:
    when = ("--time", "2024-03-18T06:42:10", "--zone", "-05:00")
    done = cli("convert", twelve, tmp_path / "out.hea", *when, "--accept", "timing")
    assert done.status == 0, done.err
    assert cli("show", tmp_path / "out.hea", "--json").document["recording"]["acquisition"]["time"].endswith("-05:00")


def test_a_name_that_looks_like_an_option_follows_two_hyphens(cli, tmp_path: Path) -> None:
    done = cli("show", "--", "--json")
    assert done.status == 3
    assert "interchange: --json: there is no such file" in done.err


@pytest.mark.parametrize(("command", "name"), [("draw", "x.pdf"), ("report", "x.html")])
def test_an_empty_name_is_not_the_present_folder(command: str, name: str, cli, tmp_path: Path) -> None:
    done = cli(command, "", "-o", tmp_path / name)
    assert done.status == 2
    assert "the name of the file to read is empty" in done.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["", *(name for name, _, _ in COMMANDS)])
def test_no_help_has_a_hole_in_it(command: str, cli) -> None:
    done = cli(*filter(None, (command, "--help")))
    assert done.status == 0
    assert done.out.startswith("usage: interchange")
    assert "None" not in done.out
