"""One sample that breaks each rule and one, as near to it as can be, that does not."""

from dataclasses import replace
from fractions import Fraction

import numpy as np

from interchange.checks import CheckConfig, DeviceDefaults
from interchange.model import (
    Acquisition,
    Channel,
    Device,
    Filters,
    Identifier,
    Mark,
    Measurement,
    Moment,
    Patient,
    PersonName,
    Quantity,
    Recording,
    Statement,
    Tracing,
)
from tests.checks.build import (
    CHEST,
    KNOWN,
    LIMB,
    RATE,
    SAID,
    STEP,
    TWELVE,
    beat_marks,
    leads_of,
    levels,
    measured,
    potentials,
    recording,
    tracing,
    twelve,
    with_beat,
    with_channels,
    with_rows,
)

PLAIN = CheckConfig()


def some(names, **fields):
    return recording(tracing(leads_of(potentials()), names), **fields)


def rows(change):
    """Twelve leads with a change to the microvolts of some."""
    return with_rows(twelve(), change)


def patient(**fields):
    return twelve(patient=replace(KNOWN, **fields))


def acquired(**fields):
    return twelve(acquisition=replace(SAID, **fields))


def missing(*spans):
    """Twelve leads without the samples of some rows: (row, start, stop)."""
    old = twelve().tracings[0]
    mask = np.zeros(old.samples.shape, dtype=bool)
    for row, start, stop in spans:
        mask[row, start:stop] = True
    return recording(replace(old, missing=mask))


def flat(values, name, start, stop, level=0.0):
    values[name][start:stop] = level


def sine(frequency, amplitude, names=("V2",)):
    def change(values):
        t = np.arange(values["I"].size) / RATE
        for name in names:
            values[name] += amplitude * np.sin(2 * np.pi * frequency * t)

    return change


def noisy(amplitude, names=("V3",)):
    def change(values):
        random = np.random.default_rng(3)
        for name in names:
            values[name] += random.normal(scale=amplitude, size=values[name].size)

    return change


def clipped(level):
    def change(values):
        values["V5"] = np.minimum(values["V5"], level)

    return change


def spiked(height, width=1):
    def change(values):
        for name in TWELVE:
            values[name][1000 : 1000 + width] += height

    return change


def lifted(amount, name="V1"):
    def change(values):
        values[name][2600:] += amount

    return change


def three_signals(noise):
    """Eight leads and the limb leads from three signals, with so much noise of their own."""
    random = np.random.default_rng(5)
    electrodes = potentials(noise=0.0)
    source = np.linalg.svd(electrodes - electrodes.mean(axis=1, keepdims=True), full_matrices=False)
    three = (source[0][:, :3] * source[1][:3]) @ source[2][:3]
    return recording(tracing(leads_of(three + random.normal(scale=noise, size=three.shape)), step=Fraction(5)))


def scaled(factor):
    return with_channels(twelve(), step=STEP * factor)


def stepped(step):
    return recording(tracing(leads_of(potentials()), step=Fraction(step)))


def at_rate(rate):
    return recording(tracing(leads_of(potentials(rate=rate)), rate=Fraction(rate)))


def lasting(seconds):
    return recording(tracing(leads_of(potentials(seconds))))


def filtered(**fields):
    return acquired(filters=Filters(**({"highpass": Fraction(1, 20), "lowpass": Fraction(150)} | fields)))


def child(lowpass):
    made = filtered(lowpass=Fraction(lowpass))
    return made.with_(patient=replace(KNOWN, birth_date=None, age=Quantity(8, "a")))


def doubled(same):
    """V4 twice, with the same samples or with others."""
    values = leads_of(potentials())
    old = tracing(values)
    again = old.samples[[9 if same else 10]]
    return recording(
        replace(old, channels=(*old.channels, Channel("V4", step=STEP)), samples=np.vstack([old.samples, again]))
    )


def in_groups(together):
    """Twelve leads, at once or in two groups one after the other."""
    values = leads_of(potentials())
    if together:
        return recording(tracing(values))
    return recording(tracing(values, LIMB), tracing(values, CHEST, start=Fraction(10)))


def marked_calculated(origin, names=("aVR", "aVL", "aVF")):
    old = twelve().tracings[0]
    channels = tuple(replace(c, origin=origin) if c.name in names else c for c in old.channels)
    return recording(replace(old, channels=channels))


def copied(name, other):
    def change(values):
        values[name] = values[other].copy()

    return rows(change)


def moved(samples):
    """Lead II so many samples late."""

    def change(values):
        values["II"] = np.roll(values["II"], samples)

    return rows(change)


def exchanged(one, other):
    def change(values):
        values[one], values[other] = values[other], values[one]

    return rows(change)


def times(factor, *names):
    def change(values):
        for name in names:
            values[name] = values[name] * factor

    return rows(change)


def added(make, *names):
    """An independent disturbance on some leads."""

    def change(values):
        t = np.arange(values["I"].size) / RATE
        for name in names:
            values[name] = values[name] + make(t)

    return rows(change)


def with_measurements(*found, **fields):
    return twelve(measurements=found, **fields)


def quiet_levels(**other):
    """J levels that fit together."""
    return levels("j-amplitude", **({"I": 60, "II": 40, "III": -20, "aVR": -50, "aVL": 40, "aVF": 10} | other))


def unnamed(name):
    return recording(Tracing((Channel(name, step=STEP),), twelve().tracings[0].samples[:1].copy(), Fraction(RATE)))


def placed(where):
    return acquired(electrode_placement=where)


def timed(**fields):
    return acquired(time=replace(SAID.time, **fields))


def everyone(text):
    return patient(name=PersonName(text=text))


NOW = Moment(2031, 4, 5, 12, 4, Fraction(0), 0)  # 14:04:00 at +02:00
SITE = CheckConfig(defaults=DeviceDefaults(ages=(Quantity(50, "a"),), sexes=("male",)))
TWELVE_WANTED = CheckConfig(expect="standard-12")

SAMPLES = {
    # rule: (breaks it, does not), each a recording or (recording, configuration)
    "leads.incomplete": ((some(TWELVE[:11]), TWELVE_WANTED), (some(("I", "II", *CHEST)), TWELVE_WANTED)),
    "leads.twelve-incomplete": (some((*LIMB, "V1", "V2", "V4")), some((*LIMB, "V1", "V2"))),
    "leads.derivable": (some(("I", "II", *CHEST)), twelve()),
    "leads.limb-only": (some(LIMB), some((*LIMB, "V1"))),
    "leads.none": (recording(), some(("V1",))),
    "leads.unnamed": (unnamed("ECG 1"), unnamed("II")),
    "leads.twice": (doubled(same=True), twelve()),
    "leads.same-name-other-data": (doubled(same=False), doubled(same=True)),
    "leads.not-simultaneous": (in_groups(together=False), in_groups(together=True)),
    "leads.calculated": (marked_calculated("derived"), marked_calculated("recorded")),
    "leads.reconstructed": (marked_calculated("reconstructed"), marked_calculated("derived")),
    "leads.estimated": (placed("twelve-from-easi"), placed("placement-mason-likar")),
    "leads.torso-placement": (placed("placement-mason-likar"), placed("standard-12")),
    "leads.uncalibrated": (with_channels(twelve(), unit=None), twelve()),
    "leads.identical": (copied("V3", "V2"), times(1.01, "V2")),
    "leads.from-three-signals": (three_signals(0.0), three_signals(9.0)),
    "consistency.sign": (times(-1, "aVR"), twelve()),
    "consistency.unaugmented": (times(2 / 3, "aVR", "aVL", "aVF"), times(2 / 3, "V1", "V2", "V3")),
    "consistency.exchanged-names": (exchanged("aVL", "aVF"), exchanged("V1", "V2")),
    "consistency.scale": (times(2, "III"), times(2, *TWELVE)),
    "consistency.skew": (moved(2), moved(0)),
    "consistency.limb-sums": (
        added(lambda t: 300 * np.sin(2 * np.pi * 3 * t), "III"),
        added(lambda t: 30 * np.sin(2 * np.pi * 3 * t), "III"),
    ),
    "consistency.processed-apart": (
        added(lambda t: 30 * np.sin(2 * np.pi * 3 * t), "III"),
        added(lambda t: 3 * np.sin(2 * np.pi * 3 * t), "III"),
    ),
    "consistency.measured-levels": (
        with_measurements(*quiet_levels(aVR=50 + 30)),
        with_measurements(*quiet_levels(aVR=-30)),
    ),
    "quality.no-signal": (rows(lambda v: flat(v, "V6", 0, 5000)), rows(lambda v: flat(v, "V6", 0, 4000))),
    "quality.flat-stretch": (rows(lambda v: flat(v, "V6", 1000, 2000)), rows(lambda v: flat(v, "V6", 1000, 1300))),
    "quality.missing-samples": (missing((3, 100, 110)), twelve()),
    "quality.saturated": (rows(clipped(500.0)), stepped(40)),
    "quality.beyond-5-mv": (rows(lifted(5600.0, "V4")), rows(lifted(4000.0, "V4"))),
    "quality.scale-doubtful": (scaled(Fraction(1, 100)), scaled(1)),
    "quality.step": (rows(lifted(900.0)), rows(lifted(300.0))),
    "quality.steep-spike": (
        rows(spiked(1500.0)),
        rows(spiked(1500.0)).with_(marks=(Mark("pacing-spike", 0, Fraction(2)),)),
    ),
    "quality.baseline-wander": (rows(sine(0.3, 600.0)), rows(sine(0.3, 400.0))),
    "quality.some-baseline-wander": (rows(sine(0.3, 300.0)), rows(sine(0.3, 200.0))),
    "quality.mains-hum": (rows(sine(50, 80.0)), rows(sine(50, 60.0))),
    "quality.some-mains-hum": (rows(sine(60, 40.0)), rows(sine(60, 30.0))),
    "quality.high-frequency-noise": (rows(noisy(40.0)), rows(noisy(15.0))),
    "quality.said-by-source": (
        twelve(marks=(Mark("severe-noise", 0, Fraction(1), Fraction(2)),)),
        twelve(marks=(Mark("no-noise", 0, Fraction(1), Fraction(2)),)),
    ),
    "quality.unused-codes": (
        recording(replace(twelve().tracings[0], samples=twelve().tracings[0].samples * 4)),
        twelve(),
    ),
    "quality.short": (lasting(9.9), lasting(9.998)),
    "quality.very-short": (lasting(2.4), lasting(2.5)),
    "quality.sampling-rate": (at_rate(499), at_rate(500)),
    "quality.low-sampling-rate": (at_rate(200), at_rate(250)),
    "quality.resolution": (stepped(6), stepped(5)),
    "quality.coarse-resolution": (stepped(12), stepped(10)),
    "quality.high-cutoff": (filtered(lowpass=Fraction(40)), filtered(lowpass=Fraction(150))),
    "quality.high-cutoff-child": (child(150), child(250)),
    "quality.low-cutoff": (filtered(highpass=Fraction(15, 100)), filtered(highpass=Fraction(5, 100))),
    "quality.monitor-bandwidth": (
        filtered(highpass=Fraction(1, 2)),
        filtered(highpass=Fraction(1, 2), descriptions=("zero phase, forward and backward",)),
    ),
    "quality.bandwidth-unknown": (acquired(filters=None), filtered(lowpass=None)),
    "plausibility.impossible-value": (
        with_measurements(*measured(qt_interval=4)),
        with_measurements(*measured(qt_interval=700)),
    ),
    "plausibility.unusual-value": (
        with_measurements(*measured(qt_interval=750)),
        with_measurements(*measured(qt_interval=390)),
    ),
    "plausibility.rate-and-rr": (
        with_measurements(*measured(heart_rate=75, rr_interval=900)),
        with_measurements(*measured(heart_rate=75, rr_interval=801)),
    ),
    "plausibility.qtc-formula": (
        with_measurements(*measured(heart_rate=75, qt_interval=400, qtc_bazett=431)),
        with_measurements(*measured(heart_rate=75, qt_interval=400, qtc_bazett=447)),
    ),
    "plausibility.qtc-no-formula": (
        with_measurements(*measured(heart_rate=75, qt_interval=400, qtc_interval=380)),
        with_measurements(*measured(heart_rate=75, qt_interval=400, qtc_interval=430)),
    ),
    "plausibility.interval-order": (
        with_measurements(*measured(pr_interval=90, p_duration=110)),
        with_measurements(*measured(pr_interval=110, p_duration=110)),
    ),
    "plausibility.qt-and-rr": (
        with_measurements(*measured(rr_interval=400, qt_interval=520)),
        with_measurements(*measured(rr_interval=400, qt_interval=480)),
    ),
    "plausibility.qrs-axis": (
        with_measurements(
            *measured(qrs_axis=-60), *levels("r-amplitude", I=900, aVF=700), *levels("s-amplitude", I=-100, aVF=-50)
        ),
        with_measurements(
            *measured(qrs_axis=45), *levels("r-amplitude", I=900, aVF=700), *levels("s-amplitude", I=-100, aVF=-50)
        ),
    ),
    "plausibility.end-before-start": (
        twelve(marks=(Mark("t-wave", 0, Fraction(2), Fraction(19, 10)),)),
        twelve(marks=(Mark("t-wave", 0, Fraction(2), Fraction(2)),)),
    ),
    "plausibility.mark-order": (
        with_beat(twelve(), bounds={"qrs-onset": 350, "qrs-offset": 260}),
        with_beat(twelve(), bounds={"qrs-onset": 260, "qrs-offset": 350}),
    ),
    "plausibility.mark-outside": (
        twelve(marks=(Mark("r-peak", 0, Fraction(10001, 1000)),)),
        twelve(marks=(Mark("r-peak", 0, Fraction(10)),)),
    ),
    "plausibility.rate-and-beats": (
        with_measurements(*measured(heart_rate=83), marks=beat_marks()),
        with_measurements(*measured(heart_rate=79), marks=beat_marks()),
    ),
    "plausibility.interval-and-marks": (
        with_beat(twelve(), measurements=measured(qrs_duration=130)),
        with_beat(twelve(), measurements=measured(qrs_duration=100)),
    ),
    "plausibility.j-level": (
        with_beat(twelve(), measurements=levels("j-amplitude", I=200)),
        with_beat(twelve(), measurements=levels("j-amplitude", I=120)),
    ),
    "people.no-identity": (patient(ids=(), name=None), patient(ids=())),
    "people.placeholder-identity": (patient(ids=(Identifier("000000"),)), patient(ids=(Identifier("000100"),))),
    "people.identity-removed": (everyone("Anonymized"), everyone("Anna Onym")),
    "people.temporary-identity": (
        patient(ids=(Identifier("T-77", kind="temporary"),)),
        patient(ids=(Identifier("T-77", kind="national"),)),
    ),
    "people.no-age": (patient(age=None, birth_date=None), patient(age=None)),
    "people.no-sex": (patient(sex=None), patient(sex="other")),
    "people.device-default": (
        (patient(age=Quantity(50, "a"), birth_date=None), SITE),
        (patient(birth_date=None), SITE),
    ),
    "people.age-impossible": (
        patient(age=Quantity(300, "a"), birth_date=None),
        patient(age=Quantity(120, "a"), birth_date=None),
    ),
    "people.age-unusual": (
        patient(age=Quantity(112, "a"), birth_date=None),
        patient(age=Quantity(104, "a"), birth_date=None),
    ),
    "people.age-zero": (patient(age=Quantity(0, "a"), birth_date=None), patient(age=Quantity(0, "d"), birth_date=None)),
    "people.age-and-birth-date": (patient(age=Quantity(57, "a")), patient(age=Quantity(61, "a"))),
    "people.born-after-recording": (
        patient(birth_date=Moment(2031, 4, 6)),
        patient(birth_date=Moment(2031, 4, 5), age=None),
    ),
    "time.not-said": (acquired(time=None), twelve()),
    "time.partly-said": (acquired(time=Moment(2031, 4, 5)), twelve()),
    "time.no-zone": (timed(zone=None), timed(zone=0)),
    "time.in-the-future": ((timed(minute=10), CheckConfig(now=NOW)), (timed(minute=8), CheckConfig(now=NOW))),
    "time.clock-start": (timed(year=1970, month=1, day=1), timed(year=1991, month=1, day=1)),
    "time.before-1990": (timed(year=1989), timed(year=1990)),
    "time.statement-before-recording": (
        twelve(statements=(Statement("reading", time=Moment(2031, 4, 3)),)),
        twelve(statements=(Statement("reading", time=Moment(2031, 4, 5)),)),
    ),
}


def folder(*recordings):
    return [(f"{chr(97 + at)}.dcm", made) for at, made in enumerate(recordings)]


def of_device(ages):
    """Different tracings of one device with these ages."""
    made = []
    for at, age in enumerate(ages):
        samples = np.full((1, 10), at + 1, dtype=np.int16)
        acquisition = Acquisition(devices=(Device("acquiring", "Larkspur Instruments", "LF-12", "LF-00417"),))
        who = Patient(ids=(Identifier(f"P{at}"),), age=Quantity(age, "a"))
        made.append(Recording((Tracing((Channel("II"),), samples, Fraction(500)),), who, acquisition))
    return folder(*made)


SET_SAMPLES = {
    "set.same-tracing": (folder(twelve(), twelve()), folder(twelve(), times(2, *TWELVE))),
    "set.same-tracing-other-patient": (
        folder(twelve(), patient(birth_date=Moment(1971, 3, 8))),
        folder(twelve(), patient(birth_date=None)),
    ),
    "set.same-document-other-tracing": (
        folder(twelve(document_id=Identifier("D1")), times(2, *TWELVE).with_(document_id=Identifier("D1"))),
        folder(twelve(document_id=Identifier("D1")), times(2, *TWELVE).with_(document_id=Identifier("D2"))),
    ),
    "set.shared-age": (of_device([*[50] * 4, *range(60, 68)]), of_device([50, 50, *range(60, 70)])),
}

__all__ = ["SAMPLES", "SET_SAMPLES", "Measurement"]
