"""What differs between two recordings, whatever their formats.

The comparison walks the model field by field.  It knows nothing of formats: the receipt of a conversion is this
comparison between what went in and what was read back.
"""

import sys
from types import ModuleType
from typing import Any

from interchange.compare.difference import PROTECTED, Comparison, Difference, Protected
from interchange.compare.walk import compare_recordings

__all__ = ["PROTECTED", "Comparison", "Difference", "Protected", "compare_recordings"]


class _Compare(ModuleType):
    """This package, callable: ``interchange.compare`` is a public function as well, and importing the package would
    otherwise take the place of the function."""

    def __call__(self, first: Any, second: Any) -> Comparison:
        from interchange.api import compare

        return compare(first, second)


sys.modules[__name__].__class__ = _Compare
