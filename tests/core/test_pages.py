"""Every field of the model has its place in every format, and the pages for developers say so."""

from __future__ import annotations

import pytest

from interchange.formats import FORMATS, load
from interchange.formats.pages import CONCEPTS, FIELDS, concepts_page, fields_page, place_of
from interchange.model.paths import field_paths


@pytest.mark.parametrize("name", [entry.name for entry in FORMATS])
def test_every_field_of_the_model_is_accounted_for(name: str) -> None:
    account = load(name).ACCOUNT
    missing = [path for path in field_paths() if place_of(account, path) is None]
    assert missing == []
    assert all(place.where for place in account.values())


@pytest.mark.parametrize("name", [entry.name for entry in FORMATS])
def test_every_entry_of_an_account_is_a_field(name: str) -> None:
    paths = field_paths()
    strangers = [
        key for key in load(name).ACCOUNT if not any(path == key or path.startswith(f"{key}.") for path in paths)
    ]
    assert strangers == []


def test_the_pages_are_what_the_tables_say() -> None:
    assert FIELDS.read_text(encoding="utf-8") == fields_page()
    assert CONCEPTS.read_text(encoding="utf-8") == concepts_page()
