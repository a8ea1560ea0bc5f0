"""Light adds up, in a blur or within an exposure; the codes of a picture do not.

A ghost of a third of the light has 0.6 of the code, so that a 4 and a 5 that stood one after the
other look like a 9 with segments of three brightnesses.
"""

import numpy as np

# Curves from light to code of cameras and displays: 2.2 and what lies around (common practice).
CURVES = (1.8, 2.6)
# Share of pictures whose codes were blended all the same, as programs do that change a frame rate.
BLENDED = 0.15


def any_curve(rng):
    """The exponent that makes light of codes."""
    return 1.0 if rng.random() < BLENDED else rng.uniform(*CURVES)


def of_codes(codes, curve):
    """Light, 0..1, of codes 0..255."""
    return (np.clip(codes, 0, 255) / 255) ** curve


def codes_of(light, curve):
    """Codes 0..255 of light 0..1."""
    return 255 * np.clip(light, 0, 1) ** (1 / curve)
