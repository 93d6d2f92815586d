"""What every test stands on: the same examples in every run, and nothing of the machine it runs on."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

# A law is tried on the same examples wherever it is tried, however slow the machine is. New ones are looked for by
# hand: python -m pytest --hypothesis-profile=hunt
settings.register_profile("same", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("hunt", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("same")

for _name in ("http_proxy", "https_proxy", "all_proxy", "SOURCE_DATE_EPOCH", "NO_COLOR", "FORCE_COLOR", "COLUMNS"):
    for _either in (_name, _name.upper()):
        os.environ.pop(_either, None)
