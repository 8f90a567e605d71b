"""Properties are tried on the same examples every time, so that a failure is the change's own.

`HYPOTHESIS_PROFILE=explore` draws new ones.
"""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("explore", deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "same"))
