"""What holds for every test."""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does; before numpy starts its threads

from hypothesis import HealthCheck, settings

# Random examples are never judged by the time they take. With CI set the same ones are drawn each time.
settings.register_profile(
    "steady",
    parent=settings.get_profile("ci" if os.environ.get("CI") else "default"),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("steady")
