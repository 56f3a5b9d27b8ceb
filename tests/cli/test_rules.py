"""``rules``: the catalogue, an area of it, one rule."""

from __future__ import annotations

from collections import Counter

from interchange.cli.rules import all_rules
from tests.cli.schemas import errors_in


def test_every_rule_is_listed_with_severity_reason_and_source(cli) -> None:
    done = cli("rules")
    assert (done.status, done.err) == (0, "")
    words = " ".join(done.out.split())
    for rule in all_rules():
        assert f"{rule.severity} {rule.id} " in words
        assert " ".join(f"{rule.reason} [{rule.clause}]".split()) in words
    for title in ("Conformance of SCP-ECG files (scp)", "Conformance of WFDB files (wfdb)", "Leads (leads)"):
        assert title in done.out


def test_no_two_rules_share_an_id_and_every_rule_says_where_it_is_written() -> None:
    rules = all_rules()
    assert [rule for rule, count in Counter(rule.id for rule in rules).items() if count > 1] == []
    assert [rule.id for rule in rules if not rule.reason or not rule.clause] == []


def test_the_document_holds_them_all(cli) -> None:
    document = cli("rules", "--json").document
    assert errors_in(document) == []
    assert [rule["id"] for rule in document["rules"]] == [rule.id for rule in all_rules()]


def test_an_area_is_listed_alone(cli) -> None:
    document = cli("rules", "wfdb", "--json").document
    assert {rule["id"].partition(".")[0] for rule in document["rules"]} == {"wfdb"}
    assert len(document["rules"]) > 10
    assert "dicom." not in cli("rules", "wfdb").out


def test_one_rule_is_explained(cli) -> None:
    rule = next(rule for rule in all_rules() if rule.id == "wfdb.gain-missing")
    done = cli("rules", "wfdb.gain-missing")
    words = " ".join(done.out.split())
    assert words.startswith("wfdb.gain-missing (warning)")
    assert f"what {rule.reason}." in words
    assert f"why {rule.why}" in words
    assert f"source {rule.clause} (read in the document named)" in words


def test_no_prefix_of_an_id_is_taken_for_it(cli) -> None:
    for wrong in ("wfdb.gain", "wfd", "", "wfdb.*"):
        done = cli("rules", wrong)
        assert (done.status, done.out) == (2, "")
