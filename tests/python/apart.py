#!/usr/bin/env python3
"""Cleans editions whose editor is known, with his additions set apart instead of taken out.

    apart.py PROGRAM [--scores LIST] [--seeds 1-40] [--json FILE]

Each seed makes a pair (pairs.py). For `bracket` and `color`: the copy is music by the
schema where both scores were, a second cleaning changes no byte, the copy has the notes of
the plain clean copy and all its marks, added slurs and hairpins are dashed, and cleaned
once more without additions it is the plain clean copy again, in notes and in marks as
content.py reads them. Prints what was wrong, and the figures.
"""

import argparse
import collections
import json
import os
import subprocess
import tempfile
from concurrent.futures import ProcessPoolExecutor

import cleaning
import content
import files
import measure
import pairs

WAYS = ("bracket", "color")


class Wrong(Exception):
    """The program did not do what it should."""


def clean(program, edition, source, target, additions):
    done = subprocess.run([program, "clean", edition, source, "-o", target, "--additions", additions],
                          capture_output=True, timeout=300)
    if done.returncode:
        raise Wrong("clean --additions %s: exit status %d: %s" % (
            additions, done.returncode, done.stderr.decode("utf-8", "replace")[-400:]))
    return files.read_bytes(target)


def held(path):
    """Notes and marks as multisets, each with its part and bar."""
    _, root = files.load(path)
    notes, marks = collections.Counter(), collections.Counter()
    for part in content.content(root)["parts"]:
        for index, bar in enumerate(part["bars"]):
            for kind, into in (("notes", notes), ("cues", notes), ("marks", marks)):
                into.update((part["id"], index, kind, json.dumps(line)) for line in bar[kind])
    return notes, marks


def music(data):
    """All behind the head of a score, in which a copy says what it was made of."""
    return data.partition(b"<part-list>")[2]


def dashed(path):
    """How many slurs and hairpins of a score are dashed."""
    _, root = files.load(path)
    return sum(el.get("line-type") == "dashed" for name in ("slur", "wedge") for el in root.iter(name))


def lines(marks):
    """How many of some marks are slurs and hairpins."""
    return sum(times for entry, times in marks.items()
               if json.loads(entry[3])[0] in ("slur", "hairpin") and json.loads(entry[3])[2] != "stop")


def some(counter):
    return "; ".join(" ".join(map(str, entry)) for entry in list(counter.elements())[:3])


def judge(program, folder, told):
    def at(name):
        return os.path.join(folder, name + ".musicxml")
    edition, source = at("edition"), at("source")
    both_valid = all(cleaning.valid(path)[0] for path in (edition, source))
    plain = clean(program, edition, source, at("strip"), "strip")
    notes, marks = held(at("strip"))
    for way in WAYS:
        copy = clean(program, edition, source, at(way), way)
        own_notes, own_marks = held(at(way))
        told["set apart"] += sum((own_marks - marks).values())
        # Grace notes that were added are marks, too, and stay.
        more = [entry for entry in own_notes - notes if not json.loads(entry[3])[-1]]
        if more or notes - own_notes:
            told["wrong"].append("%s: other notes: %s / %s" % (way, more[:3], some(notes - own_notes)))
        if marks - own_marks:
            told["wrong"].append("%s: marks of the source are missing: %s" % (way, some(marks - own_marks)))
        fresh, wanted = dashed(at(way)) - dashed(edition), lines(own_marks - marks)
        told["dashed"] += fresh
        if fresh != wanted:
            told["wrong"].append("%s: %d slurs and hairpins stay, %d are dashed" % (way, wanted, fresh))
        if both_valid:
            told["validated"] += 1
            good, fault = cleaning.valid(at(way))
            if not good:
                told["wrong"].append("%s: not valid: %s" % (way, fault))
        if clean(program, at(way), source, at("again"), way) != copy:
            told["wrong"].append("%s: a second cleaning changes the copy" % way)
        stripped = clean(program, at(way), source, at("stripped"), "strip")
        told["same bytes"] += way == "bracket" and music(stripped) == music(plain)
        for kind, wanted, found in zip(("notes", "marks"), (notes, marks), held(at("stripped"))):
            if wanted != found:
                told["wrong"].append("%s, then strip: other %s: %s / %s" % (
                    way, kind, some(found - wanted), some(wanted - found)))


def run(task):
    program, score, seed = task
    told = {"score": score, "seed": seed, "wrong": [], "set apart": 0, "dashed": 0, "validated": 0, "same bytes": 0}
    pair = pairs.make(os.path.join(measure.corpus(), score), seed)
    with tempfile.TemporaryDirectory() as folder:
        pairs.write(pair, os.path.join(folder, "edition.musicxml"), os.path.join(folder, "source.musicxml"))
        try:
            judge(program, folder, told)
        except (Wrong, subprocess.TimeoutExpired) as error:
            told["wrong"].append(str(error))
    return told


def main():
    options = argparse.ArgumentParser(description="Cleans editions with the additions set apart.")
    options.add_argument("program")
    options.add_argument("--scores", default=os.path.join(measure.HERE, "scores.txt"))
    options.add_argument("--seeds", default="1-40", help="1-999 to work with, 1000 and up to measure")
    options.add_argument("--json", help="also write all figures there")
    options.add_argument("--workers", type=int, default=os.cpu_count())
    given = options.parse_args()
    scores = [name for name, _ in measure.listed(given.scores)]
    tasks = [(given.program, scores[seed % len(scores)], seed) for seed in measure.span(given.seeds)]
    with ProcessPoolExecutor(given.workers) as pool:
        results = list(pool.map(run, tasks))
    for told in results:
        for wrong in told["wrong"]:
            print("%s %d: %s" % (told["score"], told["seed"], wrong))
    figures = {name: sum(told[name] for told in results) for name in ("set apart", "dashed", "validated", "same bytes")}
    figures["pairs"], figures["wrong"] = len(results), sum(bool(told["wrong"]) for told in results)
    print("%(pairs)d pairs, %(wrong)d of them wrong; %(set apart)d marks set apart (%(dashed)d of them dashed), %(validated)d copies validated; of "
          "%(pairs)d bracketed copies %(same bytes)d give the plain copy byte for byte" % figures)
    if given.json:
        with open(given.json, "w", encoding="utf-8") as handle:
            json.dump(figures, handle, indent=1)


if __name__ == "__main__":
    main()
