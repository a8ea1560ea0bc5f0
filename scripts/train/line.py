"""What every face draws."""

from dataclasses import dataclass

import numpy as np


@dataclass
class Line:
    """A drawn line of characters. `mask` is uint8, 255 where ink is; cells are in mask pixels."""

    mask: np.ndarray
    top: float  # of the digits; of the large ones, in a line of two sizes
    bottom: float  # of the same: the base line
    cells: list  # (character, centre_x, width, is_lit) in reading order
    spans: list = None  # (top, bottom) of the digits of each cell's size

    def __post_init__(self):
        if self.spans is None:
            self.spans = [(self.top, self.bottom)] * len(self.cells)
