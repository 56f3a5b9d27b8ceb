"""The rules that a WFDB record is held to, as a table.

``header(5)``, ``signal(5)`` and ``annot(5)`` are pages of the WFDB Applications Guide; ``WPG`` is the WFDB Programmer's
Guide; ``draft v10`` is the draft specification "WFDB Header File version 10".  The conventions of this project are
described at the top of the package.
"""

from __future__ import annotations

from typing import Final

from interchange.findings import Rule

__all__ = ["BY_ID", "RULES"]

_OWN: Final = "conventions of this project (interchange.formats.wfdb)"

RULES: Final[tuple[Rule, ...]] = (
    Rule("wfdb.unreadable", "error", "the record cannot be read", "header(5)", "No sound samples can be had from it."),
    # --- the header as text
    Rule("wfdb.header-encoding", "warning", "the header is neither ASCII nor UTF-8 and was read as Latin-1",
         "draft v10", "Letters outside ASCII may be others than those that were meant."),
    Rule("wfdb.header-byte-order-mark", "warning", "the header begins with a byte order mark", "header(5)",
         "Other readers take it for a part of the record name."),
    Rule("wfdb.header-line-length", "warning", "the line is longer than 255 characters", "header(5)",
         "Other readers may cut the line."),
    Rule("wfdb.header-control", "warning", "the line holds a control character", "header(5)",
         "Control characters have no meaning in a header and can upset what shows it."),
    Rule("wfdb.comment-indented", "note", "blanks stand before the comment sign of an info string", "header(5)",
         "The reference library does not see such an info string."),
    Rule("wfdb.line-surplus", "warning", "the line is beyond the number of lines that the record line states",
         "header(5)", "The line is ignored: a signal may be missing from the record."),
    # --- the record line
    Rule("wfdb.name-suffix", "warning", "the record name carries a file name suffix", "header(5)",
         "Other readers refuse the record."),
    Rule("wfdb.name-characters", "warning", "the record name holds other characters than letters, digits, _ and -, "
         "or more than 50", "draft v10", "Other readers may refuse the record."),
    Rule("wfdb.name-differs", "warning", "the record name is not the name of the header file", "header(5)",
         "Other readers look for the record under the name of the file."),
    Rule("wfdb.rate-missing", "warning", "no sampling frequency is stated; 250 is the default", "header(5)",
         "A default that was not meant makes every time and interval wrong."),
    Rule("wfdb.number-form", "warning", "a number is not written as the format asks", "header(5)",
         "Other readers may read another value."),
    Rule("wfdb.record-field", "warning", "a field of the record line is not understood and was left aside",
         "header(5)", "What it was meant to say is not taken over."),
    Rule("wfdb.time-order", "warning", "date and time do not stand where the format wants them", "header(5)",
         "Other readers take another start time without a word."),
    Rule("wfdb.time-form", "warning", "the base time or date is not written as HH:MM:SS and DD/MM/YYYY",
         "header(5)", "Other readers refuse it or take another start time."),
    Rule("wfdb.time-value", "warning", "the base time or date is impossible and counts as not given", "header(5)",
         "The time of the recording is not known."),
    Rule("wfdb.file-stamp", "warning", "the stamp after the number of samples tells when the file was made; it is "
         "not taken as the time of the recording", "public data: PhysioNet Challenges 2020 and 2021",
         "Taken as a start time it would date the tracing wrongly."),
    Rule("wfdb.date-without-time", "warning", "a base date stands without a base time", "header(5)",
         "The time of day is not known."),
    Rule("wfdb.samples-missing", "warning", "the number of samples is not stated; the length follows from the files",
         "header(5)", "A cut file cannot be told from a whole one, and checksums say nothing."),
    # --- signal lines
    Rule("wfdb.signal-field", "warning", "a field of the signal line is not a number; it was taken for the beginning "
         "of the description", "header(5)", "Fields may have been left out: look at gain, baseline and name."),
    Rule("wfdb.gain-missing", "warning", "no ADC gain is stated: the signal is not calibrated", "header(5)",
         "Amplitudes cannot be told; 200 units per millivolt is only a customary guess."),
    Rule("wfdb.gain-negative", "warning", "the ADC gain is negative", "header(5)",
         "The signal is taken upside down, as stated; other writers refuse such a gain."),
    Rule("wfdb.units-spelling", "note", "the unit is not spelled as the format's own examples spell it", "header(5)",
         "Other readers may not know it, or drop letters outside ASCII and read another unit."),
    Rule("wfdb.units-length", "warning", "the unit is longer than 50 characters", "wfdb.h",
         "Other readers may cut or refuse it."),
    Rule("wfdb.description-length", "warning", "file name and description are longer than 80 characters together, "
         "or the description than 100", "header(5), wfdb.h", "Other readers may cut it."),
    Rule("wfdb.description-missing", "warning", "the signal has no description: its lead is not known", "header(5)",
         "A tracing of unknown lead can mislead."),
    Rule("wfdb.description-repeats", "warning", "two signals have the same description", "header(5)",
         "They cannot be told apart by name."),
    Rule("wfdb.offset-differs", "warning", "signals of one file state different byte offsets; the first counts",
         "header(5)", "The samples may be shifted."),
    Rule("wfdb.resolution", "warning", "the ADC resolution is out of range", "header(5)",
         "It is ignored."),
    Rule("wfdb.checksum-form", "note", "the checksum is written unsigned", "header(5)",
         "Readers must compare it modulo 65536."),
    Rule("wfdb.checksum-missing", "note", "no checksum is stated", "header(5)",
         "Damage to the samples cannot be noticed."),
    Rule("wfdb.initial-value", "note", "the initial value is not the first sample", "header(5)",
         "Harmless in this signal format: it counts in format 8 only."),
    Rule("wfdb.block-size", "note", "a block size is stated; files are read without blocks", "header(5)",
         "Block sizes were meant for tapes; on disk they change nothing."),
    # --- info strings
    Rule("wfdb.age-withheld", "note", "the age 300 stands for above 89 and counts as withheld", "PTB-XL data set page",
         "The true age is not in the file.", "memory"),
    Rule("wfdb.age-zero", "warning", "the age is 0: a newborn, or unknown in some archives",
         "public data: PhysioNet Challenge 2011", "Do not take it for a newborn's age without looking."),
    Rule("wfdb.comment-value", "warning", "an info string has a customary key and an impossible or empty value",
         "public data: PhysioNet Challenges", "It was kept as a remark or skipped."),
    Rule("wfdb.line", "warning", "info strings that look like this project's own lines are not understood, or "
         "contradict the rest of the header", _OWN, "They were kept as remarks."),
    Rule("wfdb.lines-stale", "warning", "info strings speak of signals or annotations that were changed since",
         _OWN, "They were left out: a name or a mark could stand on the wrong signal."),
    Rule("wfdb.layout", "warning", "the info strings that lay out the tracings do not fit the signals", _OWN,
         "The signals of one rate are taken as one tracing."),
    Rule("wfdb.further-record", "error", "a further record of this recording is not there or cannot be read",
         _OWN, "A tracing of the recording is missing."),
    Rule("wfdb.time-differs", "warning", "base time and info strings tell different start times; the base time counts",
         _OWN, "One of the two was changed after the record was written."),
    # --- signal files
    Rule("wfdb.checksum", "error", "the samples do not have the checksum that the header states", "header(5)",
         "Samples were changed after the record was written, or the header belongs to another file."),
    Rule("wfdb.file-short", "error", "the signal file holds fewer samples than the header states", "header(5)",
         "The end of the recording is missing."),
    Rule("wfdb.file-long", "warning", "the signal file holds more samples than the header states", "header(5)",
         "What lies behind the stated length is not part of the record and is not read."),
    Rule("wfdb.file-odd", "warning", "the signal file does not end with a whole frame", "signal(5)",
         "It may have been cut."),
    Rule("wfdb.file-missing", "error", "the signal file is not there", "header(5)",
         "Its signals are missing."),
    Rule("wfdb.packing-bits", "note", "bits that should be zero are set in the packed samples", "signal(5)",
         "The file may be of another format than stated."),
    Rule("wfdb.skew", "note", "samples before sample 0 were skipped, and as many are missing at the end",
         "header(5)", "The signals are aligned in time as the header asks."),
    Rule("wfdb.null-signal", "note", "the signal has no samples (format 0)", "draft v10",
         "All its samples count as missing."),
    Rule("wfdb.flac-rate", "note", "the rate field of the FLAC stream is not 96000", "signal(5)",
         "It has no meaning, but other readers may refuse the file."),
    Rule("wfdb.flac-bits", "warning", "the FLAC stream has another sample width than the format states",
         "signal(5)", "The samples are taken as the stream has them."),
    # --- segments
    Rule("wfdb.segment-missing", "error", "a segment of the record is not there; its time counts as a gap",
         "header(5)", "A part of the recording is missing."),
    Rule("wfdb.segment-length", "warning", "the segment does not have the length that the top header states",
         "header(5)", "What is missing counts as a gap; what is too much is not read."),
    Rule("wfdb.segment-sum", "warning", "the lengths of the segments do not add up to the length of the record",
         "header(5)", "The segments count."),
    Rule("wfdb.segment-rate", "warning", "the segment states another frame rate than the record", "header(5)",
         "The rate of the record counts: the times of this segment may be wrong."),
    Rule("wfdb.segment-signals", "warning", "the segment does not have the signals of a fixed layout", "header(5)",
         "Signals are put together by name; what is not there counts as missing."),
    Rule("wfdb.segment-start", "note", "the segment states a start of its own that is not where it stands in the "
         "record", "header(5)", "The place in the record counts."),
    Rule("wfdb.segment-gain", "note", "gain or baseline change between segments; the samples were brought to a "
         "common step", "WPG", "No sample has lost anything by it."),
    # --- annotation files
    Rule("wfdb.annotation-missing", "error", "an annotation file that the header names is not there", _OWN,
         "Marks of the recording are missing."),
    Rule("wfdb.annotation-changed", "warning", "an annotation file is not as it was when the header was written",
         _OWN, "Somebody edited the marks after the conversion."),
    Rule("wfdb.annotation-end", "warning", "the annotation file has no end mark", "annot(5)",
         "It may have been cut."),
    Rule("wfdb.annotation-trailing", "note", "bytes follow the end mark of the annotation file", "annot(5)",
         "They are not read."),
    Rule("wfdb.annotation-cut", "error", "the annotation file ends in the middle of an annotation", "annot(5)",
         "Annotations are missing."),
    Rule("wfdb.annotation-code", "warning", "the annotation code has no meaning in this form", "annot(5)",
         "The annotation is listed as unread."),
    Rule("wfdb.annotation-order", "warning", "annotations do not stand in the order of time", "annot(5)",
         "They were put in order; the file may be damaged."),
    Rule("wfdb.annotation-time", "warning", "an annotation lies outside the record", "annot(5)",
         "The annotation file may belong to another record."),
    Rule("wfdb.annotation-text", "note", "the text of an annotation is not 7-bit text", "WPG",
         "Letters outside ASCII may be read differently by others."),
    Rule("wfdb.annotation-form", "warning", "the annotation file is not of the MIT form", "annot(5)",
         "It is listed as unread."),
    Rule("wfdb.annotation-note", "warning", "a note for the whole annotation file is not understood", "WPG",
         "Types or times may have been meant differently."),
)  # fmt: skip
"""Every rule of this package, in the order in which a record is read."""

BY_ID: Final = {rule.id: rule for rule in RULES}
