"""Small complex nodal solver: the independent second route for every closed form in this package.

Modified nodal analysis [ho1975]: one row per node other than ground,
one more per branch whose current is unknown (voltage sources, controlled sources, op-amps). Dense and
vectorised over frequency; meant for tens of nodes, not for boards.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, TypeAlias

import numpy as np

from subwright.base.errors import RangeError, SubwrightError

from ._checks import Array, Complex, not_negative, positive, positive_or_open

__all__ = ["BOLTZMANN_J_PER_K", "GROUND", "Network", "NodeVoltages"]

GROUND = "0"
Kind: TypeAlias = Literal["R", "C", "L", "V", "I", "A"]
BOLTZMANN_J_PER_K = 1.380649e-23  # exact since the 2019 SI


@dataclass(frozen=True, kw_only=True, slots=True)
class _Element:
    kind: Kind
    name: str
    nodes: tuple[str, ...]
    value: float
    open_loop_gain: float = np.inf
    noise_v_per_rthz: float = 0.0
    noise_a_per_rthz: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class NodeVoltages:
    """Solution of a network: complex node voltages in V, arrays over frequency."""

    frequency_hz: Array
    names: tuple[str, ...]
    voltages_v: Complex  # shape (frequencies, nodes)

    def at(self, node: str) -> Complex:
        """Complex voltage of ``node`` in V, one value per frequency; ground is zero."""
        if node == GROUND:
            return np.zeros(self.frequency_hz.shape, dtype=complex)
        if node not in self.names:
            raise SubwrightError(message=f"The network has no node '{node}'.", remedy=f"Nodes: {self.names}")
        return self.voltages_v[:, self.names.index(node)]


@dataclass(kw_only=True, slots=True)
class Network:
    """A linear network under construction; node "0" is ground.

    Every adder returns the network, so that a circuit reads as one chain.

    Examples
    --------
    A 1 kΩ / 1 µF low-pass at its corner passes 0.7071 of the input:

    >>> net = Network().source("in").resistor("in", "out", 1e3).capacitor("out", "0", 1e-6)
    >>> abs(net.solve(159.15494309).at("out")[0]).round(6)
    np.float64(0.707107)
    """

    elements: list[_Element] = field(default_factory=list)

    def _add(self, kind: Kind, nodes: tuple[str, ...], value: float, name: str) -> Network:
        self.elements.append(_Element(kind=kind, name=self._label(kind, name), nodes=nodes, value=value))
        return self

    def _label(self, kind: Kind, name: str) -> str:
        label = name or f"{kind}{1 + sum(e.kind == kind for e in self.elements)}"
        if any(e.name == label for e in self.elements):
            raise SubwrightError(message=f"The network has two elements named '{label}'.")
        return label

    def resistor(self, a: str, b: str, resistance_ohm: float, name: str = "") -> Network:
        """Add a resistor in Ω between two nodes."""
        positive("resistance", resistance_ohm, "Ω")
        return self._add("R", (a, b), resistance_ohm, name)

    def capacitor(self, a: str, b: str, capacitance_f: float, name: str = "") -> Network:
        """Add a capacitor in F between two nodes."""
        positive("capacitance", capacitance_f, "F")
        return self._add("C", (a, b), capacitance_f, name)

    def inductor(self, a: str, b: str, inductance_h: float, name: str = "") -> Network:
        """Add an inductor in H between two nodes (its current is an unknown, so 0 Hz works)."""
        positive("inductance", inductance_h, "H")
        return self._add("L", (a, b), inductance_h, name)

    def source(self, plus: str, voltage_v: float = 1.0, minus: str = GROUND, name: str = "") -> Network:
        """Add an ideal voltage source in V (amplitude, phase 0)."""
        return self._add("V", (plus, minus), voltage_v, name)

    def current(self, into: str, current_a: float, out_of: str = GROUND, name: str = "") -> Network:
        """Add a current source in A that pushes current into node ``into``."""
        return self._add("I", (into, out_of), current_a, name)

    def op_amp(
        self,
        plus: str,
        minus: str,
        out: str,
        gbw_hz: float = np.inf,
        *,
        open_loop_gain: float = np.inf,
        noise_v_per_rthz: float = 0.0,
        noise_a_per_rthz: float = 0.0,
        name: str = "",
    ) -> Network:
        """Add an op-amp with one pole: 1/A = 1/open_loop_gain + j f / gbw_hz (Hz); infinite means ideal.

        Noise densities (V/√Hz in series with the + input, A/√Hz at each input) serve
        ``noise_density_v2_per_hz`` only.
        """
        positive_or_open("open-loop gain", open_loop_gain, "")
        positive_or_open("gain-bandwidth product", gbw_hz, "Hz")
        not_negative("op-amp noise", np.array([noise_v_per_rthz, noise_a_per_rthz]), "")
        self.elements.append(
            _Element(
                kind="A",
                name=self._label("A", name),
                nodes=(plus, minus, out),
                value=gbw_hz,
                open_loop_gain=open_loop_gain,
                noise_v_per_rthz=noise_v_per_rthz,
                noise_a_per_rthz=noise_a_per_rthz,
            )
        )
        return self

    def _layout(self) -> tuple[tuple[str, ...], tuple[_Element, ...]]:
        nodes = (node for element in self.elements for node in element.nodes if node != GROUND)
        return tuple(dict.fromkeys(nodes)), tuple(e for e in self.elements if e.kind in "VLA")

    def _matrix(self, frequency_hz: Array) -> tuple[Complex, Complex, tuple[str, ...]]:
        names, branches = self._layout()
        index = {name: i for i, name in enumerate(names)}
        size = len(names) + len(branches)
        s = 2j * np.pi * frequency_hz
        matrix = np.zeros((frequency_hz.size, size, size), dtype=complex)
        right = np.zeros((frequency_hz.size, size), dtype=complex)

        def stamp(row: str | int, column: str | int, value: complex | Array | Complex) -> None:
            i = index.get(row, -1) if isinstance(row, str) else row
            j = index.get(column, -1) if isinstance(column, str) else column
            if i >= 0 and j >= 0:
                matrix[:, i, j] += value

        for element in self.elements:
            if element.kind in "RC":
                a, b = element.nodes
                y = s * element.value if element.kind == "C" else np.full_like(s, 1.0 / element.value)
                stamp(a, a, y)
                stamp(b, b, y)
                stamp(a, b, -y)
                stamp(b, a, -y)
            elif element.kind == "I":
                for node, direction in zip(element.nodes, (1.0, -1.0), strict=True):
                    if node != GROUND:
                        right[:, index[node]] += direction * element.value
        for number, element in enumerate(branches):
            row = len(names) + number
            if element.kind == "A":
                plus, minus, out = element.nodes
                stamp(out, row, 1.0)
                stamp(row, plus, 1.0)
                stamp(row, minus, -1.0)
                stamp(row, out, -(1.0 / element.open_loop_gain + s / (2 * np.pi * element.value)))
                continue
            a, b = element.nodes
            for node, sign in ((a, 1.0), (b, -1.0)):
                stamp(node, row, sign)
                stamp(row, node, sign)
            if element.kind == "V":
                right[:, row] = element.value
            else:
                stamp(row, row, -s * element.value)
        return matrix, right, names

    def solve(self, frequency_hz: float | Array) -> NodeVoltages:
        """Node voltages at each frequency.

        Parameters
        ----------
        frequency_hz : Hz, scalar or shape (n,); 0 gives the DC solution.

        Returns
        -------
        :class:`NodeVoltages`, complex, V.

        Raises
        ------
        RangeError : the network is singular (a floating node, or an op-amp without feedback).

        Source
        ------
        [ho1975], modified nodal analysis.
        """
        frequency = np.atleast_1d(np.asarray(frequency_hz, dtype=float))
        matrix, right, names = self._matrix(frequency)
        solution = _solve(matrix, right)
        return NodeVoltages(frequency_hz=frequency, names=names, voltages_v=solution[:, : len(names)])

    def noise_density_v2_per_hz(
        self, out: str, frequency_hz: float | Array, temperature_k: float = 300.0
    ) -> dict[str, Array]:
        """Noise that each resistor and op-amp puts on one node.

        Parameters
        ----------
        out : node at which the noise is read.
        frequency_hz : Hz, > 0, scalar or shape (n,).
        temperature_k : resistor temperature, K, > 0.

        Returns
        -------
        Noise density by element, V²/Hz, each of shape (n,). Signal sources count as short circuits.

        Raises
        ------
        RangeError : the network is singular, or the temperature isn't above zero.

        Source
        ------
        Johnson–Nyquist noise 4kT/R [nyquist1928] across each resistor; all transfers from one solution of the
        adjoint network [rohrer1971].

        >>> net = Network().source("in").resistor("in", "out", 10e3, "R1").capacitor("out", "0", 1e-9)
        >>> density = net.noise_density_v2_per_hz("out", 10.0)["R1"][0]
        >>> print(f"{1e9 * density**0.5:.2f} nV/rtHz")
        12.87 nV/rtHz
        """
        positive("temperature", temperature_k, "K")
        frequency = np.atleast_1d(np.asarray(frequency_hz, dtype=float))
        matrix, _, names = self._matrix(frequency)
        _, branches = self._layout()
        pick = np.zeros(matrix.shape[:2], dtype=complex)
        pick[:, names.index(out)] = 1.0
        transfer = _solve(matrix.transpose(0, 2, 1), pick)
        zero = np.zeros(frequency.shape, dtype=complex)

        def into(node: str) -> Complex:
            return zero if node == GROUND else transfer[:, names.index(node)]

        result: dict[str, Array] = {}
        for element in self.elements:
            if element.kind == "R":
                impedance = into(element.nodes[0]) - into(element.nodes[1])
                density = np.abs(impedance) ** 2 * 4 * BOLTZMANN_J_PER_K * temperature_k / element.value
                result[element.name] = density
            elif element.kind == "A":
                by_voltage = transfer[:, len(names) + branches.index(element)]
                density = np.abs(by_voltage) ** 2 * element.noise_v_per_rthz**2
                for node in element.nodes[:2]:
                    density = density + np.abs(into(node)) ** 2 * element.noise_a_per_rthz**2
                result[element.name] = density
        return result


def _solve(matrix: Complex, right: Complex) -> Complex:
    try:
        solution: Complex = np.linalg.solve(matrix, right[..., None])[..., 0]
    except np.linalg.LinAlgError:
        raise _singular() from None
    if not np.all(np.isfinite(solution)):
        raise _singular()
    return solution


def _singular() -> RangeError:
    return RangeError(
        message="The network has no unique solution.",
        quantity="network matrix",
        value="singular",
        remedy="Give every node a path to ground and every op-amp a feedback path.",
    )
