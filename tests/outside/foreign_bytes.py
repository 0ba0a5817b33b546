#!/usr/bin/env python3
"""Bytes of an independent generator (PyPI python-escpos 3.1, its Dummy printer), for the galley.

foreign_bytes.py FILE                    writes the sample that tests/print_foreign.rs draws
foreign_bytes.py --send HOST:PORT [FILE] sends it, or another file, to a running galley
foreign_bytes.py --read PNG NUMBER       reads the codes on the picture (PyPI zxing-cpp, pillow)
"""
import socket
import sys


def sample():
    from escpos.printer import Dummy

    p = Dummy()
    p.hw("INIT")
    p.set(align="center", bold=True, double_height=True, double_width=True)
    p.textln("Tern & Thistle")
    p.set_with_default(align="left")
    p.textln("plain: 2 x Mug, tide grey")
    p.textln("Zoë Ångström, Łódź, ½ £5")
    p.set(underline=1)
    p.textln("underlined")
    p.set_with_default(invert=True)
    p.textln("white on black")
    p.set_with_default(font="b")
    p.textln("small face, 64 letters a line")
    p.set_with_default(align="right")
    p.textln("at the right")
    p.set_with_default(align="center")
    p.qr("S-442", size=6, native=True)
    p.textln("")
    p.barcode("{BS-442/1", "CODE128", height=80, width=3, pos="BELOW", function_type="B")
    p.set_with_default()
    from PIL import Image, ImageDraw

    picture = Image.new("1", (300, 60), 1)
    draw = ImageDraw.Draw(picture)
    draw.rectangle((0, 0, 299, 59), outline=0)
    draw.line((0, 0, 299, 59), fill=0)
    for implementation in ("bitImageRaster", "graphics", "bitImageColumn"):
        p.textln(implementation)
        p.image(picture, impl=implementation)
    p.cut()
    return p.output


def main(args):
    if len(args) == 1:
        with open(args[0], "wb") as file:
            file.write(sample())
    elif len(args) in (2, 3) and args[0] == "--send":
        data = sample() if len(args) == 2 else open(args[2], "rb").read()
        host, port = args[1].rsplit(":", 1)
        with socket.create_connection((host, int(port)), timeout=10) as connection:
            connection.sendall(data)
            connection.shutdown(socket.SHUT_WR)
            while connection.recv(512):
                pass
    elif len(args) == 3 and args[0] == "--read":
        import zxingcpp
        from PIL import Image

        codes = sorted(code.text for code in zxingcpp.read_barcodes(Image.open(args[1]).convert("L")))
        print(codes)
        return 0 if codes == [args[2], args[2] + "/1"] else 1
    else:
        print(__doc__, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
