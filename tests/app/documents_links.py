"""What the documents link and show is there, and every drawing is one. For documents_test.py."""
import os
import re
import shutil
import subprocess
import xml.etree.ElementTree as xml

import documents_sources as src
from documents_checks import BENCHES, FINDINGS, README, SOURCES, WRITING, check

SVG = "{http://www.w3.org/2000/svg}"


def slug(heading):
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


def links():
    drawn = set()
    for document, folder in ((WRITING, ""), (BENCHES, ""), (FINDINGS, ""), (README, SOURCES)):
        for name, target in re.findall(r"\[([^\]]*)\]\(([^)\s]+)\)", src.text_of(document)):
            file, _, anchor = target.partition("#")
            path = os.path.normpath(os.path.join(folder or os.path.dirname(document), file))
            good = os.path.exists(path) and not target.startswith(("http:", "https:"))
            if good and anchor:
                good = anchor in [slug(h) for h in re.findall(r"^#+ (.*)$", src.text_of(path), re.M)]
            check("link %s of %s" % (target, os.path.relpath(document, SOURCES)), good, name)
            if file.endswith(".svg"):
                drawn.add(path)
    all_drawings = set(src.sources("examples/drawings/*.svg"))
    check("every drawing is shown, every shown drawing exists", drawn == all_drawings,
          drawn ^ all_drawings)
    for path in sorted(all_drawings):
        drawing(path)


def drawing(path):
    name = os.path.basename(path)
    try:
        root = xml.parse(path).getroot()
    except xml.ParseError as error:
        return check(name + ": well-formed", False, error)
    box = [float(v) for v in root.get("viewBox").split()]
    first = root.find(SVG + "rect")
    check(name + ": a background of its own", root.tag == SVG + "svg" and first is not None and
          first.get("fill") == "#ffffff" and float(first.get("width")) == box[2] and
          float(first.get("height")) == box[3])
    words = [e for e in root.iter(SVG + "text")]
    inside = [0 <= float(e.get("x")) <= box[2] and 0 < float(e.get("y")) < box[3] for e in words]
    check(name + ": text as text, inside the picture", len(words) > 5 and all(inside))
    check(name + ": told in words", root.find(SVG + "title") is not None and
          root.find(SVG + "desc") is not None)
    if shutil.which("rsvg-convert"):
        picture = subprocess.run(["rsvg-convert", path], stdout=subprocess.PIPE)
        check(name + ": is drawn", picture.returncode == 0 and len(picture.stdout) > 3000)
