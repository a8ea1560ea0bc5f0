"""What every face draws."""

from dataclasses import dataclass

import numpy as np


@dataclass
class Line:
    """A drawn line of characters. `mask` is uint8, 255 where ink is; cells are in mask pixels."""

    mask: np.ndarray
    top: float  # of the digits
    bottom: float  # of the digits: the base line
    cells: list  # (character, centre_x, width, is_lit) in reading order
