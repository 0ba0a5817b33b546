#!/usr/bin/env python3
"""Cuts the embedded faces out of free fonts: run once, by hand; the results are kept in git.

    apt-get install fonts-ebgaramond fonts-inter fonts-noto-core fonts-noto-cjk
    npm pack @expo-google-fonts/noto-emoji   # and unpack: package/500Medium/NotoEmoji_500Medium.ttf
    pip install fonttools
    python3 make.py PATH/TO/NotoEmoji_500Medium.ttf

All sources are under the SIL Open Font License 1.1 (OFL.txt beside this file, with the
copyright lines). A changed font may not carry a reserved name, so every face gets a name
of our own ("Slip ..."); the program finds it by that name, and no font that a workshop
adds can take its place by accident.
"""

import pathlib
import sys
import unicodedata
import zlib

from fontTools import subset
from fontTools.pens.boundsPen import BoundsPen
from fontTools.ttLib import TTFont

HERE = pathlib.Path(__file__).parent
GARAMOND = "/usr/share/fonts/opentype/ebgaramond/EBGaramond"
INTER = "/usr/share/fonts/opentype/inter/Inter-"
NOTO = "/usr/share/fonts/truetype/noto/NotoSans"
CJK = "/usr/share/fonts/opentype/noto/NotoSansCJK-Regular.ttc"


def span(*pairs):
    return {c for first, last in pairs for c in range(first, last + 1)}


LATIN = span((0x20, 0x7E), (0xA0, 0x24F), (0x250, 0x2AF), (0x2B0, 0x36F), (0x1E00, 0x1EFF), (0x2000, 0x206F),
             (0x2070, 0x209F), (0x20A0, 0x20CF), (0x2100, 0x214F), (0x2150, 0x218F), (0x2190, 0x21FF),
             (0x2200, 0x22FF), (0x25A0, 0x25FF), (0x2600, 0x2604), (0x2700, 0x27BF), (0xFB00, 0xFB06), (0xFFFD, 0xFFFD))
GREEK_CYRILLIC = span((0x370, 0x3FF), (0x1F00, 0x1FFF), (0x400, 0x52F))


def codec(name, two_byte=True):
    """Every letter that an old national character set holds."""
    found = set()
    for high in range(0x81, 0xFF):
        for low in range(0x40, 0xFF):
            try:
                text = bytes([high, low]).decode(name)
            except UnicodeDecodeError:
                continue
            found |= {ord(c) for c in text if not 0xE000 <= ord(c) <= 0xF8FF}
    return found


def gb2312():
    """Rows 16 to 87: 6 763 letters; names use the rarer level 2, too."""
    found = set()
    for row in range(16, 88):
        for cell in range(1, 95):
            try:
                found.add(ord(bytes([0xA0 + row, 0xA0 + cell]).decode("gb2312")))
            except UnicodeDecodeError:
                continue
    return found


def big5_level_1():
    """A440 to C67E: the 5 401 common letters."""
    found = set()
    for high in range(0xA4, 0xC7):
        for low in list(range(0x40, 0x7F)) + list(range(0xA1, 0xFF)):
            if (high, low) <= (0xC6, 0x7E):
                found.add(ord(bytes([high, low]).decode("big5")))
    return found


# JIS X 0208 with the letters for names that cp932 adds, GB 2312, Big5 level 1, KS X 1001
# (2 350 syllables), kana, half and full width forms, and a few letters that occur in names only.
EAST_ASIA = (codec("cp932") | gb2312() | big5_level_1()
             | {c for c in codec("euc_kr") if 0xAC00 <= c <= 0xD7A3 or 0x3130 <= c <= 0x318F}
             | span((0x3000, 0x303F), (0x3040, 0x30FF), (0x31F0, 0x31FF), (0xFF01, 0xFFEF))
             | {0x20BB7, 0x20B9F, 0x9AD9, 0xFA11, 0x5586, 0x73C5, 0x5803, 0x79B9})
EAST_ASIA = {c for c in EAST_ASIA if c >= 0x2E80}

ALL = None
# name, source, number within a collection, letters (None: all)
FACES = [
    ("Slip Text", GARAMOND + "08-Regular.otf", 0, LATIN | GREEK_CYRILLIC),
    # Its Greek is blank and its Cyrillic has holes: such lines are set in Slip Text.
    ("Slip Italic", GARAMOND + "08-Italic.otf", 0, LATIN),
    ("Slip Display", GARAMOND + "12-Regular.otf", 0, LATIN | GREEK_CYRILLIC),
    ("Slip Sans", INTER + "Medium.otf", 0, LATIN | GREEK_CYRILLIC),
    ("Slip Sans Bold", INTER + "SemiBold.otf", 0, LATIN | GREEK_CYRILLIC),
    ("Slip Sans Heavy", INTER + "ExtraBold.otf", 0, span((0x20, 0x7E), (0xA0, 0x17F))),
    ("Slip Wide", NOTO + "-Regular.ttf", 0, LATIN | GREEK_CYRILLIC | span((0x1AB0, 0x1AFF), (0x1D00, 0x1DFF))),
    ("Slip Hebrew", NOTO + "Hebrew-Regular.ttf", 0, ALL),
    ("Slip Arabic", NOTO + "Arabic-Regular.ttf", 0, ALL),
    ("Slip Devanagari", NOTO + "Devanagari-Regular.ttf", 0, ALL),
    ("Slip Bengali", NOTO + "Bengali-Regular.ttf", 0, ALL),
    ("Slip Gurmukhi", NOTO + "Gurmukhi-Regular.ttf", 0, ALL),
    ("Slip Gujarati", NOTO + "Gujarati-Regular.ttf", 0, ALL),
    ("Slip Oriya", NOTO + "Oriya-Regular.ttf", 0, ALL),
    ("Slip Sinhala", NOTO + "Sinhala-Regular.ttf", 0, ALL),
    ("Slip Ethiopic", NOTO + "Ethiopic-Regular.ttf", 0, ALL),
    ("Slip Tamil", NOTO + "Tamil-Regular.ttf", 0, ALL),
    ("Slip Telugu", NOTO + "Telugu-Regular.ttf", 0, ALL),
    ("Slip Kannada", NOTO + "Kannada-Regular.ttf", 0, ALL),
    ("Slip Malayalam", NOTO + "Malayalam-Regular.ttf", 0, ALL),
    ("Slip Thai", NOTO + "Thai-Regular.ttf", 0, ALL),
    ("Slip Lao", NOTO + "Lao-Regular.ttf", 0, ALL),
    ("Slip Myanmar", NOTO + "Myanmar-Regular.ttf", 0, ALL),
    ("Slip Khmer", NOTO + "Khmer-Regular.ttf", 0, ALL),
    ("Slip Georgian", NOTO + "Georgian-Regular.ttf", 0, ALL),
    ("Slip Armenian", NOTO + "Armenian-Regular.ttf", 0, ALL),
    ("Slip Emoji", sys.argv[1], 0, ALL),
    ("Slip East Asia", CJK, 0, EAST_ASIA),
]


def rename(font, name):
    copyright_line = font["name"].getDebugName(0) or ""
    font["name"].names = []
    for number, text in [(0, copyright_line), (1, name), (2, "Regular"), (3, name), (4, name),
                         (6, name.replace(" ", "")), (13, "SIL Open Font License 1.1"),
                         (14, "https://openfontlicense.org")]:
        font["name"].setName(text, number, 3, 1, 0x409)
    # Each face is a family of one: asked for by name alone.
    font["OS/2"].usWeightClass = 400
    font["OS/2"].fsSelection = font["OS/2"].fsSelection & ~0x21 | 0x40
    font["head"].macStyle = 0
    if "CFF " in font:
        top = font["CFF "].cff
        top.fontNames = [name.replace(" ", "")]
        dictionary = top.topDictIndex[0]
        for key in ("FullName", "FamilyName", "Weight", "Notice", "Copyright"):
            if hasattr(dictionary, key):
                setattr(dictionary, key, name)


def blank(font):
    """Letters that a face claims to have and leaves white: they would vanish from the paper."""
    glyphs, found = font.getGlyphSet(), set()
    for letter, glyph in font.getBestCmap().items():
        pen = BoundsPen(glyphs)
        glyphs[glyph].draw(pen)
        if pen.bounds is None and unicodedata.category(chr(letter))[0] in "LMNPS":
            found.add(letter)
    return found


def cut(name, source, number, letters):
    options = subset.Options()
    options.hinting = True
    options.notdef_outline = True
    options.name_IDs = ["*"]
    options.drop_tables += ["DSIG", "vhea", "vmtx", "VORG", "BASE", "GPOS", "GSUB"] if name == "Slip East Asia" else ["DSIG", "BASE"]
    if name == "Slip Emoji":
        options.layout_features = ["*"]
    elif letters is not ALL:
        options.layout_features = ["kern", "liga", "ccmp", "locl", "mark", "mkmk", "lnum", "onum", "tnum", "pnum", "case", "calt"]
    else:
        options.layout_features = ["*"]
    options.desubroutinize = False
    font = TTFont(source, fontNumber=number)
    tool = subset.Subsetter(options)
    wanted = letters if letters is not ALL else set(font.getBestCmap())
    tool.populate(unicodes=wanted - blank(font))
    tool.subset(font)
    for table in font["cmap"].tables:
        # Some faces make the space that does not break too narrow for a number and its unit.
        if 0x20 in table.cmap and 0xA0 in table.cmap:
            table.cmap[0xA0] = table.cmap[0x20]
    rename(font, name)
    target = HERE / (name.lower().replace(" ", "_") + (".otf" if "CFF " in font else ".ttf"))
    font.save(target)
    if name == "Slip East Asia":
        return target.stat().st_size
    packed = target.with_name(target.name + ".zlib")
    packed.write_bytes(zlib.compress(target.read_bytes(), 9))
    target.unlink()
    return packed.stat().st_size


if __name__ == "__main__":
    total = 0
    for face in FACES:
        size = cut(*face)
        total += size
        print(f"{face[0]:16} {size:9}")
    print(f"{'together':16} {total:9}")
