#!/usr/bin/env python3
"""Reads the codes on our pictures with an independent decoder (PyPI zxing-cpp, Pillow).

    pip install zxing-cpp pillow
    cargo test --test slip_papers && python3 tests/outside/codes.py target/tmp/paper
    dawnslip rehearse --out rehearsal && python3 tests/outside/codes.py rehearsal

What should be on them: expected.tsv in the folder, with lines of file, format, text; without
it the text beside each picture, in which a code stands in brackets on a line of its own.
Prints "N passed, N failed"; exits 1 if one failed or none was there.
"""

import pathlib
import re
import sys

import zxingcpp
from PIL import Image

CODE = re.compile(r"^\s*\[([!-~]+)\]$", re.MULTILINE)


def expected(folder):
    """File, format (None: any), text of each code."""
    table = folder / "expected.tsv"
    if table.exists():
        return [line.split("\t") for line in table.read_text(encoding="utf-8").splitlines()]
    texts = sorted(folder.glob("*.txt"))
    return [(text.with_suffix(".png").name, None, code)
            for text in texts for code in CODE.findall(text.read_text(encoding="utf-8"))]


def main(folder):
    passed, failed = 0, 0
    for name, kind, text in expected(folder):
        image = Image.open(folder / name).convert("L")
        # Paper is white beyond the print: give the picture that margin.
        paper = Image.new("L", (image.width + 40, image.height + 40), 255)
        paper.paste(image, (20, 20))
        found = {(str(code.format).rsplit(".", 1)[-1].replace(" ", ""), code.text) for code in zxingcpp.read_barcodes(paper)}
        if any(text == read and kind in (None, form) for form, read in found):
            passed += 1
        else:
            failed += 1
            print(f"{name}: wanted {kind or 'a code'} {text!r}, found {sorted(found)}", file=sys.stderr)
    print(f"{passed} passed, {failed} failed")
    return 1 if failed or not passed else 0


if __name__ == "__main__":
    sys.exit(main(pathlib.Path(sys.argv[1])))
