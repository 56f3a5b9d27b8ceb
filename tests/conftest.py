"""Property tests draw the same examples every time; ``HYPOTHESIS_PROFILE=explore`` draws new ones.

Every time means: with the same tests before them, since constants of the modules that are loaded are drawn too.
"""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("same", derandomize=True)
settings.register_profile("explore", derandomize=False)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "same"))
