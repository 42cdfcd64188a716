"""What breaks each rule of the boost converter, starting from the harvest wagon."""

from __future__ import annotations

from typing import Any

from subwright.stages.common import Corner, Level

_PLAN = "boost.plan"

BREAKS_BOOST: dict[str, list[tuple[dict[str, Any], str]]] = {
    # code: (changes, severity; "" the rule's own)
    "TOP-01": [({"amplifier.rail_needed_v": 55.0}, "")],
    "BST-01": [({"boost.set_v": 16.2}, "")],
    "BST-02": [({"boost.duty_room": 0.03}, "")],
    "BST-03": [({"boost.holds_from_v": 11.9}, "")],
    "BST-04": [
        ({"boost.drain_peak_v": 61.0}, ""),
        ({f"{_PLAN}.guard.most_v": 63.0}, ""),
        ({f"{_PLAN}.demand.pulse_v": 65.0}, ""),
    ],
    "BST-05": [({"boost.reverse_peak_v": 104.0}, "")],
    "BST-06": [({"boost.diode_mean_a": 45.0}, "")],
    "BST-07": [
        ({f"{_PLAN}.choke.flux_crest_t": 0.31}, ""),
        ({f"{_PLAN}.choke.flux_fault_t": 0.40}, ""),
    ],
    "BST-08": [({f"boost.choke_c.{Level.PROGRAMME.value}": 118.0}, "")],
    "BST-09": [({"boost.input_ripple_a": 9.0}, ""), ({"boost.rail_ripple_a": 21.0}, "")],
    "BST-10": [({f"{_PLAN}.guard.most_v": 52.0}, "")],
    "BST-11": [({"boost.precharge.plain_peak_a": 700.0}, "")],
    "BST-12": [({"boost.disconnect": "fuse"}, "")],
    "BST-13": [({"heat.air_c": 108.0}, "")],
    "BST-14": [({f"boost.efficiency.{Corner.NOMINAL.value}": 0.84}, "")],
    "BST-15": [({"boost.corners.*.limit_a": 44.0}, "")],
    "BST-16": [({f"{_PLAN}.sense.slope_v_per_s": 9e3}, "")],
    "BST-17": [({"boost.loop.crossover_hz": 1600.0}, "")],
    "BST-18": [({"boost.loop.phase_margin_deg": 38.0}, ""), ({"boost.loop.gain_margin_db": 5.0}, "")],
    "BST-19": [({"boost.bass_ripple_v": 1.4}, "")],
    "BST-20": [({f"{_PLAN}.guard.least_v": 31.0}, "")],
    "BST-21": [({"boost.start_v": 8.1}, "")],
    "BST-22": [({"boost.gate_v_low": 7.2}, "")],
}
