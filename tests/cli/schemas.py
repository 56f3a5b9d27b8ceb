"""Documents against the schema that stands for them."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator
from referencing import Registry, Resource

FOLDER = Path(__file__).resolve().parents[2] / "schemas"
SCHEMAS = {
    "interchange receipt": "receipt",
    "interchange recording": "recording",
    "interchange check": "report",
    "interchange checks": "reports",
    "interchange comparison": "comparison",
    "interchange rules": "rules",
    "interchange error": "error",
    "interchange batch": "batch",
}


@cache
def schema(name: str) -> Any:
    return json.loads((FOLDER / f"{name}.schema.json").read_text(encoding="utf-8"))


@cache
def validator(name: str) -> Draft202012Validator:
    pairs = [(schema(other)["$id"], Resource.from_contents(schema(other))) for other in SCHEMAS.values()]
    return Draft202012Validator(schema(name), registry=Registry().with_resources(pairs))


def errors_in(document: Any) -> list[str]:
    """What is wrong with a document by the schema of its kind."""
    found = validator(SCHEMAS[document["document"]]).iter_errors(document)
    return [f"{error.json_path}: {error.message[:200]}" for error in found]
