"""Makes the README's small pictures from the contact sheet's papers.

dawnslip galley --sheet --out target/sheet && python deploy/pictures/make.py target/sheet
Needs Pillow.
"""

import pathlib
import sys

from PIL import Image, ImageOps

SMALL = {
    "pick-list": "pick-list",
    "slip": "slip",
    "card": "card-everyday-waves",
    "card-leaves": "card-gift-leaves",
    "card-plain": "card-everyday-plain",
    "label": "label",
}

for small, paper in SMALL.items():
    picture = Image.open(pathlib.Path(sys.argv[1]) / f"{paper}-80mm.png").convert("L")
    half = picture.resize((picture.width // 2, picture.height // 2), Image.Resampling.BOX)
    framed = ImageOps.expand(half, border=10, fill=255)
    framed.quantize(16).save(pathlib.Path(__file__).with_name(f"{small}.png"), optimize=True)
