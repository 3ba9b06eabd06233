#!/usr/bin/env python3
"""beside.py PROGRAM FOLDER [--seeds 1-12] [--scores LIST]: source and edition as one score.

Makes a pair of each seed (pairs.py), has PROGRAM lay it side by side in FOLDER, and
checks that the score is valid, that each lower staff is the edition's part and
each upper one the source's, moved by one interval: an audit finds nothing.
Prints what is wrong, and at the end `N right, N wrong`; exit status 1 if any is.
"""

import argparse
import json
import os
import subprocess
import sys

import files
import measure
import pairs
import validate

HERE = os.path.dirname(os.path.abspath(__file__))


def call(program, *args):
    return subprocess.run([program, "audit", *args], capture_output=True, timeout=300)


def judge(program, folder, schema, name, seed):
    """What is wrong with one pair, or None where it cannot be laid so."""
    try:
        pair = pairs.make(os.path.join(measure.corpus(), name), seed)
    except pairs.Unsuitable:
        return None
    at = [os.path.join(folder, "%s.musicxml" % side) for side in ("edition", "source", "both")]
    for path, side in zip(at, (pair.edition, pair.source)):
        files.save(path, pair.prolog, side)
    edition, source, both = at
    done = call(program, edition, source, "--format", "json", "--side-by-side", both)
    if done.returncode == 2 and b"nothing can be laid side by side" in done.stderr:
        return None
    if done.returncode:
        return ["exit status %d: %s" % (done.returncode, done.stderr.decode("utf-8", "replace"))]
    wrong = []
    error = validate.fault(schema, both)
    # What was not valid before is copied as it is.
    if error and not any(validate.fault(schema, path) for path in (edition, source)):
        wrong.append("not valid: %s" % error)
    _, root = files.load(both)
    for part in root.findall("part"):
        ident = part.get("id")
        side = ident.split("-")[1]
        alone = call(program, both, edition if side == "edition" else source, "--part", ident, "--format", "json")
        if alone.returncode:
            wrong.append("%s: %s" % (ident, alone.stderr.decode("utf-8", "replace")))
            continue
        found = [f for p in json.loads(alone.stdout)["parts"] for f in p["findings"]]
        # Where the other side goes on, a last bar is no longer the last, and what stands
        # between two bars may have come to stand beside an empty one.
        if part.find("measure/note[@print-object='no']/rest[@measure='yes']") is not None:
            found = [f for f in found if "double bar" not in (f["edition_reading"], f["source_reading"])]
        for f in found[:3]:
            keys = ("category", "status", "bar", "beat", "edition_reading", "source_reading")
            wrong.append("%s: %d findings: %s" % (ident, len(found), [f[k] for k in keys]))
    return wrong


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("program")
    parser.add_argument("folder")
    parser.add_argument("--seeds", default="1-12")
    parser.add_argument("--scores", default=os.path.join(HERE, "scores.txt"))
    args = parser.parse_args()
    first, last = (int(n) for n in args.seeds.split("-"))
    scores = measure.listed(args.scores)
    schema = validate.schema()
    right = failed = 0
    for seed in range(first, last + 1):
        name, _ = scores[seed % len(scores)]
        wrong = judge(args.program, args.folder, schema, name, seed)
        if wrong is None:
            continue
        right, failed = right + (not wrong), failed + bool(wrong)
        for line in wrong:
            print("%s, seed %d: %s" % (name, seed, line))
    print("%d right, %d wrong" % (right, failed))
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
