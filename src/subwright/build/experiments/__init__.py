"""Named experiments on a design's own circuits: simulated, and set beside the closed forms.

An experiment is a plain value with a name, the block it tries and two functions: which cases of it a design
has, and what one case comes to. Whoever runs it chooses the engine; nothing here knows a front end.
"""

from __future__ import annotations

from subwright.build.experiments.record import Case, Check, Experiment, Outcome

__all__ = ["Case", "Check", "Experiment", "Outcome"]
