"""The schemas themselves, and documents of every kind against them (further ones where the commands are tested)."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

import interchange
from interchange import resources
from interchange.checks.report import REPORT_VERSION
from interchange.cli.check import REPORTS_VERSION
from interchange.cli.compare import COMPARISON_VERSION
from interchange.cli.failure import ERROR_VERSION
from interchange.cli.rules import RULES_VERSION
from interchange.formats import FORMATS
from interchange.receipt.content import RECEIPT_VERSION
from interchange.show.document import RECORDING_VERSION
from tests.cli.schemas import FOLDER, SCHEMAS, errors_in, schema
from tests.everything import everything

ALL = ("signal", "timing", "leads", "identity")


def test_every_schema_stands_for_one_kind_of_document_and_is_listed() -> None:
    names = sorted(path.name.removesuffix(".schema.json") for path in FOLDER.glob("*.schema.json"))
    assert names == sorted(SCHEMAS.values())
    listed = (FOLDER / "README.md").read_text(encoding="utf-8")
    for kind, name in SCHEMAS.items():
        assert f"| `{name}.schema.json` | `{kind}` |" in listed
        assert schema(name)["properties"]["document"] == {"const": kind}
        assert resources.schema(f"{name}.schema.json").samefile(FOLDER / f"{name}.schema.json")


@pytest.mark.parametrize("name", SCHEMAS.values())
def test_every_schema_is_one(name: str) -> None:
    Draft202012Validator.check_schema(schema(name))
    assert schema(name)["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema(name)["$id"] == f"urn:interchange:schema:{name}:1"
    assert schema(name)["title"]


@pytest.mark.parametrize("name", SCHEMAS.values())
def test_every_object_of_a_schema_is_closed(name: str) -> None:
    found = list(_objects(schema(name)))
    assert found
    for item in found:
        assert item["additionalProperties"] is False
        assert set(item["required"]) <= set(item["properties"])


def _objects(part: Any) -> list[dict[str, Any]]:
    if isinstance(part, list):
        return [item for inner in part for item in _objects(inner)]
    if not isinstance(part, dict):
        return []
    own = [part] if part.get("type") == "object" else []
    return own + [item for inner in part.values() for item in _objects(inner)]


def test_the_versions_are_those_that_are_written() -> None:
    versions = {
        "receipt": RECEIPT_VERSION, "recording": RECORDING_VERSION, "report": REPORT_VERSION,
        "reports": REPORTS_VERSION, "comparison": COMPARISON_VERSION, "rules": RULES_VERSION, "error": ERROR_VERSION,
    }  # fmt: skip
    for name, version in versions.items():
        assert schema(name)["properties"]["version"] == {"const": version}


@pytest.mark.parametrize("entry", FORMATS, ids=lambda entry: entry.name)
def test_a_receipt_of_everything_in_every_format(entry, tmp_path: Path) -> None:
    receipt = interchange.write(everything(), tmp_path / f"all{entry.suffix}", accept=ALL)
    document = json.loads(receipt.as_bytes())
    assert errors_in(document) == []
    assert document["target"]


def test_a_receipt_of_a_deidentified_recording(cli, twelve: Path, tmp_path: Path) -> None:
    done = cli("convert", twelve, tmp_path / "out.dcm", "--deidentify", "--json")
    assert done.status == 0, done.err
    assert errors_in(done.document) == []
    assert done.document["deidentification"]
    assert "Tessaly" not in done.out + done.err


def test_the_end_of_a_batch(cli, records: Path, tmp_path: Path) -> None:
    done = cli("batch", records, "--to", "scp", "--into", tmp_path / "out", "--jobs", "1", "--json")
    assert done.status == 0, done.err
    assert errors_in(done.document) == []
    assert (done.document["total"], done.document["done"]) == (3, 3)


@pytest.mark.parametrize("name", SCHEMAS.values())
def test_a_schema_refuses_what_is_not_of_its_kind(name: str) -> None:
    document = next(kind for kind, other in SCHEMAS.items() if other == name)
    assert errors_in({"document": document})
    assert errors_in({"document": document, "version": 2})
