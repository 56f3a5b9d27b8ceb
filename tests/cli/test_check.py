"""``check``: the verdict first, findings by what they touch, the answer in the exit status."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

import interchange
from fixtures.field import twelve_leads
from interchange.cli.check import report_lines
from interchange.cli.output import document_text
from interchange.model import Identifier, Patient, PersonName, Recording
from interchange.show.layout import Style, columns
from tests import strategies
from tests.cli.schemas import errors_in


@pytest.fixture
def folder(records: Path, tmp_path: Path) -> Path:
    """A folder of the three records with what lies around in folders."""
    place = tmp_path / "archive"
    shutil.copytree(records, place)
    (place / "deeper").mkdir()
    for path in list(place.glob("limb*")):
        path.rename(place / "deeper" / path.name)
    (place / "notes.txt").write_text("nothing")
    (place / ".hidden").write_text("nothing")
    (place / "empty.scp").write_bytes(b"")
    (place / "link.hea").symlink_to(place / "twelve.hea")
    return place


def test_the_verdict_stands_first(cli, twelve: Path) -> None:
    done = cli("check", twelve)
    assert done.status == 0
    assert done.err == ""
    lines = done.out.splitlines()
    assert lines[0] == str(twelve)
    assert lines[1].startswith("Twelve of twelve leads, 10 s, 500 samples/s.")
    assert "not a diagnostic device" in done.out


def test_places_are_leads_and_tracings_for_people_and_paths_for_programs(cli, tmp_path: Path) -> None:
    flat = twelve_leads()
    samples = flat.tracings[0].samples.copy()
    samples[7] = 0
    one = replace(flat.tracings[0], samples=samples)
    strip = replace(flat.tracings[0], label="strip")
    for waves, place in (((one,), "V2"), ((one, strip), "V2 in tracing 1")):
        interchange.write(flat.with_(tracings=waves, marks=()), tmp_path / "x.hea", overwrite=True)
        told = cli("check", tmp_path / "x.hea").out
        assert f"quality.no-signal, {place}; " in " ".join(told.split())
        assert "tracings[" not in told
        found = cli("check", tmp_path / "x.hea", "--json").document["findings"]
        assert "tracings[0].channels[7]" in [f["place"] for f in found if f["rule"] == "quality.no-signal"]


def test_a_limb_recording_is_whole_unless_twelve_leads_are_expected(cli, records: Path) -> None:
    limb = records / "limb.hea"
    done = cli("check", limb)
    assert done.status == 0
    assert "Six of six limb leads and no chest lead" in done.out
    wanted = cli("check", limb, "--expect", "standard-12")
    assert wanted.status == 1
    assert "  error    " in wanted.out
    assert "leads.incomplete" in wanted.out
    assert wanted.out.index("\nLeads\n") < wanted.out.index("leads.incomplete")
    document = cli("check", limb, "--expect", "standard-12", "--json").document
    assert errors_in(document) == []
    assert document["status"] == 1
    assert document["lead_set"]["missing"] == ["V1", "V2", "V3", "V4", "V5", "V6"]


def test_the_report_is_a_document_with_the_file_s_name(cli, twelve: Path) -> None:
    done = cli("check", twelve, "--json")
    assert (done.status, done.err) == (0, "")
    assert errors_in(done.document) == []
    assert (done.document["document"], done.document["file"]) == ("interchange check", str(twelve))


def test_a_folder_is_all_recordings_in_it_with_a_table(cli, folder: Path) -> None:
    done = cli("check", folder)
    assert done.status == 0
    table = done.out[done.out.index("answer  errors") :].splitlines()
    assert [row.split()[-1] for row in table[1:4]] == [
        str(folder / name) for name in ("deeper/limb.hea", "strip.hea", "twelve.hea")
    ]
    assert "3 recordings: 3 without errors, 0 with errors, 0 that cannot be read." in done.out
    rest = done.out[done.out.index("Not recordings of a known format:") :]
    assert [Path(line.strip()).name for line in rest.splitlines()[1:]] == ["empty.scp", "notes.txt"]


def test_a_folder_as_a_document(cli, folder: Path) -> None:
    done = cli("check", folder, "--expect", "standard-12", "--json")
    document = done.document
    assert done.status == 1
    assert errors_in(document) == []
    assert document["summary"]["recordings"] == 3
    assert document["summary"]["with_errors"] == 1
    assert [(Path(f["file"]).name, f["status"]) for f in document["files"]] == [
        ("limb.hea", 1), ("strip.hea", 0), ("twelve.hea", 0),
    ]  # fmt: skip
    assert [Path(name).name for name in document["not_recordings"]] == ["empty.scp", "notes.txt"]


def test_an_empty_folder_is_no_error(cli, tmp_path: Path) -> None:
    done = cli("check", tmp_path)
    assert (done.status, done.out) == (0, "No recording found.\n")
    assert errors_in(cli("check", tmp_path, "--json").document) == []


def test_several_files_have_the_highest_of_their_statuses(cli, records: Path, tmp_path: Path) -> None:
    broken = tmp_path / "broken.scp"
    broken.write_bytes(b"nothing of the kind")
    good, limb = records / "twelve.hea", records / "limb.hea"
    assert cli("check", good, limb).status == 0
    assert cli("check", good, limb, "--expect", "standard-12").status == 1
    done = cli("check", limb, broken, good, "--expect", "standard-12")
    assert done.status == 3
    assert "UNREADABLE       -         -      -  " + str(broken) in done.out
    assert "3 recordings: 1 without errors, 1 with errors, 1 that cannot be read." in done.out
    document = cli("check", limb, broken, good, "--json").document
    assert errors_in(document) == []
    assert [f["status"] for f in document["files"]] == [0, 3, 0]
    assert document["files"][1]["error"]["reason"].startswith("the content is none of the formats")


def test_names_come_from_standard_input(process, records: Path, tmp_path: Path) -> None:
    names = [str(records / name) for name in ("twelve.hea", "limb.hea")]
    for text in ("\n".join(names) + "\n\n", "\r\n".join(names), "\0".join(names)):
        done = process("check", "-", "--json", stdin=text.encode())
        assert done.status == 0
        assert [f["file"] for f in done.document["files"]] == names
    nothing = process("check", "-", "--json", stdin=b"")
    assert (nothing.status, nothing.document["summary"]["recordings"]) == (0, 0)


def test_the_same_tracing_under_two_names_is_found(cli, tmp_path: Path) -> None:
    recording = twelve_leads()
    other = Patient(ids=(Identifier("NH-9", issuer="2.999.417.1"),), name=PersonName(family="Somebody", given="Else"))
    interchange.write(recording, tmp_path / "a.hea")
    interchange.write(recording.with_(patient=other), tmp_path / "b.hea")
    done = cli("check", tmp_path)
    assert done.status == 1
    assert "Files together" in done.out
    assert "set.same-tracing-other-patient" in done.out
    assert "Somebody" not in done.out
    document = cli("check", tmp_path, "--json").document
    assert errors_in(document) == []
    assert [finding["rule"] for finding in document["together"]] == ["set.same-tracing-other-patient"]


def test_a_configuration_switches_rules_off_and_sets_what_is_expected(cli, records: Path, tmp_path: Path) -> None:
    config = tmp_path / "site.toml"
    limb = records / "limb.hea"
    config.write_text('expect = "standard-12"\n')
    assert cli("check", limb, "--config", config).status == 1
    config.write_text('expect = "standard-12"\noff = ["leads.incomplete"]\n')
    done = cli("check", limb, "--config", config)
    assert done.status == 0
    assert "leads.incomplete" not in done.out


@pytest.mark.parametrize("text", [b"expect = [", b"nonsense = 1", b"\xff\xfe", b'off = ["no.such-rule"]'])
def test_a_configuration_that_makes_no_sense_is_wrong_usage(cli, twelve: Path, tmp_path: Path, text: bytes) -> None:
    config = tmp_path / "site.toml"
    config.write_bytes(text)
    done = cli("check", twelve, "--config", config)
    assert done.status == 2
    assert done.err.startswith(f"interchange: {config}: ")
    assert done.err.count("\n") == 1


def test_a_time_in_the_future_is_noticed(cli, tmp_path: Path) -> None:
    from interchange.model import Moment

    recording = twelve_leads()
    assert recording.acquisition.time is not None
    later = recording.with_(acquisition=replace(recording.acquisition, time=Moment(9998, 1, 1, 0, 0, zone=0)))
    interchange.write(later, tmp_path / "later.hea")
    rules = [f["rule"] for f in cli("check", tmp_path / "later.hea", "--json").document["findings"]]
    assert any(rule.startswith("time.") and "future" in rule for rule in rules)


@given(strategies.full())
@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
def test_the_schema_takes_the_report_on_whatever_the_model_can_say(recording: Recording) -> None:
    report = interchange.check(recording)
    assert errors_in(json.loads(document_text(report.as_json()))) == []
    lines = report_lines("a file", report, 80, Style())
    assert lines[1] == report.verdict or len(report.verdict) > 80
    assert max(map(columns, lines)) <= 80


def test_what_only_begins_like_the_record_is_not_searched_for_identity(cli, twelve: Path) -> None:
    beside = twelve.parent / f"{twelve.stem}_folder"
    beside.mkdir()
    (twelve.parent / f"{twelve.stem}-link").symlink_to("/etc")
    (twelve.parent / f"{twelve.stem}.notes").write_text("seen: NH-204417")
    (twelve.parent / "known").write_text("NH-204417\n")
    done = cli("check", twelve, "--identifiers", "--known", twelve.parent / "known", "--json")
    assert done.err == ""
    known = [f["place"] for f in done.document["findings"] if f["rule"] == "identity.known"]
    assert any(place.startswith(f"{twelve.stem}.notes byte 6") for place in known)
