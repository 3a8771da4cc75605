#!/usr/bin/python3
"""Labels as a scanner sees them: written by label_write, drawn by rsvg-convert and pdftoppm at
the 203 dots an inch of a common label printer, read back by zbarimg.
Usage: label_check.py PATH/OF/label_write"""
import os
import pathlib
import re
import subprocess
import sys
import tempfile

DPI = 203
IDS = ["01JDKX7Q4MZ8T5V6W7X8Y9ABCD", "01ARZ3NDEKTSV4RRFFQ69G5FAV", "7ZZZZZZZZZZZZZZZZZZZZZZZZZ"]
SIZES = [(62, 29), (40, 20), (100, 50), (30, 15)]
failed = []


def check(name, good, more=""):
    if not good:
        failed.append(name)
        print("FAILED", name, more)


def run(*command, **more):
    return subprocess.run([str(c) for c in command], capture_output=True, timeout=60, **more)


def write(program, folder, identity, size, verdict="accept", serial="SN-4711", **more):
    svg, pdf = folder / "label.svg", folder / "label.pdf"
    for old in (svg, pdf):
        old.unlink(missing_ok=True)
    return svg, pdf, run(program, identity, serial, "L-2024-20", verdict, *size, svg, pdf, **more)


def drawn(svg, pdf, folder):
    """Both as grey pictures of DPI dots an inch."""
    one, two = folder / "svg.png", folder / "pdf"
    run("rsvg-convert", "--dpi-x", DPI, "--dpi-y", DPI, "-o", one, svg, check=True)
    run("pdftoppm", "-r", DPI, "-gray", "-png", "-singlefile", pdf, two, check=True)
    return [one, folder / "pdf.png"]


def pixels(png):
    head = png.read_bytes()[16:24]
    return int.from_bytes(head[:4], "big"), int.from_bytes(head[4:], "big")


def codes(png):
    out = run("zbarimg", "--quiet", "--raw", "-Sdisable", "-Sqrcode.enable", png)
    return out.stdout.decode().split("\n")[:-1]


def check_reading(program, folder):
    seen = 0
    for identity in IDS:
        for size in SIZES:
            for verdict in ("accept", "reject", "hold"):
                name = f"{identity} {size[0]} x {size[1]} {verdict}"
                svg, pdf, wrote = write(program, folder, identity, size, verdict)
                check(name, wrote.returncode == 0, wrote.stderr)
                for png in drawn(svg, pdf, folder):
                    check(name + " " + png.name, codes(png) == [identity], codes(png))
                    wanted = [mm / 25.4 * DPI for mm in size]
                    check(name + " pixels", all(abs(a - b) <= 1 for a, b in zip(pixels(png), wanted)),
                          pixels(png))
                    seen += 1
    print(seen, "pictures read back")


def check_hostile(program, folder):
    serial = "\u202e<&\"'\x1b[2J" + "W" * 5000
    svg, pdf, wrote = write(program, folder, IDS[0], (62, 29), serial=serial)
    check("hostile serial", wrote.returncode == 0, wrote.stderr)
    check("hostile text", b"\x1b" not in wrote.stdout and b"\xe2\x80\xae" not in wrote.stdout)
    for png in drawn(svg, pdf, folder):
        check("hostile serial " + png.name, codes(png) == [IDS[0]], codes(png))


def check_refusals(program, folder):
    for name, identity, size, words in [
            ("modules", "a" * 64, (30, 15), b"scanners want 0.33 mm"),
            ("size", IDS[0], (29, 15), b"30 to 200 wide"), ("id", "a b", (62, 29), b"visible ASCII")]:
        svg, pdf, wrote = write(program, folder, identity, size)
        check("refused: " + name, wrote.returncode == 3 and words in wrote.stderr, wrote.stderr)
        check("nothing left of: " + name, not svg.exists() and not pdf.exists())


def check_no_font(program, folder):
    """A machine without fonts is told as such, or the drawing library's own letters serve: never
    a label without words."""
    empty = folder / "fonts"
    empty.mkdir()
    settings = folder / "fonts.conf"
    settings.write_text(f"<fontconfig><dir>{empty}</dir><cachedir>{empty}</cachedir></fontconfig>")
    svg, _, wrote = write(program, folder, IDS[0], (62, 29),
                          env={**os.environ, "FONTCONFIG_FILE": str(settings)})
    told = wrote.returncode == 3 and b"no sans-serif font" in wrote.stderr
    rows = [] if told else re.findall(r' d="([^"]{300,})"', svg.read_text())
    check("no font", told or len(rows) >= 7, (wrote.returncode, wrote.stderr))


def check_bytes(program, folder):
    """Two processes at different times write the same."""
    both = []
    for _ in range(2):
        svg, pdf, _ = write(program, folder, IDS[0], (62, 29))
        both.append((svg.read_bytes(), pdf.read_bytes()))
    check("same bytes", both[0] == both[1])
    check("no date", not re.search(rb"/(Creation|Mod)Date", both[0][1]))


def main():
    program = pathlib.Path(sys.argv[1]).resolve()
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        for step in (check_reading, check_hostile, check_refusals, check_no_font, check_bytes):
            step(program, folder)
    print("failed:", len(failed))
    return 1 if failed else 0


sys.exit(main())
