#!/usr/bin/env python3
"""Editions with known amounts of editing, and whether `rank` finds their order and their sources.

    ranks.py order PROGRAM [--scores LIST] [--count 20] [--seed 1]
    ranks.py sources PROGRAM [--corpus 300] [--editions 100] [--seed 1]

`order` makes eight editions of each score: none, 1, 5, 20 and 60 marks, an octave, an ending of its own, another key.
`sources` makes editions of the corpus in other keys, of some parts or some bars, and lets `--sources` look for them.
Prints JSON.
"""

import argparse
import copy
import json
import os
import random
import subprocess
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor

import files
from deeds import Deeds
from editor import Editor
from measure import HERE, corpus, listed
from moving import Impossible, Interval, move

# From the most faithful on: marks, deeds, steps and semitones.
AMOUNTS = [
    ("none", 0, (), None), ("one-mark", 1, (), None), ("five-marks", 5, (), None), ("twenty-marks", 20, (), None),
    ("sixty-marks", 60, (), None), ("octave", 0, ("octaves",), None), ("ending", 0, ("ending",), None),
    ("key", 0, (), Interval(2, 3)),
]


def edited(root, marks, deeds, interval, seed):
    """A copy with so much of an editor in it, or None where that finds no place."""
    root, rng = copy.deepcopy(root), random.Random(seed)
    if interval:
        move(root, interval)
    closed = set()
    if deeds:
        work = Deeds(root, rng)
        if work.work(deeds, 1):
            return None
        closed = work.closed
    if Editor(root, rng, closed).work(marks):
        return None
    return root


def run(program, *args):
    done = subprocess.run([program, "rank", *args, "--format", "json"], capture_output=True, timeout=3000)
    if done.returncode:
        raise RuntimeError("exit status %d: %s" % (done.returncode, done.stderr.decode("utf-8", "replace")[-400:]))
    return json.loads(done.stdout)


def ordered(job):
    """The names in the order of `rank`, or None where the score takes not all amounts."""
    program, score, seed = job
    prolog, root = files.load(score)
    with tempfile.TemporaryDirectory() as folder:
        files.save(os.path.join(folder, "source.musicxml"), prolog, root)
        editions = os.path.join(folder, "editions")
        os.mkdir(editions)
        # Their names must not help.
        names = [name for name, *_ in AMOUNTS]
        random.Random(seed).shuffle(names)
        for name, marks, deeds, interval in AMOUNTS:
            try:
                made = edited(root, marks, deeds, interval, seed)
            except (Impossible, ValueError):
                made = None
            if made is None:
                return None
            files.save(os.path.join(editions, "%d.musicxml" % names.index(name)), prolog, made)
        told = run(program, os.path.join(folder, "source.musicxml"), editions)
        place = lambda e: int(os.path.basename(e["file"]).split(".")[0])
        return [(names[place(e)], e["rank"]) for e in told["editions"]]


def order(options):
    scores = [os.path.join(corpus(), name) for name, _ in listed(options.scores)]
    wanted = [(name, place + 1) for place, (name, *_) in enumerate(AMOUNTS)]
    right, wrong, tried = 0, {}, 0
    with ProcessPoolExecutor() as pool:
        for score, found in zip(scores, pool.map(ordered, [(options.program, s, options.seed) for s in scores])):
            if found is None or tried == options.count:
                continue
            tried += 1
            if found == wanted:
                right += 1
            else:
                wrong[os.path.relpath(score, corpus())] = found
    return {"sources": tried, "right": right, "wrong": wrong}


def some_parts(root, rng):
    """Leaves some of the parts."""
    parts = root.findall("part")
    kept = {p.get("id") for p in rng.sample(parts, rng.randint(1, len(parts)))}
    for part in parts:
        if part.get("id") not in kept:
            root.remove(part)
    listing = root.find("part-list")
    for el in list(listing):
        if el.tag == "part-group" or el.tag == "score-part" and el.get("id") not in kept:
            listing.remove(el)


def sources(options):
    """Editions of scores of a folder; which of them find their own."""
    rng = random.Random(options.seed)
    every = []
    for folder, _, names in os.walk(corpus()):
        every += [os.path.join(folder, n) for n in names if n.endswith((".mxl", ".xml", ".musicxml"))]
    every.sort()
    rng.shuffle(every)
    told = {"editions": 0, "found": 0, "unsure": 0, "wrong": [], "wrong_but_unsure": [], "none": []}
    with tempfile.TemporaryDirectory() as folder:
        library, editions = os.path.join(folder, "library"), os.path.join(folder, "editions")
        os.mkdir(library)
        os.mkdir(editions)
        own, count = {}, 0
        for score in every:
            if count == options.corpus:
                break
            try:
                prolog, root = files.load(score)
            except Exception:
                continue
            if root.tag != "score-partwise" or sum(1 for _ in root.iter("pitch")) < 40:
                continue
            name = os.path.join(library, "%03d.musicxml" % count)
            files.save(name, prolog, root)
            if count < options.editions:
                made = edition(root, rng)
                if made is not None:
                    file = os.path.join(editions, "%03d.musicxml" % rng.randrange(1000, 10 ** 9))
                    files.save(file, prolog, made)
                    own[file] = (name, os.path.relpath(score, corpus()))
            count += 1
        ranked = run(options.program, "--sources", library, editions)
        for found in ranked["editions"]:
            name, score = own[found["file"]]
            told["editions"] += 1
            if found["source"] == name:
                told["found"] += 1
                told["unsure"] += not found["sure"]
            elif found["source"] is None:
                told["none"].append((score, found["fault"], found["parts"] if "parts" in found else None))
            else:
                among = name in [c["file"] for c in found.get("candidates", [])]
                told["wrong_but_unsure" if not found["sure"] else "wrong"].append((score, among, found["candidates"][:2]))
        told["library"] = count
    return told


def edition(root, rng):
    """In another key or not, all of it or some parts, with marks and deeds."""
    root = copy.deepcopy(root)
    try:
        if rng.random() < 0.6:
            move(root, rng.choice([Interval(1, 2), Interval(-1, -2), Interval(2, 3), Interval(3, 5), Interval(-3, -5)]))
    except (Impossible, ValueError):
        return None
    if rng.random() < 0.5:
        some_parts(root, rng)
    try:
        work = Deeds(root, rng)
        work.work(rng.sample(["octaves", "ending", "wrong-notes", "cut"], 2), 1)
        Editor(root, rng, work.closed).work(20)
    except (Impossible, ValueError, StopIteration, IndexError):
        return None
    return root


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=["order", "sources"])
    parser.add_argument("program")
    parser.add_argument("--scores", default=os.path.join(HERE, "scores.txt"))
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--corpus", type=int, default=300)
    parser.add_argument("--editions", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    json.dump({"order": order, "sources": sources}[options.what](options), sys.stdout, indent=1)
    print()


if __name__ == "__main__":
    main()
