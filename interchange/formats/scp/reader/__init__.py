"""From a parsed record to the model."""

from interchange.formats.scp.reader.build import build_recording
from interchange.formats.scp.reader.record import read_record

__all__ = ["build_recording", "read_record"]
