"""Holds the fonts that measure, choose and tune apart from those of training, and those that measure
from all others, by their digits: many fonts are made of others, so that packages with two names may
hold one face.

usage: apart.py ASSETS   (as scripts/train/assets packs them; the fonts that measure are installed)

Prints, for each font that measures and for those near another one, how far its digits cover those of
the nearest other one, and fails if that is too much.
"""

import os
import re
import sys

import numpy as np
from PIL import Image, ImageDraw, ImageFont

# Shared ink over all ink, the mean of ten digits. The same face by another name had 0.96. Faces that
# share no more than the usual shape of digits have up to 0.87, bitmaps of 8 x 16 dots 0.89.
ALIKE = 0.92
# Above this the pair is named, for a person to look up: a face drawn anew after another had 0.86.
NEAR = 0.84
HIGH_PX, WIDEST_PX = 64, 96


def digits(path):
    """The ten digits, each as tall as all others, float32 of 10 x HIGH_PX x WIDEST_PX; None without."""
    try:
        font = ImageFont.truetype(path, 200)
    except OSError:
        return None
    drawn = np.zeros((10, HIGH_PX, WIDEST_PX), np.float32)
    for value in range(10):
        x0, y0, x1, y1 = font.getbbox(str(value))
        if min(x1 - x0, y1 - y0) < 5:
            return None
        image = Image.new("L", (x1 - x0, y1 - y0), 0)
        ImageDraw.Draw(image).text((-x0, -y0), str(value), font=font, fill=255)
        width = min(WIDEST_PX, max(1, round((x1 - x0) * HIGH_PX / (y1 - y0))))
        left = (WIDEST_PX - width) // 2
        drawn[value, :, left : left + width] = np.asarray(image.resize((width, HIGH_PX), Image.LANCZOS)) / 255
    return drawn


def shared(one, other):
    """Shared ink over all ink, the mean of the digits."""
    return float((np.minimum(one, other).sum((1, 2)) / np.maximum(one, other).sum((1, 2))).mean())


def files(folder):
    return sorted(os.path.join(at, name) for at, _, names in os.walk(folder) for name in names)


def main():
    assets = sys.argv[1]
    faces = open("src/rehearse/faces.rs", encoding="utf-8").read()
    measuring = sorted(set(re.findall(r'"(/usr/share/fonts/[^"]+)"', faces)))
    def drawn(*kinds):
        faces = {path: digits(path) for kind in kinds for path in files(os.path.join(assets, kind))}
        return {path: face for path, face in faces.items() if face is not None}

    training, asides = drawn("train/fonts", "train/odd_fonts"), drawn("tune/fonts", "choose/fonts")
    if not measuring or len(training) < 100 or not asides:
        sys.exit("apart.py: no fonts to compare; run scripts/train/assets")
    measured = {path: digits(path) for path in measuring}
    for path, face in measured.items():
        if face is None:
            sys.exit(f"apart.py: {path} is missing or has no digits; run scripts/setup")
    failed = False
    for some, others in ((measured, training | asides), (asides, training)):
        for path, own in some.items():
            share, nearest = max((shared(own, face), other) for other, face in others.items())
            word = "ALIKE" if share >= ALIKE else "near" if share >= NEAR else ""
            failed |= share >= ALIKE
            if word or some is measured:
                print(f"{share:.2f} {word:5} {os.path.basename(path)}  {os.path.relpath(nearest, assets)}")
    if failed:
        sys.exit("apart.py: a font that measures, chooses or tunes is another one by another name; take another")


if __name__ == "__main__":
    main()
