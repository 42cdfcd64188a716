"""Faults of a class-D modulator and what they do to the readings: key, words, remedy, signatures."""

from __future__ import annotations

from typing import Final

__all__ = ["MODULATOR_FAULTS"]

_STILL: Final = (
    "gate-frequency=gone amplifier-switching=gone gate-dead-time-down=gone|in|many "
    "gate-dead-time-up=gone|in|many stage-drop=gone|low|in|high|many idle-current=in|low|high|many"
)
"""Nothing switches."""
_NO_GATES: Final = (
    "gate-frequency=gone gate-dead-time-down=gone|in|many gate-dead-time-up=gone|in|many "
    "amplifier-switching=in|gone|low|high|many stage-drop=gone|low|in|high|many "
    "idle-current=in|low|high|many output-offset=in|low|high|many"
)
"""No gate moves; the node may ring."""
_FLOATS: Final = "node-rest=in|gone|low|high|many"
"""And the node may lie anywhere."""
_MAYBE: Final = (
    "gate-frequency=in|gone|low|high|many amplifier-switching=in|gone|low|high|many "
    "gate-dead-time-down=in|gone|low|high|many gate-dead-time-up=in|gone|low|high|many "
    "stage-drop=in|gone|low|high|many "
    "idle-current=in|low|high|many output-offset=in|low|high|many node-rest=in|gone|low|high|many"
)
"""It may switch or not."""

MODULATOR_FAULTS: Final[tuple[tuple[str, ...], ...]] = (
    (
        "modulator-gate-supply-wrong",
        "the drivers' supply is wrong: its zener reversed, its follower turned round, its dropper open",
        "measure base and collector of the follower; a zener forward reads 0.7 V",
        "modulator-gate-supply=gone|low modulator-logic-supply=gone|low modulator-stop=gone|low "
        "modulator-op-positive=in|gone|low modulator-reference=in|gone|low modulator-clock=in|gone|low "
        f"bootstrap-a=gone|low|in bootstrap-b=gone|low|in {_STILL} {_FLOATS}",
        "modulator-gate-supply=high|many modulator-logic-supply=in|high bootstrap-a=in|high "
        "bootstrap-b=in|high",
    ),
    (
        "modulator-logic-supply-wrong",
        "the logic's supply is wrong: its zener wrong or reversed, or the inverters draw it down",
        "take the inverters out and read again",
        f"modulator-logic-supply=gone|low modulator-stop=gone|low {_MAYBE}",
        "modulator-logic-supply=high|many modulator-stop=high|many",
    ),
    (
        "modulator-op-supply-missing",
        "a supply of op-amp and comparator is missing: its resistor or follower is open",
        "measure at both ends of the resistor, then at the case's pins",
        "modulator-op-positive=gone|low modulator-reference=gone|low modulator-clock=gone|low "
        f"{_STILL} {_FLOATS} output-offset=in|low|high|many",
        f"modulator-op-negative=gone|low {_STILL} {_FLOATS} output-offset=in|low|high|many",
    ),
    (
        "mute-silent",
        "nothing stops the drivers: the mute's transistor, resistor or inverter doesn't follow",
        "follow the mute line to the inverter's input; it must stop before anything else is tried",
        # freed before its supplies are up, a loop without a clock may wait for an edge for ever
        f"modulator-stop=gone|low modulator-gate-supply=in|low {_MAYBE}",
    ),
    (
        "mute-stuck",
        "the drivers stay stopped: the mute's way to the inverter is open",
        "read stop with the mute free: it must be low",
        f"modulator-stop-free=high|many {_STILL} {_FLOATS}",
    ),
    (
        "modulator-feedback-open",
        "the feedback from a half-bridge's node is open, or a bridge's nodes are crossed: the output lies at "
        "a rail",
        "measure from each node to its integrator resistor; with two legs swap NODE A with NODE B",
        # an upper switch that stays on empties its bootstrap capacitor
        f"{_STILL} node-rest=low|gone|high|many output-offset=low|high|many",
        f"{_STILL} node-rest=high|many bootstrap-a=gone|low output-offset=low|high|many",
        f"{_STILL} node-rest=low|gone bootstrap-b=gone|low output-offset=low|high|many",
    ),
    (
        "bootstrap-open",
        "a bootstrap capacitor is not charged: diode open or reversed, zener reversed, pre-charge missing",
        "measure across the diode, then the pre-charge or node bleed resistor",
        # without its upper switch a leg doesn't reach the upper rail
        f"bootstrap-a=gone|low bootstrap-b=in|gone|low {_MAYBE} node-rest=in|gone|low",
        f"bootstrap-a=gone|low bootstrap-b=in|gone|low {_NO_GATES} node-rest=in|gone|low",
        "bootstrap-a=in bootstrap-b=gone|low amplifier-switching=in|gone|low|high|many "
        "node-rest=in|high|many",
    ),
    (
        "dead-time-part-wrong",
        "a dead-time resistor, capacitor or diode is wrong or turned round",
        "measure them; each diode's cathode is at its capacitor",
        "gate-dead-time-down=gone|low|high|many gate-dead-time-up=gone|low|in|high|many "
        "amplifier-switching=in|high|many "
        "stage-drop=low|in|high|many idle-current=low|in|high|many",
        "gate-dead-time-down=in gate-dead-time-up=gone|low|high|many amplifier-switching=in|high|many "
        "stage-drop=low|in|high|many idle-current=low|in|high|many",
    ),
)
"""Rows for the table of faults; `subwright.build.faults` makes them."""
