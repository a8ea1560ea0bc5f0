"""Shows the frames that `cargo bench --bench reading` kept to other readers of text.

usage: read_by_others.py KEEP_DIR tesseract|rapidocr

Tesseract: Debian's tesseract-ocr, sparse text (--psm 11). RapidOCR: PyPI's
rapidocr-onnxruntime with the networks it brings, one thread. Both get the whole frame. A
frame counts as read if the digits shown stand, marks and spaces left out, in one piece of
text or in two that follow each other: two lines.
"""

import os
import re
import subprocess
import sys
import time


def tesseract(path):
    command = ["tesseract", path, "-", "--psm", "11"]
    text = subprocess.run(command, capture_output=True, text=True, check=False).stdout
    return [line for line in text.splitlines() if line.strip()]


def rapidocr():
    from rapidocr_onnxruntime import RapidOCR

    engine = RapidOCR(intra_op_num_threads=1, inter_op_num_threads=1)

    def read(path):
        found, _ = engine(path)
        return [text for _, text, _ in found or []]

    return read


def holds(pieces, shown):
    digits = [re.sub(r"[^0-9A-Za-z]", "", p) for p in pieces]
    joined = digits + [a + b for a, b in zip(digits, digits[1:])]
    return any(s in text for text in joined for s in shown)


def main():
    folder, which = sys.argv[1:3]
    os.environ["OMP_THREAD_LIMIT"] = "1"
    read = tesseract if which == "tesseract" else rapidocr()
    rows = {}
    with open(os.path.join(folder, "frames.tsv")) as listing:
        next(listing)
        for line in listing:
            name, kind, shown, _ = line.rstrip("\n").split("\t")
            began = time.perf_counter()
            pieces = read(os.path.join(folder, name))
            row = rows.setdefault(kind, [0, 0, 0.0])
            row[0] += 1
            row[1] += holds(pieces, shown.split(" "))
            row[2] += time.perf_counter() - began
    for kind, (frames, exact, seconds) in rows.items():
        print(f"{kind}\t{frames}\t{exact}\t{1e3 * seconds / frames:.0f} ms")


if __name__ == "__main__":
    main()
