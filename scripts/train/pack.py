"""Cuts fonts down to printable ASCII and photos down to 1280 px.

usage: pack.py fonts|solid-fonts|photos OUT < list of installed files

solid-fonts: only those whose digits are each in one piece, with as many holes as a digit has, since
many a font for show draws outlines, bricks or pictures.
"""

import hashlib
import os
import sys

from fontTools import subset
from fontTools.ttLib import TTFont
from PIL import Image, ImageDraw, ImageFilter, ImageFont, ImageOps

FONT_ENDINGS = (".ttf", ".otf")
PHOTO_ENDINGS = (".jpg", ".jpeg", ".png", ".webp")
LONG_SIDE_PX = 1280
NEEDED = set("0123456789:;. ")
# Holes that a digit may have. A zero may have a stroke or a dot within.
HOLES = {"0": (1, 2, 3), "4": (0, 1), "6": (0, 1), "8": (2,), "9": (0, 1)}
# Of digits drawn at this size, px, smaller spots are the corners of larger ones.
DRAWN_PX, SPOT_PX = 100, 24
PAPER, INK, DONE = 0, 255, 128


def pack_font(path, out):
    font = TTFont(path, fontNumber=0)
    if not NEEDED <= {chr(c) for c in font.getBestCmap()}:
        return False
    options = subset.Options()
    options.layout_features = []
    options.hinting = False
    cutter = subset.Subsetter(options)
    cutter.populate(text="".join(map(chr, range(32, 127))))
    cutter.subset(font)
    path = os.path.join(out, os.path.basename(path))
    font.save(path)
    if has_even_digits(path):
        return True
    os.remove(path)
    return False


def has_even_digits(path):
    """True if digits stand on one line and are as tall as each other, as on displays, and
    differ in shape: some fonts leave them empty, or let them dip below the line."""
    font = ImageFont.truetype(path, 100)
    boxes = [font.getbbox(d, anchor="ls") for d in "0123456789"]
    tops, bases = [-b[1] for b in boxes], [b[3] for b in boxes]
    shapes = {font.getmask(d).getbbox() and bytes(font.getmask(d)) for d in "0123456789"}
    return min(tops) > 0.8 * max(tops) > 0 and max(map(abs, bases)) < 0.12 * max(tops) and len(shapes) == 10


def pack_solid_font(path, out):
    if not pack_font(path, out):
        return False
    path = os.path.join(out, os.path.basename(path))
    font = ImageFont.truetype(path, DRAWN_PX)
    if all(is_solid(font, digit) for digit in "0123456789"):
        return True
    os.remove(path)
    return False


def is_solid(font, digit):
    left, top, right, bottom = font.getbbox(digit, anchor="ls")
    image = Image.new("L", (right - left + 8, bottom - top + 8), PAPER)
    ImageDraw.Draw(image).text((4 - left, 4 - top), digit, font=font, fill=INK, anchor="ls")
    # A little wider, so that pixels that touch at a corner hold together.
    image = image.point(lambda v: INK if v > 60 else PAPER).filter(ImageFilter.MaxFilter(3))
    ground = image.copy()
    ImageDraw.floodfill(ground, (0, 0), DONE)
    return spots(ground, PAPER) in HOLES.get(digit, (0,)) and (spots(image, INK) == 1 or digit == "0")


def spots(image, value):
    """How many areas of `value` there are; `image` is used up."""
    found = 0
    while box := image.point(lambda v: INK if v == value else PAPER).getbbox():
        first = next(x for x in range(box[0], box[2]) if image.getpixel((x, box[1])) == value)
        before = image.histogram()[DONE]
        ImageDraw.floodfill(image, (first, box[1]), DONE)
        found += image.histogram()[DONE] - before >= SPOT_PX
    return found


def pack_photo(path, out):
    with Image.open(path) as photo:
        if min(photo.size) < 480:
            return False
        photo = ImageOps.exif_transpose(photo.convert("RGB"))
        photo.thumbnail((LONG_SIDE_PX, LONG_SIDE_PX), Image.LANCZOS)
        name = hashlib.sha1(photo.tobytes()).hexdigest()[:16] + ".jpg"
        photo.convert("L").save(os.path.join(out, name), quality=88)
    return True


def main():
    kind, out = sys.argv[1:3]
    os.makedirs(out, exist_ok=True)
    pack, endings = {
        "fonts": (pack_font, FONT_ENDINGS),
        "solid-fonts": (pack_solid_font, FONT_ENDINGS),
        "photos": (pack_photo, PHOTO_ENDINGS),
    }[kind]
    kept = 0
    for path in map(str.strip, sys.stdin):
        if not path.lower().endswith(endings) or os.path.islink(path):
            continue
        try:
            kept += pack(path, out)
        except Exception as problem:  # one odd file must not stop the rest
            print(f"left out {path}: {problem}", file=sys.stderr)
    print(f"{out}: {kept} {kind}")


if __name__ == "__main__":
    main()
