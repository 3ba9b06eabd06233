#!/usr/bin/env python3
"""Measures the audit on editions whose truth is known.

    measure.py PROGRAM [--scores LIST] [--seeds 1-100] [--plain 1-40] [--strangers 1-100] [--json FILE]
    measure.py PROGRAM --case SCORE SEED [--only-nuisances] [--keep FOLDER]

Each seed takes the next score of the list in turn and makes a pair of it
(pairs.py). Findings are counted as multisets over part, category, status and bar:
the edition's bar, of what the edition lacks the source's. A passage is right when
its kind and its octaves are, and both its ends within one note. With `--plain`
come pairs that differ in writing only, in which nothing may be found; with `--strangers`
pairs of different pieces of the list, of which no part may be laid beside another.
"""

import argparse
import bisect
import collections
import importlib.util
import json
import os
import random
import subprocess
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from fractions import Fraction

import pairs

HERE = os.path.dirname(os.path.abspath(__file__))


def corpus():
    """The folder of music21's corpus; the package itself is not loaded."""
    found = importlib.util.find_spec("music21")
    if found is None:
        sys.exit("measure.py: the package music21 is missing: pip install -r requirements.txt")
    return os.path.join(list(found.submodule_search_locations)[0], "corpus")


def listed(path):
    """[(score, kind)] of a list, whose lines are `kind path`."""
    with open(path, encoding="utf-8") as handle:
        lines = [line.split(None, 1) for line in handle if line.strip() and not line.startswith("#")]
    return [(name.strip(), kind) for kind, name in lines]


# ---------------------------------------------------------------- one pair

def audit(program, edition, source):
    done = subprocess.run([program, "audit", edition, source, "--format", "json"], capture_output=True, timeout=300)
    if done.returncode:
        raise RuntimeError("exit status %d: %s" % (done.returncode, done.stderr.decode("utf-8", "replace")[-400:]))
    return json.loads(done.stdout)


def key(part, finding):
    omitted = finding["status"] == "omitted"
    return (part, finding["category"], finding["status"],
            "source bar" if omitted else "bar", finding["source_bar_index" if omitted else "bar_index"])


def index_of(onsets, place):
    """How many notes come before a place."""
    return bisect.bisect_left(onsets, (place["bar_index"], Fraction(place.get("offset") or 0)))


def same_passage(pair, part, known, found):
    if known["kind"] != found["kind"] or (known.get("octaves") or 0) != (found.get("octaves") or 0):
        return False
    # What was cut has its ends in the source alone.
    side, prefix = ("source", "source_") if known["kind"] == "cut" else ("edition", "")
    onsets = pair.onsets.get((side, part, known.get("voice"))) or pair.onsets.get((side, part, None), [])
    for end in ("from", "to"):
        mine, theirs = known[prefix + end], found.get(prefix + end)
        if not theirs or theirs["bar_index"] is None:
            return False
        if "offset" not in mine:
            # Whole bars: their first note and their last one.
            first, last = known[prefix + "from"]["bar_index"], known[prefix + "to"]["bar_index"]
            inside = [o for o in onsets if first <= o[0] <= last]
            if not inside:
                if theirs["bar_index"] != mine["bar_index"]:
                    return False
                continue
            place = inside[0 if end == "from" else -1]
            mine = {"bar_index": place[0], "offset": place[1]}
        if abs(index_of(onsets, mine) - index_of(onsets, theirs)) > 1:
            return False
    return True


def judge(pair, report):
    """What is right and wrong in a report, as plain data."""
    told = {"transposition": True, "hits": [], "false": [], "missed": [], "passages": [0, 0, 0], "wrong": []}
    parts = {p["part"]["id"]: p for p in report["parts"]}
    for name, (steps, semitones) in pair.told.transposition.items():
        found = parts.get(name)
        if found is None:
            told["transposition"] = False
            told["wrong"].append("part %s is not compared" % name)
            continue
        given = found["transposition"]
        if found["source_part"]["id"] != name or (given["steps"], given["semitones"]) != (steps, semitones):
            told["transposition"] = False
            told["wrong"].append("part %s: with %s at %+d steps, %+d semitones; should be %+d, %+d" % (
                name, found["source_part"]["id"], given["steps"], given["semitones"], steps, semitones))
    known = collections.Counter(key(f["part"], f) for f in pair.findings)
    found = collections.Counter(key(p["part"]["id"], f) for p in report["parts"] for f in p["findings"])
    told["hits"] = sorted((known & found).elements(), key=str)
    told["false"] = sorted((found - known).elements(), key=str)
    told["missed"] = sorted((known - found).elements(), key=str)

    right, wanted = 0, list(pair.passages)
    extra = []
    for name, part in parts.items():
        for passage in part["passages"]:
            match = next((w for w in wanted if w["part"] == name and same_passage(pair, name, w, passage)), None)
            if match:
                wanted.remove(match)
                right += 1
            else:
                extra.append((name, passage))
    told["passages"] = [right, len(extra), len(wanted)]
    for sign, rest in (("missed", [(w["part"], w) for w in wanted]), ("false", extra)):
        for name, p in rest:
            ends = ["%s%s" % (e, [p[e]["bar_index"], str(p[e].get("offset"))]) for e in
                    ("from", "to", "source_from", "source_to") if p.get(e)]
            told["wrong"].append("passage %s: %s %s %s %s" % (sign, name, p["kind"], p.get("octaves") or "", " ".join(ends)))
    return told


def run(task):
    program, score, seed, plain, keep = task
    told = {"score": score, "seed": seed, "plain": plain}
    try:
        pair = pairs.make(os.path.join(corpus(), score), seed, plain)
    except Exception as error:      # a fault of the generator must not stop the measure
        import traceback
        where = traceback.extract_tb(error.__traceback__)[-1]
        told["generator"] = "%s: %s (%s:%d)" % (type(error).__name__, error, os.path.basename(where[0]), where[1])
        return told
    told["deeds"], told["nuisances"] = pair.deeds, pair.told.names
    with tempfile.TemporaryDirectory() as folder:
        edition, source = (os.path.join(keep or folder, n) for n in ("edition.musicxml", "source.musicxml"))
        pairs.write(pair, edition, source)
        try:
            told.update(judge(pair, audit(program, edition, source)))
        except (RuntimeError, subprocess.TimeoutExpired) as error:
            told["crash"] = str(error)
    return told


def strangers(task):
    """Which parts of two different pieces are laid beside each other."""
    program, first, second = task
    edition, source = (os.path.join(corpus(), name) for name in (first, second))
    told = {"edition": first, "source": second}
    try:
        told["parts"] = [(p["part"]["id"], p["source_part"]["id"], p["notes"]["matched"], p["notes"]["edition"])
                         for p in audit(program, edition, source)["parts"]]
    except (RuntimeError, subprocess.TimeoutExpired) as error:
        told["crash"] = str(error)
    return told


# Pieces of the list that are the same music: a chorale that returns, and a movement under two numbers.
RELATED = [{"bach/bwv41.6.mxl", "bach/bwv171.6.mxl"},
           {"schumann_robert/opus41no1/movement2.mxl", "schumann_robert/opus41no1/movement3.mxl"}]


def two_of(scores, seed):
    random_of = random.Random("strangers %d" % seed)
    while True:
        two = random_of.sample(scores, 2)
        if set(two) not in RELATED:
            return two


# ---------------------------------------------------------------- the figures

def figures(hits, false, missed):
    precision = hits / (hits + false) if hits + false else 1.0
    recall = hits / (hits + missed) if hits + missed else 1.0
    both = 2 * hits + false + missed
    return {"hits": hits, "false": false, "missed": missed, "precision": precision, "recall": recall,
            "f1": 2 * hits / both if both else 1.0}


def faults(r):
    return len(r["false"]) + len(r["missed"]) + sum(r["passages"][1:]) + (0 if r["transposition"] else 5)


def summary(results):
    edited = [r for r in results if not r["plain"] and "hits" in r]
    plain = [r for r in results if r["plain"] and "hits" in r]
    counts = {name: collections.Counter(k[1] for r in edited for k in r[name]) for name in ("hits", "false", "missed")}
    categories = sorted(set().union(*counts.values()))
    statuses = {name: collections.Counter("%s %s" % k[1:3] for r in edited for k in r[name]) for name in counts}
    passages = [sum(r["passages"][i] for r in edited) for i in range(3)]
    by_category = {c: figures(*(counts[n][c] for n in ("hits", "false", "missed"))) for c in categories}
    return {
        "pairs": len(edited), "plain_pairs": len(plain),
        "transposition_right": sum(r["transposition"] for r in edited + plain),
        "plain_with_findings": sum(bool(r["false"] or r["passages"][1]) for r in plain),
        "crashes": sum("crash" in r for r in results),
        "generator_faults": sum("generator" in r for r in results),
        "all": figures(*(sum(counts[n].values()) for n in ("hits", "false", "missed"))),
        "categories": by_category,
        "statuses": {s: [statuses[n][s] for n in ("hits", "false", "missed")]
                     for s in sorted(set().union(*statuses.values()))},
        "passages": dict(zip(("right", "false", "missed"), passages), f1=figures(*passages)["f1"]),
    }


def show(told, results, program, script="measure.py"):
    row = "%-24s %6s %6s %6s  %9s %7s %7s"
    print(row % ("", "right", "false", "missed", "precision", "recall", "F1"))
    for name, f in list(told["categories"].items()) + [("all", told["all"])]:
        print(row % (name, f["hits"], f["false"], f["missed"],
                     "%.4f" % f["precision"], "%.4f" % f["recall"], "%.4f" % f["f1"]))
    print()
    print("category and status: right, false, missed, where not all are right")
    for name, (hits, false, missed) in told["statuses"].items():
        if false or missed:
            print("  %-24s %5d %5d %5d" % (name, hits, false, missed))
    print("passages: %(right)d right, %(false)d false, %(missed)d missed" % told["passages"])
    print("transposition right in %d of %d pairs" % (told["transposition_right"], told["pairs"] + told["plain_pairs"]))
    print("%d of %d pairs that differ in writing only have findings" % (told["plain_with_findings"], told["plain_pairs"]))
    for r in results:
        for what in ("generator", "crash"):
            if what in r:
                print("%s: %s %s%s: %s" % (what, r["score"], r["seed"], " plain" if r["plain"] else "", r[what]))
    bad = sorted((r for r in results if "hits" in r and faults(r)), key=lambda r: -faults(r))
    for r in bad[:15]:
        print("%4d faults: %s %s --case %s %d%s   # %s | %s" % (
            faults(r), script, program, r["score"], r["seed"], " --only-nuisances" if r["plain"] else "",
            ", ".join(r["deeds"]), ", ".join(r["nuisances"])))


def detail(r):
    for name in ("deeds", "nuisances", "wrong"):
        for line in r.get(name, ()):
            print("%-10s %s" % (name, line))
    for name in ("missed", "false"):
        for line, times in collections.Counter(map(tuple, r.get(name, ()))).items():
            print("%-10s %s%s" % (name, " ".join(map(str, line)), " (%d times)" % times if times > 1 else ""))
    print("%d findings right, passages right, false, missed: %s" % (len(r.get("hits", ())), r.get("passages")))
    for name in ("generator", "crash"):
        if name in r:
            print(name, r[name])


def span(text):
    first, _, last = text.partition("-")
    return range(int(first), int(last or first) + 1) if text else range(0)


def over_scores(description, one, count):
    """Runs `one` on (program, score) for scores of the list, as the options say; gives the options and the results."""
    options = argparse.ArgumentParser(description=description)
    options.add_argument("program")
    options.add_argument("--scores", default=os.path.join(HERE, "scores.txt"))
    options.add_argument("--count", type=int, default=count)
    options.add_argument("--json")
    options.add_argument("--case")
    options.add_argument("--workers", type=int, default=os.cpu_count())
    given = options.parse_args()
    scores = [given.case] if given.case else [name for name, _ in listed(given.scores)][:given.count]
    with ProcessPoolExecutor(given.workers) as pool:
        return given, list(pool.map(one, [(given.program, score) for score in scores]))


def main():
    options = argparse.ArgumentParser(description="Measures the audit on editions whose truth is known.")
    options.add_argument("program")
    options.add_argument("--scores", default=os.path.join(HERE, "scores.txt"))
    options.add_argument("--seeds", default="1-60", help="1-999 to work with, 1000 and up to measure")
    options.add_argument("--plain", default="", help="seeds of pairs that differ in writing only")
    options.add_argument("--strangers", default="", help="seeds of pairs of different pieces")
    options.add_argument("--json", help="also write all figures there")
    options.add_argument("--workers", type=int, default=os.cpu_count())
    options.add_argument("--case", nargs=2, metavar=("SCORE", "SEED"))
    options.add_argument("--only-nuisances", action="store_true", help="of a case: without an editor")
    options.add_argument("--keep", help="of a case: write the two files to this folder")
    given = options.parse_args()
    if given.case:
        if given.keep:
            os.makedirs(given.keep, exist_ok=True)
        detail(run((given.program, given.case[0], int(given.case[1]), given.only_nuisances, given.keep)))
        return
    scores = [name for name, _ in listed(given.scores)]
    tasks = [(given.program, scores[seed % len(scores)], seed, plain, None)
             for seeds, plain in ((given.seeds, False), (given.plain, True)) for seed in span(seeds)]
    with ProcessPoolExecutor(given.workers) as pool:
        results = list(pool.map(run, tasks))
        apart = list(pool.map(strangers, [(given.program, *two_of(scores, seed)) for seed in span(given.strangers)]))
    told = summary(results)
    told["strangers"] = {"pairs": len(apart), "with_parts": sum(bool(p.get("parts")) for p in apart)}
    told["crashes"] += sum("crash" in p for p in apart)
    show(told, results, given.program)
    print("%(with_parts)d of %(pairs)d pairs of different pieces have parts beside each other" % told["strangers"])
    for pair in apart:
        if pair.get("parts") or "crash" in pair:
            print("  %s and %s: %s" % (pair["edition"], pair["source"], pair.get("parts", pair.get("crash"))))
    if given.json:
        with open(given.json, "w", encoding="utf-8") as handle:
            json.dump({**told, "results": results}, handle, indent=1)


if __name__ == "__main__":
    main()
