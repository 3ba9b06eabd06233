#!/usr/bin/env python3
"""Writes seeds for the fuzz targets: small real scores of the installed packages
music21 and musicscore, alone and beside a copy from which things are missing; and
pairs of poly_pairs.py, made of a few bars of scores with several lines.

    seeds.py FOLDER     makes FOLDER/read, FOLDER/audit and FOLDER/clean
"""

import os
import pathlib
import random
import re
import sys
import tempfile

import music21
import musicscore

import files
import measure
import poly
import poly_pairs

BETWEEN = b"\n<!-- and its source -->\n"
WITH = b"\n<!-- tried with -->\n"
LARGEST = 12_000
# Of a pair; the fuzz targets take no more than 30 000 bytes.
LARGEST_PAIR = 28_000
PAIRS = 60


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


def shortened(path, bars):
    """The first bars of a score, without its layout."""
    prolog, root = files.load(path)
    for part in root.findall("part"):
        for measure in part.findall("measure")[bars:]:
            part.remove(measure)
    for el in list(root.iter()):
        el.tail = None
        if len(el):
            el.text = None
        for name in [n for n in el.attrib if n.endswith(("-x", "-y")) or n == "width"]:
            del el.attrib[name]
        for child in [c for c in el if c.tag in ("credit", "defaults", "identification", "print", "beam", "stem", "sound")]:
            el.remove(child)
    return prolog, root


def pairs_of_several_lines():
    """(name, pair) with the bytes that choose lines and options."""
    scores = [score for score, _ in measure.listed(poly.SCORES)]
    with tempfile.TemporaryDirectory() as folder:
        short, edition, source = (os.path.join(folder, n) for n in ("score.musicxml", "edition.xml", "source.xml"))
        for seed in range(8 * PAIRS):
            draw = random.Random(seed)
            score = scores[seed % len(scores)]
            files.save(short, *shortened(os.path.join(measure.corpus(), score), draw.randint(2, 8)))
            if os.path.getsize(short) > LARGEST:
                continue
            try:
                pair = poly_pairs.make(short, seed, seed % 4 == 0)
            except Exception:
                continue    # too few bars for what it was to do
            poly_pairs.pairs.write(pair, edition, source)
            both = BETWEEN.join(pathlib.Path(side).read_bytes() for side in (edition, source))
            options = draw.randbytes(40) if seed % 3 else b""
            if len(both) <= LARGEST_PAIR:
                yield "several-%03d" % seed, both + (WITH + options if options else b"")


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
    for _, (name, pair) in zip(range(PAIRS), pairs_of_several_lines()):
        for target in ("audit", "clean"):
            pathlib.Path(folder, target, name).write_bytes(pair)


if __name__ == "__main__":
    main(sys.argv[1])
