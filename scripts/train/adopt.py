"""Takes trained networks into models/: ONNX files, and the manifest with hashes and curves.

usage: adopt.py OUT_OF_RUN [finder|reader|half_day]   (the folder that scripts/train/run wrote; one
network alone leaves the others as they are)

Afterwards set DIGIT_TEMPERATURE in src/vision/read.rs to the manifest's value; a test
compares the two.
"""

import hashlib
import json
import os
import shutil
import sys

ABOUT = {
    "finder": {
        "job": "marks lines of digits in a picture, cell by cell",
        "input": "1 x 16 x H/4 x W/4, luma / 127.5 - 1 of each block of 4 x 4 px, H and W multiples of 32",
        "output": "1 x 28 x H/8 x W/8, for each of four cells of 4 x 4 px: score logit; cos and sin of the "
        "reading direction; up vector x and y; log2(digit height / 12 px); signed distance to the middle "
        "line / height",
        "digit_heights_px": [5, 30],
    },
    "reader": {
        "job": "tells which character stands in each column of a rectified strip",
        "input": "1 x 1 x 32 x W, (luma - mean) / (deviation + 6) over the strip, digits "
        "between rows 6 and 26, W a multiple of 4",
        "output": "1 x 20 x 1 x W/2: logits of nothing, digit, colon, semicolon, dot, other, a digit upside "
        "down, a digit in a mirror; logits of the digits 0 to 9 given that a digit stands there; how far "
        "its middle lies below the strip's and log2 of its height, both against 20 px",
    },
    "half_day": {
        "job": "tells where around a clock AM or PM is written",
        "input": "1 x 16 x H/4 x W/4, luma / 127.5 - 1 of each block of 4 x 4 px of what lies around a level "
        "line of digits 32 px high, H and W multiples of 16",
        "output": "1 x 1 x H/8 x W/8: logit that the letters cover the middle of that block of 8 x 8 px",
    },
}


def main():
    run, models = sys.argv[1], os.path.join(os.path.dirname(__file__), "..", "..", "models")
    wanted = sys.argv[2:] or list(ABOUT)
    with open(os.path.join(models, "manifest.json")) as f:
        manifest = json.load(f)
    for name in wanted:
        about = ABOUT[name]
        source = os.path.join(run, f"{name}.onnx")
        shutil.copy(source, os.path.join(models, f"{name}.onnx"))
        with open(source, "rb") as f:
            digest = hashlib.sha256(f.read()).hexdigest()
        with open(os.path.join(run, f"{name}.json")) as f:
            training = [json.load(f)]
        if training[0]["goes_on_from"]:
            training = manifest["networks"][name]["training"] + training
        manifest["networks"][name] = {**about, "sha256": digest, "training": training}
    with open(os.path.join(models, "manifest.json"), "w") as f:
        json.dump(manifest, f, indent=1)
        f.write("\n")


if __name__ == "__main__":
    main()
