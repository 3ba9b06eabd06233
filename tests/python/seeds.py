#!/usr/bin/env python3
"""Writes seeds for the fuzz targets: small real scores of the installed packages
music21 and musicscore, alone and beside a copy from which things are missing.

    seeds.py FOLDER     makes FOLDER/read, FOLDER/audit and FOLDER/clean
"""

import os
import pathlib
import random
import re
import sys

import music21
import musicscore

BETWEEN = b"\n<!-- and its source -->\n"
LARGEST = 12_000


def scores():
    for package in (music21, musicscore):
        folder = pathlib.Path(package.__file__).parent
        for path in sorted(folder.rglob("*")):
            if path.suffix in (".xml", ".musicxml", ".mxl") and path.stat().st_size <= LARGEST:
                yield path, path.read_bytes()


def thinned(data, draw):
    """A copy without some of its elements."""
    names = ["note", "notations", "direction", "measure", "tie", "articulations", "backup", "attributes"]
    text = data.decode("utf-8", "surrogateescape")
    for name in draw.sample(names, 3):
        pattern = r"<%s\b[^>]*>.*?</%s>|<%s\b[^>]*/>" % (name, name, name)
        text = re.sub(pattern, lambda found: "" if draw.random() < 0.3 else found.group(0), text, flags=re.S)
    return text.encode("utf-8", "surrogateescape")


def main(folder):
    for target in ("read", "audit", "clean"):
        os.makedirs(os.path.join(folder, target), exist_ok=True)
    for number, (path, data) in enumerate(scores()):
        draw = random.Random(number)
        name = "%03d-%s" % (number, path.name)
        pathlib.Path(folder, "read", name).write_bytes(data)
        if path.suffix == ".mxl":
            continue
        pair = [data, thinned(data, draw)]
        draw.shuffle(pair)
        for target in ("audit", "clean"):
            pathlib.Path(folder, target, name).write_bytes(BETWEEN.join(pair))


if __name__ == "__main__":
    main(sys.argv[1])
