"""A transformer that stays as it was chosen while its currents move: heated anew, not looked for anew."""

from __future__ import annotations

from dataclasses import dataclass

from subwright.parts.library import Library
from subwright.stages.transformer_build import finish
from subwright.stages.transformer_heated import GUESS_SHARE, Heated, Wound, first_guess_k, heat
from subwright.stages.transformer_records import (
    SearchStatistics,
    TransformerNeed,
    TransformerResult,
    TransformerSpec,
)

__all__ = ["HeldTransformer"]


@dataclass(frozen=True, kw_only=True, slots=True)
class HeldTransformer:
    """Core, turns and wires that a search has settled, and what it says about them."""

    spec: TransformerSpec  # the builder's wishes
    wound: Wound
    search: SearchStatistics
    searched: TransformerNeed  # what the search was for
    searched_k: float  # and the rise at the hottest permitted temperature that it found, K
    choice: tuple[str, ...]

    @property
    def primary_turns(self) -> int:
        """Turns of one half-primary."""
        return int(self.wound.one.primary_turns[0])

    @property
    def secondary_turns(self) -> int:
        """Turns of one half-secondary."""
        return int(self.wound.one.secondary_turns[0])

    def with_core(self) -> TransformerSpec:
        """The builder's wishes with this core and stack fixed; a search over them takes milliseconds."""
        return self.spec.model_copy(update={"core": self.wound.core.id, "stack": self.wound.stack})

    def with_everything(self) -> TransformerSpec:
        """The builder's wishes with everything fixed as it is here."""
        table, one, row = self.wound.table, self.wound.one, self.wound.row
        sandwich = table.interfaces[row] > 1 and self.secondary_turns > 1
        return self.with_core().model_copy(
            update={
                "primary_turns": self.primary_turns,
                "secondary_turns": self.secondary_turns,
                "primary_wire": self.wound.wire_ids[0],
                "secondary_wire": self.wound.wire_ids[1],
                "primary_strands": int(one.primary_strands[0]),
                "secondary_strands": int(one.secondary_strands[0]),
                "lay": "twisted" if table.twisted[row] else "flat",
                "interleave": "sandwich" if sandwich else "plain",
            }
        )

    def heated(self, need: TransformerNeed, library: Library, last_c: float | None = None) -> Heated:
        """The same transformer with other currents.

        Parameters
        ----------
        need : as it was chosen for, but for currents, ratios and rail.
        library : parts with the drawer merged.
        last_c : its temperature at currents close to these, °C; None begins from none.

        Raises
        ------
        ConvergenceError : loss and temperature don't settle.
        """
        guess_k = self._guess_k(need, library) if last_c is None else 0.0
        return heat(self.spec, need, self.wound, guess_k, library, last_c=last_c)

    def _guess_k(self, need: TransformerNeed, library: Library) -> float:
        if need is self.searched:
            return self.searched_k
        return first_guess_k(self.spec, need, self.wound, library)

    def finished(
        self, need: TransformerNeed, library: Library, last_c: float | None = None
    ) -> TransformerResult:
        """The whole result for other currents; how it was chosen stays as it was.

        Parameters
        ----------
        need, library, last_c : as for ``heated``.
        """
        guess_k = self._guess_k(need, library) if last_c is None else (last_c - need.ambient_c) / GUESS_SHARE
        return finish(self.spec, need, library, self.wound, guess_k, self.search, self.choice)
