#!/usr/bin/env python3
"""Reads the codes on our pictures with an independent decoder (PyPI zxing-cpp, Pillow).

    cargo test --test slip_papers
    pip install zxing-cpp pillow
    python3 tests/outside/codes.py target/tmp/paper

The folder holds PNGs and expected.tsv with lines of: file, format, text. Prints
"N passed, N failed"; exits 1 if one failed or none was there.
"""

import pathlib
import sys

import zxingcpp
from PIL import Image


def main(folder):
    passed, failed = 0, 0
    for line in (folder / "expected.tsv").read_text(encoding="utf-8").splitlines():
        name, kind, text = line.split("\t")
        image = Image.open(folder / name).convert("L")
        # Paper is white beyond the print: give the picture that margin.
        paper = Image.new("L", (image.width + 40, image.height + 40), 255)
        paper.paste(image, (20, 20))
        found = {(str(code.format).rsplit(".", 1)[-1].replace(" ", ""), code.text) for code in zxingcpp.read_barcodes(paper)}
        if (kind, text) in found:
            passed += 1
        else:
            failed += 1
            print(f"{name}: wanted {kind} {text!r}, found {sorted(found)}", file=sys.stderr)
    print(f"{passed} passed, {failed} failed")
    return 1 if failed or not passed else 0


if __name__ == "__main__":
    sys.exit(main(pathlib.Path(sys.argv[1])))
