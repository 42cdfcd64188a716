"""A transformer that stays as it was chosen while its currents move: heated anew, not looked for anew."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from subwright.parts.library import Library
from subwright.stages.transformer_build import finish
from subwright.stages.transformer_heated import Heated, Wound, first_guess_k, heat, wind
from subwright.stages.transformer_model import Candidates
from subwright.stages.transformer_records import TransformerNeed, TransformerResult, TransformerSpec
from subwright.stages.transformer_tables import core_table

__all__ = ["HeldTransformer", "fixed_as", "hold_transformer"]


def fixed_as(spec: TransformerSpec, chosen: TransformerResult) -> TransformerSpec:
    """The same wishes with everything fixed that a search has chosen.

    Parameters
    ----------
    spec : the builder's wishes. chosen : an earlier design.
    """
    return spec.model_copy(
        update={
            "core": chosen.core.id,
            "stack": chosen.stack,
            "primary_turns": chosen.primary_turns,
            "secondary_turns": chosen.secondary_turns,
            "primary_wire": chosen.primary.wire.id,
            "secondary_wire": chosen.secondary.wire.id,
            "primary_strands": chosen.primary.strands,
            "secondary_strands": chosen.secondary.strands,
            "lay": chosen.lay,
            "interleave": chosen.interleave,
        }
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class HeldTransformer:
    """Core, turns and wires as ``chosen``; ``spec`` has them all fixed."""

    chosen: TransformerResult
    spec: TransformerSpec
    wound: Wound

    def heated(self, need: TransformerNeed, library: Library) -> Heated:
        """The same transformer with other currents.

        Parameters
        ----------
        need : as it was chosen for, but for currents, ratios and rail.
        library : parts with the drawer merged.

        Raises
        ------
        ConvergenceError : loss and temperature don't settle.
        """
        guess_k = first_guess_k(self.spec, need, self.wound, library)
        return heat(self.spec, need, self.wound, guess_k, library)

    def finished(self, need: TransformerNeed, library: Library) -> TransformerResult:
        """The whole result for other currents; how it was chosen stays as it was.

        Parameters
        ----------
        need, library : as for ``heated``.
        """
        guess_k = first_guess_k(self.spec, need, self.wound, library)
        chosen = self.chosen
        return finish(self.spec, need, library, self.wound, guess_k, chosen.search, chosen.choice)


def hold_transformer(
    spec: TransformerSpec, need: TransformerNeed, chosen: TransformerResult, library: Library
) -> HeldTransformer:
    """Hold what a search has chosen.

    Parameters
    ----------
    spec : the builder's wishes. need : what it was chosen for. chosen : the design.
    library : parts with the drawer merged.
    """
    fixed = fixed_as(spec, chosen)
    first = np.zeros(1, dtype=np.int64)
    one = Candidates(
        row=first,
        primary_turns=np.array([float(chosen.primary_turns)]),
        secondary_turns=np.array([float(chosen.secondary_turns)]),
        primary_wire=first,
        primary_strands=np.array([float(chosen.primary.strands)]),
        secondary_wire=first,
        secondary_strands=np.array([float(chosen.secondary.strands)]),
    )
    ids = (chosen.primary.wire.id, chosen.secondary.wire.id)
    table = core_table(fixed, need, library)
    return HeldTransformer(chosen=chosen, spec=fixed, wound=wind(fixed, need, table, one, ids, library))
