"""Array types used throughout the acoustics modules."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = ["ComplexArray", "FloatArray", "Real"]

FloatArray: TypeAlias = NDArray[np.float64]
ComplexArray: TypeAlias = NDArray[np.complex128]
Real: TypeAlias = float | FloatArray
