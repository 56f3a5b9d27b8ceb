"""The names of the model's fields."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from interchange.model import Recording
from interchange.model.paths import NOT_CONTENT, field_paths
from tests import strategies
from tests.everything import everything
from tests.fields import fields_said

EXPECTED = (
    "tracings.channels.name",
    "tracings.channels.filters.notches",
    "tracings.samples",
    "tracings.missing",
    "patient.ids.issuer",
    "patient.name.second_family",
    "patient.other_names.script",
    "patient.birth_date",
    "patient.height",
    "acquisition.devices.site.ids.kind",
    "acquisition.operator.name.family",
    "acquisition.study.accession.value",
    "measurements.source_code",
    "marks.measurements.value",
    "statements.confirmed_by",
    "trial.investigator.ids.value",
    "trial.subject.value",
    "document_id.issuer",
    "extras",
)


@pytest.mark.parametrize("path", EXPECTED)
def test_leaves_are_there_under_the_names_that_people_write(path: str) -> None:
    assert path in field_paths()


def test_paths_are_leaves_without_indices_and_each_is_there_once() -> None:
    paths = field_paths()
    assert len(set(paths)) == len(paths)
    assert not any("[" in path for path in paths)
    assert not any(other.startswith(f"{path}.") for path in paths for other in paths)
    assert not NOT_CONTENT.intersection(paths)


def test_the_full_example_says_something_in_every_field() -> None:
    assert fields_said(everything()) == set(field_paths())


@st.composite
def content(draw: st.DrawFn) -> Recording:
    """What stands beside the samples, on tracings that are always the same."""
    tracings = everything().tracings
    return Recording(
        measurements=draw(strategies.some(strategies.measurements(tracings[0].names), 4)),
        marks=draw(strategies.some(strategies.marks(tracings), 4)),
        statements=draw(strategies.some(strategies.statements, 4)),
        document_id=draw(strategies.identifiers),
    )


def test_the_strategy_reaches_every_field() -> None:
    missing = set(field_paths())
    strategies_of_parts = (
        st.builds(Recording, tracings=st.tuples(strategies.rhythms(first=False))),
        st.builds(Recording, tracings=st.tuples(strategies.representative_beats(0, ("I", "V2")))),
        content(),
        st.builds(Recording, deidentification=strategies.some(strategies.codes), extras=strategies.extras),
        st.builds(Recording, patient=strategies.patients),
        st.builds(Recording, acquisition=strategies.acquisitions),
        st.builds(Recording, trial=strategies.trials),
    )
    for number in range(5):  # what is drawn depends on which modules other tests have loaded
        for strategy in strategies_of_parts if missing else ():
            missing -= _said_by(strategy, number)
    assert missing == set()


def _said_by(strategy: st.SearchStrategy[Recording], number: int) -> set[str]:
    said: set[str] = set()

    @seed(number)
    @settings(
        max_examples=150,
        phases=[Phase.generate],
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(strategy)
    def collect(recording: Recording) -> None:
        said.update(fields_said(recording))

    collect()
    return said
