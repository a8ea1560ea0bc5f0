"""Lines in two sizes: large hours and minutes before small seconds or frames."""

import math

import numpy as np

from line import Line
from screens import lay

# Heights of small digits, of the large ones'.
LEAST, MOST = 0.38, 0.8
# Share of the lines in which two groups are small.
TWO_GROUPS = 0.15


class TwoSizes:
    """A face that draws the last groups of a line smaller."""

    def __init__(self, rng, face):
        self.face = face
        self.share = math.exp(rng.uniform(math.log(LEAST), math.log(MOST)))
        # Where the small digits stand, from the base line of the large ones (0) to their tops (1).
        self.seat = rng.choice([0.0, 0.5, 1.0, rng.random()], p=[0.5, 0.2, 0.15, 0.15])
        self.groups = 2 if rng.random() < TWO_GROUPS else 1
        self.is_mark_small = rng.random() < 0.5
        self.gap = rng.uniform(0.0, 0.15)
        self.space = rng.uniform(0.1, 0.5)

    def draw(self, text, h, dark=()):
        marks = [i for i, ch in enumerate(text) if ch in ":;. "]
        if len(marks) < self.groups:
            return self.face.draw(text, h, dark)
        mark = marks[-self.groups]
        at = mark if self.is_mark_small else mark + 1
        if text[mark] == " ":  # belongs to neither
            before, after = text[:mark], text[mark + 1 :]
        else:
            before, after = text[:at], text[at:]
        if not before or not after:
            return self.face.draw(text, h, dark)
        skipped = len(text) - len(after)
        large = self.face.draw(before, h, {i for i in dark if i < len(before)})
        small = self.face.draw(after, h * self.share, {i - skipped for i in dark if i >= skipped})
        tall, short = large.bottom - large.top, small.bottom - small.top
        (_, last, its_width, _), (_, first, width, _) = large.cells[-1], small.cells[0]
        apart = tall * (self.space if text[mark] == " " else self.gap)
        right = max(0, round(last + its_width / 2 + apart - first + width / 2))
        down = round(large.bottom - small.bottom - self.seat * (tall - short))
        shape = (large.mask.shape[0], max(large.mask.shape[1], right + small.mask.shape[1]))
        mask = np.zeros(shape, np.float32)
        lay(mask, large.mask, 0, 0, 255)
        lay(mask, small.mask, right, down, 255)
        cells = large.cells + [(ch, x + right, w, is_lit) for ch, x, w, is_lit in small.cells]
        spans = large.spans + [(small.top + down, small.bottom + down)] * len(small.cells)
        return Line(mask.astype(np.uint8), large.top, large.bottom, cells, spans)
