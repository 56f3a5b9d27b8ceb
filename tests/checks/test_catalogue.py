"""The catalogue of rules against its samples, its tables and its own promises."""

import re
from dataclasses import replace
from fractions import Fraction

import pytest

from interchange.checks import RULES, CheckConfig, check_collection, check_recording, limits, summary_of, thresholds
from interchange.checks.report import AREAS
from interchange.findings import SEVERITIES
from interchange.vocabulary import concept
from tests.checks.samples import SAMPLES, SET_SAMPLES

BY_ID = {rule.id: rule for rule in RULES}


def fired(sample):
    recording, config = sample if isinstance(sample, tuple) else (sample, CheckConfig())
    return {finding.rule for finding in check_recording(recording, config)}


def fired_in_set(sample):
    return {finding.rule for finding in check_collection(summary_of(made, name) for name, made in sample)}


@pytest.mark.parametrize("rule", sorted(SAMPLES))
def test_rule_fires_on_its_bad_sample_and_not_on_its_good_one(rule):
    bad, good = SAMPLES[rule]
    assert rule in fired(bad)
    assert rule not in fired(good)


@pytest.mark.parametrize("rule", sorted(SET_SAMPLES))
def test_rule_on_sets_fires_on_its_bad_sample_and_not_on_its_good_one(rule):
    bad, good = SET_SAMPLES[rule]
    assert rule in fired_in_set(bad)
    assert rule not in fired_in_set(good)


def test_every_rule_has_samples_and_every_sample_a_rule():
    assert {*SAMPLES, *SET_SAMPLES} == set(BY_ID)
    assert len(BY_ID) == len(RULES)


def test_ids_are_readable_and_their_areas_known():
    for rule in RULES:
        assert re.fullmatch(r"[a-z]+\.[a-z0-9]+(-[a-z0-9]+)*", rule.id)
        assert rule.id.partition(".")[0] in dict(AREAS)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
def test_rule_says_what_is_wrong_what_follows_and_where_it_is_written(rule):
    assert rule.severity in SEVERITIES
    assert rule.reason[0].islower() or rule.reason[:2].isupper() or rule.reason.startswith("QT ")
    assert not rule.reason.endswith(".")
    assert rule.why[0].isupper()
    assert rule.why.endswith((".", ".)"))
    assert rule.clause


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
def test_severity_never_says_more_than_is_known(rule):
    if rule.severity == "error":
        assert rule.confidence in ("seen", "computed")
    if rule.confidence == "proposal":
        assert "this project" in rule.clause
    if rule.confidence == "unsure":
        assert rule.severity == "note"


@pytest.mark.parametrize("rule", ["quality.flat-stretch", "quality.sampling-rate"])
def test_a_finding_says_that_its_clause_is_a_proposal_or_from_memory(rule):
    bad, _ = SAMPLES[rule]
    clause = next(f.clause for f in check_recording(bad) if f.rule == rule)
    assert clause.endswith("from memory]") or "this project" in clause


def test_no_rule_quotes_text_from_the_recording():
    """Channel labels, names and ids of the samples never come back in a finding."""
    for sample in (s for pair in SAMPLES.values() for s in pair):
        recording, config = sample if isinstance(sample, tuple) else (sample, CheckConfig())
        told = " ".join(f"{f.place} {f.reason}" for f in check_recording(recording, config))
        for text in ("Okafor", "Marlis", "K-48213", "LF-00417", "Anonymized", "ECG 1", "T-77"):
            assert text not in told


def test_limits_are_ordered_and_speak_of_concepts_in_their_units():
    for (name, scope), limit in limits().items():
        assert limit.possible[0] <= limit.usual[0] <= limit.usual[1] <= limit.possible[1]
        if scope != "patient":
            assert concept(name, scope).unit == limit.unit


def test_thresholds_say_where_they_are_from():
    for row in thresholds().values():
        assert row.value >= 0
        assert row.unit
        assert row.meaning
        assert row.confidence in ("SEEN", "MEMORY", "PROPOSAL")
        assert (row.source == "project") == (row.confidence == "PROPOSAL")


DECIDES = {
    "residual-rms": "consistency.limb-sums",
    "residual-peak": "consistency.limb-sums",
    "level-difference": "consistency.measured-levels",
    "flat-range": "quality.no-signal",
    "flat-seconds": "quality.flat-stretch",
    "saturated-seconds": "quality.saturated",
    "saturated-edge": "quality.saturated",
    "deviation": "quality.beyond-5-mv",
    "scale-low": "quality.scale-doubtful",
    "scale-high": "quality.scale-doubtful",
    "wander-band": "quality.baseline-wander",
    "wander": "quality.baseline-wander",
    "wander-mild": "quality.some-baseline-wander",
    "mains": "quality.mains-hum",
    "mains-mild": "quality.some-mains-hum",
    "mains-prominence": "quality.some-mains-hum",
    "noise-band": "quality.high-frequency-noise",
    "noise": "quality.high-frequency-noise",
    "spike-slope": "quality.steep-spike",
    "step": "quality.step",
    "stretches": "quality.high-frequency-noise",
    "duration": "quality.short",
    "duration-short": "quality.very-short",
    "rate": "quality.sampling-rate",
    "rate-low": "quality.low-sampling-rate",
    "resolution": "quality.resolution",
    "resolution-coarse": "quality.coarse-resolution",
    "high-cutoff": "quality.high-cutoff",
    "high-cutoff-child": "quality.high-cutoff-child",
    "child-age": "quality.high-cutoff-child",
    "low-cutoff": "quality.low-cutoff",
    "low-cutoff-monitor": "quality.monitor-bandwidth",
    "rate-times-rr": "plausibility.rate-and-rr",
    "rate-times-rr-beats": "plausibility.rate-and-rr",
    "qtc": "plausibility.qtc-formula",
    "qtc-any": "plausibility.qtc-no-formula",
    "qt-beyond-rr": "plausibility.qt-and-rr",
    "heart-rate": "plausibility.rate-and-beats",
    "heart-rate-beats": "plausibility.rate-and-beats",
    "interval-marks": "plausibility.interval-and-marks",
    "level": "plausibility.j-level",
    "axis": "plausibility.qrs-axis",
    "axis-amplitude": "plausibility.qrs-axis",
    "future": "time.in-the-future",
}
ELSEWHERE = {"flat-seconds-all", "shared-age", "shared-age-tracings"}


@pytest.mark.parametrize("name", sorted(DECIDES))
def test_threshold_decides_about_its_rule(name):
    """Zero or a huge value in its place changes whether the rule fires on one of its samples."""
    rule = DECIDES[name]
    changed = False
    for sample in SAMPLES[rule]:
        recording, config = sample if isinstance(sample, tuple) else (sample, CheckConfig())
        for value in (Fraction(0), Fraction(10**9)):
            other = replace(config, thresholds={name: value})
            changed = changed or (rule in fired((recording, other))) != (rule in fired(sample))
    assert changed


def test_every_threshold_decides_something():
    assert {*DECIDES, *ELSEWHERE} == set(thresholds())


def test_findings_come_in_the_same_order_every_time():
    for sample in (s for pair in SAMPLES.values() for s in pair):
        recording, config = sample if isinstance(sample, tuple) else (sample, CheckConfig())
        assert check_recording(recording, config) == check_recording(recording, config)
