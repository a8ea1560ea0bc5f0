"""Shows the frames that `cargo bench --bench reading` kept to other readers of text.

usage: readers.py KEEP_DIR PICTURE.png

Prints a table of frames read exactly, kind by kind, and draws it. Ours is as the bench
wrote it into KEEP_DIR/frames.tsv. Tesseract: Debian's tesseract-ocr, sparse text (--psm 11).
RapidOCR: PyPI's rapidocr-onnxruntime with the networks it brings, one thread. Both get the
whole frame. A frame counts as read if the digits shown stand, marks and spaces left out, in
one piece of text or in two that follow each other: two lines.
"""

import csv
import os
import re
import subprocess
import sys
import time

import matplotlib

matplotlib.use("Agg")
from matplotlib import pyplot  # noqa: E402
from rapidocr_onnxruntime import RapidOCR  # noqa: E402

COLOURS = {"Rollmark": "#1b6e8c", "RapidOCR": "#d99a2b", "Tesseract": "#8a8a8a"}


def tesseract(path):
    command = ["tesseract", path, "-", "--psm", "11"]
    text = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    return [line for line in text.splitlines() if line.strip()]


def rapidocr():
    engine = RapidOCR(intra_op_num_threads=1, inter_op_num_threads=1)

    def read(path):
        found, _ = engine(path)
        return [text for _, text, _ in found or []]

    return read


def holds(pieces, shown):
    digits = [re.sub(r"[^0-9A-Za-z]", "", p) for p in pieces]
    joined = digits + [a + b for a, b in zip(digits, digits[1:])]
    return any(s in text for text in joined for s in shown)


def read_all(folder):
    """Frames of each kind, and of each reader those read exactly; seconds each took for all."""
    others = {"RapidOCR": rapidocr(), "Tesseract": tesseract}
    frames, exact, seconds = {}, {name: {} for name in COLOURS}, dict.fromkeys(others, 0.0)
    with open(os.path.join(folder, "frames.tsv")) as listing:
        for row in csv.DictReader(listing, delimiter="\t"):
            kind, shown = row["kind"], row["shown"].split(" ")
            frames[kind] = frames.get(kind, 0) + 1
            is_read = {"Rollmark": row["read"] == "1"}
            for name, read in others.items():
                began = time.perf_counter()
                is_read[name] = holds(read(os.path.join(folder, row["file"])), shown)
                seconds[name] += time.perf_counter() - began
            for name, right in is_read.items():
                exact[name][kind] = exact[name].get(kind, 0) + right
    return frames, exact, seconds


def draw(frames, exact, path):
    kinds = list(frames)
    figure, axes = pyplot.subplots(figsize=(7.2, 0.25 * len(kinds)))
    for row, (name, colour) in enumerate(COLOURS.items()):
        middles = [len(kinds) - i + 0.27 * (1 - row) for i in range(len(kinds))]
        shares = [100 * exact[name][kind] / frames[kind] for kind in kinds]
        axes.barh(middles, shares, height=0.26, color=colour, label=name)
    axes.set_yticks([len(kinds) - i for i in range(len(kinds))], kinds, fontsize=8)
    axes.set_ylim(0.4, len(kinds) + 0.6)
    axes.set_xlim(0, 100)
    axes.set_xlabel("frames read exactly, %")
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncol=3, frameon=False, fontsize=9)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.grid(axis="x", color="#dddddd")
    axes.set_axisbelow(True)
    figure.tight_layout()
    figure.savefig(path, dpi=100)


def main():
    folder, picture = sys.argv[1:3]
    os.environ["OMP_THREAD_LIMIT"] = "1"
    frames, exact, seconds = read_all(folder)
    print("| of each kind | " + " | ".join(COLOURS) + " |")
    print("|---" * (1 + len(COLOURS)) + "|")
    for kind, count in frames.items():
        cells = [str(exact[name][kind]) for name in COLOURS]
        print(f"| {kind} ({count}) | " + " | ".join(cells) + " |")
    total = sum(frames.values())
    print(f"| **all {total}** | " + " | ".join(f"**{sum(exact[n].values())}**" for n in COLOURS) + " |")
    for name, spent in seconds.items():
        print(f"{name}: {spent / total:.2f} s a frame")
    draw(frames, exact, picture)


if __name__ == "__main__":
    main()
