"""Whatever the recording: no exception, the same answer twice, a report that is plain data, nothing changed."""

import json
from fractions import Fraction

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interchange.checks import CheckConfig, build_report, check_collection, check_recording, summary_of
from interchange.derive import derive
from interchange.errors import RefusedError
from interchange.leads import LIMB_LEADS
from interchange.model import Moment
from tests.everything import everything
from tests.filled import filled_recording
from tests.strategies import full

NOW = CheckConfig(now=Moment(2026, 1, 1, 12, 0, Fraction(0), 0))
FEW = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))


@FEW
@given(full(), st.sampled_from([None, "standard-12", "limb-6", "frank-xyz", "monitor-5", "pads"]))
def test_every_recording_gets_a_report(recording, expect):
    report = build_report(recording, (), expect, NOW)
    assert report == build_report(recording, (), expect, NOW)
    assert json.loads(json.dumps(report.as_json()))["status"] == report.status
    assert report.verdict.endswith(".")
    assert sum(len(found) for _, found in report.groups()) == len(report.findings)
    assert check_collection([summary_of(recording, "a"), summary_of(recording, "b")]) is not None


@FEW
@given(full())
def test_every_recording_keeps_what_it_has_when_leads_are_derived(recording):
    try:
        made = derive(recording)
    except RefusedError:
        return
    for old, new in zip(recording.tracings, made.tracings, strict=True):
        kept = [at for at, channel in enumerate(new.channels) if channel in old.channels]
        assert [new.channels[at] for at in kept] == list(old.channels)
        assert new.take(kept) == old
        for at, channel in enumerate(new.channels):
            if at not in kept:
                assert channel.origin == "derived"
                assert channel.name in LIMB_LEADS
    assert derive(made) is made or derive(made) == made


def test_recordings_with_every_field_set():
    for made in (everything(), filled_recording()):
        assert check_recording(made, NOW) == check_recording(made, NOW)
        json.dumps(build_report(made, (), "standard-12", NOW).as_json())
