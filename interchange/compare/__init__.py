"""What differs between two recordings, whatever their formats.

The comparison walks the model field by field.  It knows nothing of formats: the receipt of a conversion is this
comparison between what went in and what was read back.
"""

from interchange.compare.difference import PROTECTED, Comparison, Difference, Protected
from interchange.compare.walk import compare_recordings

__all__ = ["PROTECTED", "Comparison", "Difference", "Protected", "compare_recordings"]
