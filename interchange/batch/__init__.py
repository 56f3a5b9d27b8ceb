"""Whole archives: find, convert or check in parallel, journal, resume, manifest.

The parent finds recordings and keeps the books; workers get names and give back a few words per recording.  Samples
never travel between processes.  Every result is written to the journal before it counts, so that a killed run goes on
where it was; outputs appear whole (see :mod:`interchange.publish`), and what was in flight is done again with the same
bytes.
"""

from interchange.batch.find import Found, find_recordings
from interchange.batch.job import Job, Outcome, Settings
from interchange.batch.run import BatchResult, run_batch

__all__ = ["BatchResult", "Found", "Job", "Outcome", "Settings", "find_recordings", "run_batch"]
