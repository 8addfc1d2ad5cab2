"""How hard the property tests look: HYPOTHESIS_PROFILE is `quick` (default) or `thorough`."""

import os

from hypothesis import settings

# Quick runs are the same every time, so that a change never fails for another change's example.
settings.register_profile("quick", max_examples=50, deadline=None, derandomize=True)
settings.register_profile("thorough", max_examples=2000, deadline=None, print_blob=True)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "quick"))
