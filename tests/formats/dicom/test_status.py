"""A reading that nobody confirmed must not look like a confirmed one, to this reader and to any other."""

import pytest

from interchange.model import Moment, Recording, Statement
from tests.formats.dicom.support import opened, read, saved, written
from tests.formats.dicom.test_write import tracing

CASES = [
    [Statement("a", confirmed=False)],
    [Statement("a", confirmed=False, overread=True)],
    [Statement("a", confirmed=True)],
    [Statement("a", confirmed=True, confirmed_by="Dr A")],
    [Statement("a", confirmed=True, confirmed_by="Dr A on call", confirmed_time=Moment(2031, 4, 6, 8, 30, zone=60))],
    [Statement("a"), Statement("b")],
    [Statement("a"), Statement("b", confirmed=True)],
    [Statement("a", confirmed=False), Statement("b", confirmed=False), Statement("c", confirmed=True)],
    [Statement("a", confirmed=False), Statement("b", group=1, confirmed=True, confirmed_by="B")],
    [Statement("a", confirmed=True), Statement("b", group=1, confirmed=False), Statement("c")],
    [Statement("Status of the statements above: confirmed", confirmed=False)],
    [Statement("x"), Statement("Status of the statements above: confirmed")],
]


@pytest.mark.parametrize("statements", CASES)
def test_status_survives(statements):
    source = Recording((tracing(length=50),), statements=tuple(statements))
    assert read(written(source)).statements == source.statements


@pytest.mark.parametrize("statements", CASES[:10])
def test_status_needs_no_text_lines(statements):
    """Somebody who drops the acquisition context does not turn an unconfirmed reading into one without status."""
    ds = opened(written(Recording((tracing(length=50),), statements=tuple(statements))))
    ds.AcquisitionContextSequence = []
    found = read(saved(ds)).statements
    assert [(s.text, s.confirmed, s.overread) for s in found] == [(s.text, s.confirmed, s.overread) for s in statements]


def test_other_readers_see_it_among_the_annotations():
    statements = (
        Statement("Sinus rhythm", confirmed=False),
        Statement("Late", group=1, confirmed=True, confirmed_by="Dr B"),
    )
    items = opened(written(Recording((tracing(length=50),), statements=statements))).WaveformAnnotationSequence
    assert [(item.UnformattedTextValue, item.AnnotationGroupNumber) for item in items] == [
        ("Sinus rhythm", 1),
        ("Status of the statements above: not confirmed", 1),
        ("Late", 2),
        ("Status of the statements above: confirmed by Dr B", 2),
    ]
