#!/usr/bin/env python3
"""Checks the generator of pairs of several parts against the schema and against what its truth says.

    poly_check.py [--seeds 1-60] [--scores LIST]

Of each seed a pair that differs in writing only: what the edition's lines sound is
what the source's do, moved, and both sides are as equally long in all parts as the
score. Of each seed a worked-over pair: bars that differ are told of in the truth, bars
that the truth tells of differ. Both sides follow the schema where the score does.
"""

import argparse
import copy
import os
import re
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor

import cleaning
import files
import measure
import pairs
import poly
import poly_clean
import poly_pairs

LENGTHENING = ("cut", "inserted-passage", "invented-ending", "written-out-repeat")


def told_bars(pair):
    """Bars of each group of which the truth tells."""
    out = {}
    for f in pair.findings:
        group = out.setdefault(pair.base[f["part"]], set())
        for end in (f, f.get("end")):
            if end and end["bar_index"] is not None:
                group.add(end["bar_index"])
        if f["source_bar_index"] is not None:
            group.add(f["source_bar_index"] + pair.begin["edition"] - pair.begin["source"])
        if f["category"] == "tie":
            group.add(f["bar_index"] + 1)
        if f["category"] in poly.FOR_ALL:
            # It may have been written elsewhere, too.
            for name in set(pair.groups["edition"].values()):
                out.setdefault(name, set()).add(f["bar_index"])
    for p in pair.passages:
        out.setdefault(pair.base[p["part"]], set()).update(range(p["from"]["bar_index"], p["to"]["bar_index"] + 1))
    return out


def checked(pair, plain):
    edition, source = (poly_clean.printed(copy.deepcopy(root)) for root in (pair.edition, pair.source))
    if not plain and any(p["kind"] in LENGTHENING for p in pair.passages):
        return
    complaints = poly_clean.compare(pair, edition, source, edition, set())
    if plain:
        yield from complaints
    else:
        told = told_bars(pair)
        for line in complaints:
            found = re.match(r"(?:notes|marks): (\S+), bar (\d+)", line)
            if found and int(found.group(2)) not in told.get(found.group(1), ()):
                yield "not told: " + line
        differ = {(g, int(b)) for g, b in re.findall(r"^(?:notes|marks): (\S+), bar (\d+)", "\n".join(complaints), re.M)}
        named = all(steps is not None for steps, _ in pair.told.transposition.values())
        for f in pair.findings if named else ():
            if f["category"] in poly.FOR_ALL + ("spelling",) or f.get("end"):
                continue
            if (pair.base[f["part"]], f["bar_index"]) not in differ:
                yield "told, but the bar is alike: %s" % {k: f[k] for k in ("part", "category", "status", "bar_index", "reading")}
    was, now = poly_clean.overlaps(source), poly_clean.overlaps(edition)
    if sum(now.values()) > sum(was.values()) * (1 + len(pair.doubled)):
        yield "overlap: %s" % dict(now)


def one(task):
    path, seed, plain, others = task
    try:
        pair = poly_pairs.make(path, seed, plain, others)
    except Exception as error:
        return ["generator: %s: %s" % (type(error).__name__, error)]
    wrong = list(checked(pair, plain))
    with tempfile.TemporaryDirectory() as folder:
        names = [os.path.join(folder, n) for n in ("edition.musicxml", "source.musicxml", "score.musicxml")]
        pairs.write(pair, *names[:2])
        files.save(names[2], *files.load(path))
        # What was put beside it may have its own faults.
        if cleaning.valid(names[2])[0] and not any("movement" in name for name in pair.told.names):
            wrong += ["valid: %s" % cleaning.valid(n)[1] for n in names[:2] if not cleaning.valid(n)[0]]
    return wrong and wrong + ["of %s | %s" % (", ".join(pair.deeds), ", ".join(pair.told.names))]


def main():
    options = argparse.ArgumentParser(description="Checks the generator of pairs of several parts.")
    options.add_argument("--seeds", default="1-60")
    options.add_argument("--scores", default=poly.SCORES)
    options.add_argument("--workers", type=int, default=os.cpu_count())
    given = options.parse_args()
    scores = [name for name, _ in measure.listed(given.scores)]
    tasks = [(os.path.join(measure.corpus(), scores[seed % len(scores)]), seed, plain, poly.others(scores[seed % len(scores)]))
             for seed in measure.span(given.seeds) for plain in (True, False)]
    with ProcessPoolExecutor(given.workers) as pool:
        results = list(pool.map(one, tasks))
    bad = 0
    for (path, seed, plain, _), wrong in zip(tasks, results):
        if wrong:
            bad += 1
            print("%s %d%s:" % (path, seed, " plain" if plain else ""))
            for line in wrong[:4] + wrong[-1:]:
                print("    " + line[:300])
    print("%d pairs, %d with complaints" % (len(tasks), bad))
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
