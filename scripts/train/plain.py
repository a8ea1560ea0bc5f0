#!/usr/bin/env python3
"""Frames that show a clock plainly, in fonts that no network is trained on.

usage: plain.py FONTS OUT [COUNT [SEED [boxed]]]   (FONTS: a folder of fonts, target/train/assets/choose/fonts)

Writes NUMBER.png and `frames.tsv` into OUT, for `scripts/bench frames OUT`. Networks are chosen by
them, so they measure nothing else. What the clock shows is easy but for its shapes: large enough,
level or nearly so, with little blur and noise. `boxed` puts every digit, or every two, in a box.
"""

import random
import sys
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont

from scenes import families

FRAME_PX = (960, 540)
DIGIT_PX = (14, 16, 20, 28, 40, 60)
# Drawn this much larger than shown, for smooth edges.
FINER = 4


def clock(rng, path, h, is_boxed):
    """A clock's text on a ground, `FINER` times as large, and the text."""
    text = ":".join(f"{rng.randrange(most):02}" for most in (24, 60, 60, 25))
    size = 100 * h * FINER / -ImageFont.truetype(str(path), 100).getbbox("0", anchor="ls")[1]
    font = ImageFont.truetype(str(path), round(size))
    widest = max(font.getlength(digit) for digit in "0123456789")
    is_even = is_boxed or rng.random() < 0.5
    airy = rng.uniform(1.25, 1.8) if is_boxed else 1  # widths of a digit from one to the next
    steps = [widest * airy if is_even and c.isdigit() else font.getlength(c) for c in text]
    ground = rng.choice([0, 10, 30, 235, 255])
    ink = 255 - ground
    if rng.random() < 0.4:
        ink = rng.randrange(120, 256) if ground < 100 else rng.randrange(130)
    image = Image.new("L", (int(sum(steps) + 3 * h * FINER), 3 * h * FINER), ground)
    draw, x = ImageDraw.Draw(image), 1.5 * h * FINER
    crease = boxes(rng, draw, text, steps, h * FINER, ground, ink) if is_boxed else None
    for c, step in zip(text, steps):
        draw.text((x + step / 2, 2 * h * FINER), c, font=font, fill=ink, anchor="ms")
        x += step
    if crease:
        draw.line((0, 1.5 * h * FINER, image.width, 1.5 * h * FINER), fill=ground, width=round(crease))
    return image, text


def boxes(rng, draw, text, steps, h, ground, ink):
    """Draws a box under every digit, or under every two, of digits `h` pixels tall whose feet stand at
    `2 * h`: one of another shade, or its edge alone. Returns the width of a crease across them all, if any."""
    of_two = rng.random() < 0.4
    is_edge = rng.random() < 0.35
    shade = round(ground + (ink - ground) * rng.uniform(0.1, 0.6))
    margin, radius = h * rng.uniform(0.15, 0.4), h * rng.choice([0, 0.1, 0.25])
    edge = max(3, round(h * rng.uniform(0.03, 0.08)))
    x, left = 1.5 * h, None
    for number, (c, step) in enumerate(zip(text, steps)):
        if c.isdigit():
            left = x if left is None else left
            if not of_two or not text[number + 1 : number + 2].isdigit():
                box = (left + 0.04 * h, h - margin, x + step - 0.04 * h, 2 * h + margin)
                look = {"outline": ink, "width": edge} if is_edge else {"fill": shade}
                draw.rounded_rectangle(box, radius, **look)
                left = None
        x += step
    return h * rng.uniform(0.02, 0.05) if rng.random() < 0.3 else None


def scenery(rng, size):
    """Soft shades of grey."""
    across, down = (np.linspace(0, 2 * np.pi, n) for n in size)
    waves = [np.sin(axis * rng.uniform(0.5, 3) + rng.uniform(0, 6)) for axis in (across, down)]
    return rng.randrange(40, 200) + 40 * waves[0][None, :] + 30 * waves[1][:, None]


def frame(rng, path, is_boxed):
    h = rng.choice(DIGIT_PX)
    image, text = clock(rng, path, h, is_boxed)
    scale = min(1 / FINER, 0.95 * FRAME_PX[0] / image.width)
    image = image.resize((int(image.width * scale), int(image.height * scale)), Image.BOX)
    room = [1 - part / whole for part, whole in zip(image.size, FRAME_PX)]
    turn = rng.uniform(-8, 8) * min(1, 2 * room[0])
    sides = [np.asarray(part.rotate(turn, Image.BICUBIC, expand=True), float)
             for part in (image, Image.new("L", image.size, 255))]  # fmt: skip
    pixels, cover = sides[0], sides[1] / 255
    canvas = scenery(rng, FRAME_PX)
    top, left = (int(rng.uniform(0.1, 0.9) * max(0, whole - part)) for part, whole in zip(pixels.shape, canvas.shape))
    part = canvas[top : top + pixels.shape[0], left : left + pixels.shape[1]]
    pixels, cover = (values[: part.shape[0], : part.shape[1]] for values in (pixels, cover))
    part[:] = part * (1 - cover) + pixels
    blur = ImageFilter.GaussianBlur(rng.choice([0.3, 0.6, 0.05 * h]))
    canvas = np.asarray(Image.fromarray(np.clip(canvas, 0, 255).astype(np.uint8)).filter(blur), float)
    noise = np.random.default_rng(rng.randrange(1 << 30)).normal(0, rng.choice([1, 3, 6]), canvas.shape)
    canvas = canvas * rng.uniform(0.6, 1) + rng.uniform(0, 25) + noise
    return Image.fromarray(np.clip(canvas, 0, 255).astype(np.uint8)), text


def main():
    fonts, out = Path(sys.argv[1]), Path(sys.argv[2])
    count, seed = (int(sys.argv[i]) if len(sys.argv) > i else default for i, default in ((3, 600), (4, 1)))
    is_boxed = sys.argv[5:] == ["boxed"]
    of_family = families(fonts)
    out.mkdir(parents=True)
    lines = ["file\tkind\tshown\tread"]
    for number in range(count):
        rng = random.Random(1000 * seed + number)
        family = rng.choice(sorted(of_family))
        image, text = frame(rng, rng.choice(of_family[family]), is_boxed)
        image.save(out / f"{number:04}.png")
        lines.append(f"{number:04}.png\t{family}\t{text.replace(':', '')}\t1")
    (out / "frames.tsv").write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
