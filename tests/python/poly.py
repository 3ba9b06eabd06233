#!/usr/bin/env python3
"""Measures audit and cleaning on pairs of several parts, voices and staves whose truth is known.

    poly.py PROGRAM [--seeds 1-60] [--plain 1-40] [--clean] [--notes] [--scores LIST] [--json FILE]
    poly.py PROGRAM --case SCORE SEED [--only-nuisances] [--keep FOLDER]

Each seed takes the next score of the list in turn and makes a pair of it
(poly_pairs.py). Findings are counted as measure.py counts them, over groups of parts:
those of a side that lie beside the same parts of the other. What stands once for
all lines is counted once. With --clean a clean copy of each pair is looked at
(poly_clean.py), with --notes its critical notes.
"""

import argparse
import collections
import json
import os
import subprocess
import tempfile
from concurrent.futures import ProcessPoolExecutor

import measure
import pairs
import poly_clean
import poly_pairs

SCORES = os.path.join(measure.HERE, "poly_scores.txt")
# What stands once for all the lines below it.
FOR_ALL = ("structure", "signature", "tempo", "rehearsal")
# What may stand between two staves.
BETWEEN = ("dynamics", "hairpin", "pedal", "expression", "text", "technique", "octave-line", "fermata", "harmony")


def key(pair, group, finding):
    category = {"realisation": "written-out"}.get(finding["category"], finding["category"])
    side, name = ("source bar", "source_bar_index") if finding["status"] == "omitted" else ("bar", "bar_index")
    return ("all" if category in FOR_ALL else group, category, finding["status"], side, finding[name])


def counted(pair, keys):
    found = collections.Counter(keys)
    for k in found:
        if k[1] in FOR_ALL or k[0] in pair.halved and k[1] in BETWEEN:
            found[k] = 1
    return found


def like(mine, theirs):
    """Whether two ways to name a line can mean the same one; a line may be drawn from several parts."""
    return mine[0] in theirs["id"].split(" and ") and (
        None in (mine[1], theirs.get("staff")) or str(mine[1]) == str(theirs["staff"])) and (
        None in (mine[2], theirs.get("voice")) or str(theirs["voice"]) in mine[2])


def pairing(pair, report):
    """Complaints about which lines are laid beside which, in what interval, and over which bars."""
    out, used = [], set()
    for mine, theirs, base in pair.beside:
        if (len(pair.onsets.get(("edition", base, None), ())) < 4):
            used.update(i for i, e in enumerate(report["parts"]) if like(mine, e["part"]))
            continue
        found = [(i, e) for i, e in enumerate(report["parts"]) if like(mine, e["part"]) and like(theirs, e["source_part"])]
        used.update(i for i, _ in found)
        if not found:
            out.append("pairing: %s is not beside %s" % (mine, theirs))
            continue
        steps, semitones = pair.told.transposition[base]
        for _, entry in found:
            given = entry["transposition"]
            if given["semitones"] != semitones or steps is not None and given["steps"] != steps:
                out.append("transposition: %s at %+d steps, %+d semitones; should be %s, %+d" % (
                    mine, given["steps"], given["semitones"], steps, semitones))
            scope = entry.get("scope")
            if scope is not None and (scope["edition_rest"], scope["source_rest"]) != (
                    pair.rest["edition"], pair.rest["source"]):
                out.append("scope: %s leaves %s and %s bars; should be %d and %d" % (
                    mine, scope["edition_rest"], scope["source_rest"], pair.rest["edition"], pair.rest["source"]))
    for i, entry in enumerate(report["parts"]):
        name = entry["part"]["id"]
        if i not in used and not (name in pair.doubled and pair.groups["source"].get(
                entry["source_part"]["id"]) == pair.groups["edition"][name]):
            out.append("pairing: %s lies beside %s" % (entry["part"], entry["source_part"]))
    if "not_compared" in report:
        for side, names in pair.alone.items():
            told = {line["id"] for line in report["not_compared"][side]}
            out += ["pairing: %s of the %s is not named" % (n, side) for n in names if n not in told]
    return out


def same_bars(pair, group, known, found):
    """A staff or a voice has its first and last notes elsewhere than the part: the bars tell what is the same."""
    if known["kind"] == "octave-displacement" or not (group in pair.halved or pair.plan and group == pair.plan[2][0]):
        return False
    # Other music on one staff leaves the other silent.
    silent = found["kind"] == "cut" and known["kind"] in ("rewritten-passage", "invented-ending")
    if known["kind"] != found["kind"] and not silent:
        return False
    prefix = "source_" if found["kind"] == "cut" else ""
    return all(found.get(prefix + end) and found[prefix + end]["bar_index"] == known[prefix + end]["bar_index"]
               for end in ("from", "to"))


def judge(pair, report):
    """What is right and wrong in a report, as plain data."""
    wrong = pairing(pair, report)
    told = {"transposition": not wrong, "wrong": wrong}
    group_of = {p["part"]["id"]: pair.groups["edition"].get(p["part"]["id"].split(" and ")[0]) for p in report["parts"]}
    known = counted(pair, (key(pair, pair.base[f["part"]], f) for f in pair.findings))
    found = counted(pair, (key(pair, group_of[p["part"]["id"]], f) for p in report["parts"] for f in p["findings"]))
    twice = {pair.groups["edition"][name] for name in pair.doubled}
    for k, times in found.items():
        # A doubling has the findings of what it doubles.
        if k[0] in twice and known[k] < times <= 2 * known[k]:
            found[k] = known[k]
    told["hits"] = sorted((known & found).elements(), key=str)
    told["false"] = sorted((found - known).elements(), key=str)
    told["missed"] = sorted((known - found).elements(), key=str)

    seen, extra = set(), []
    for part in report["parts"]:
        group = group_of[part["part"]["id"]]
        for passage in part["passages"]:
            match = [i for i, w in enumerate(pair.passages)
                     if pair.base[w["part"]] == group and (
                         measure.same_passage(pair, w["part"], w, passage) or same_bars(pair, group, w, passage))]
            seen.update(match)
            if not match:
                extra.append((group, passage))
    lost = [(pair.base[w["part"]], w) for i, w in enumerate(pair.passages) if i not in seen]
    told["passages"] = [len(seen), len(extra), len(lost)]
    for sign, rest in (("missed", lost), ("false", extra)):
        for name, p in rest:
            ends = ["%s%s" % (e, [p[e]["bar_index"], str(p[e].get("offset"))]) for e in
                    ("from", "to", "source_from", "source_to") if p.get(e)]
            wrong.append("passage %s: %s %s %s %s" % (sign, name, p["kind"], p.get("octaves") or "", " ".join(ends)))
    return told


def others(score):
    """Scores that could stand in one file with this one: those of its folder, and for chorales all of them."""
    listed = measure.listed(SCORES)
    kind = dict(listed)[score]
    return [os.path.join(measure.corpus(), name) for name, k in listed if k == kind and name != score]


def run(task):
    program, score, seed, plain, keep, clean, notes = task
    told = {"score": score, "seed": seed, "plain": plain}
    try:
        pair = poly_pairs.make(os.path.join(measure.corpus(), score), seed, plain, others(score))
    except Exception as error:      # a fault of the generator must not stop the measure
        import traceback
        where = traceback.extract_tb(error.__traceback__)[-1]
        told["generator"] = "%s: %s (%s:%d)" % (type(error).__name__, error, os.path.basename(where[0]), where[1])
        return told
    told["deeds"], told["nuisances"] = pair.deeds, pair.told.names
    with tempfile.TemporaryDirectory() as folder:
        path = lambda name: os.path.join(keep or folder, name)
        pairs.write(pair, path("edition.musicxml"), path("source.musicxml"))
        if keep:
            with open(path("truth.json"), "w", encoding="utf-8") as handle:
                json.dump({"findings": pair.findings, "passages": pair.passages, "beside": pair.beside,
                           "alone": pair.alone, "rest": pair.rest, "transposition": pair.told.transposition}, handle, indent=1)
        try:
            report = measure.audit(program, path("edition.musicxml"), path("source.musicxml"))
            told.update(judge(pair, report))
            if clean and not plain:
                told["clean"] = poly_clean.look(program, pair, path)
            if notes and not plain:
                told["notes"] = poly_clean.in_the_notes(program, report, path)
        except (RuntimeError, subprocess.TimeoutExpired) as error:
            told["crash"] = str(error)
    return told


def show_more(results):
    """What measure.py does not count."""
    edited = [r for r in results if "hits" in r]
    complaints = [w for r in edited for w in r["wrong"]]
    for what in ("pairing", "transposition", "scope"):
        print("%s wrong in %d of %d pairs" % (what, sum(any(w.startswith(what + ":") for w in r["wrong"]) for r in edited), len(edited)))
    cleaned = [r for r in results if "clean" in r]
    if cleaned:
        exact = [r for r in cleaned if not r["clean"]["wrong"] and not r["clean"]["left"]]
        named = [r for r in cleaned if not r["clean"]["wrong"] and r["clean"]["left"]]
        print("clean copies: %d exact, %d with bars left and named, %d wrong, of %d" % (
            len(exact), len(named), len(cleaned) - len(exact) - len(named), len(cleaned)))
        kinds = collections.Counter(k for r in cleaned for k in {w.split(":")[0] for w in r["clean"]["wrong"]})
        for kind, times in kinds.most_common():
            print("  %-12s wrong in %d" % (kind, times))
        for r in cleaned:
            for line in r["clean"]["wrong"][:3] + ["left: %s" % json.dumps(l) for l in r["clean"]["left"][:1]]:
                print("    %s %d: %s" % (r["score"], r["seed"], line[:260]))
    noted = [r for r in results if "notes" in r]
    if noted:
        print("critical notes: %d of %d complete" % (sum(not r["notes"] for r in noted), len(noted)))
        for r in noted:
            for line in r["notes"][:2]:
                print("    %s %d: %s" % (r["score"], r["seed"], line[:260]))
    return len(complaints)


def figures(results):
    cleaned = [r["clean"] for r in results if "clean" in r]
    noted = [r["notes"] for r in results if "notes" in r]
    return {
        "clean": {"pairs": len(cleaned), "wrong": sum(bool(c["wrong"]) for c in cleaned),
                  "left": sum(not c["wrong"] and bool(c["left"]) for c in cleaned)},
        "notes": {"pairs": len(noted), "wrong": sum(bool(n) for n in noted)},
    }


def main():
    options = argparse.ArgumentParser(description="Measures audit and cleaning on pairs of several parts.")
    options.add_argument("program")
    options.add_argument("--scores", default=SCORES)
    options.add_argument("--seeds", default="1-60", help="1-999 to work with, 1000 and up to measure")
    options.add_argument("--plain", default="", help="seeds of pairs that differ in writing only")
    options.add_argument("--clean", action="store_true", help="also look at clean copies")
    options.add_argument("--notes", action="store_true", help="also look at critical notes")
    options.add_argument("--json", help="also write all figures there")
    options.add_argument("--workers", type=int, default=os.cpu_count())
    options.add_argument("--case", nargs=2, metavar=("SCORE", "SEED"))
    options.add_argument("--only-nuisances", action="store_true", help="of a case: without an editor")
    options.add_argument("--keep", help="of a case: write the files to this folder")
    given = options.parse_args()
    if given.case:
        if given.keep:
            os.makedirs(given.keep, exist_ok=True)
        told = run((given.program, given.case[0], int(given.case[1]), given.only_nuisances, given.keep, True, True))
        measure.detail(told)
        print(json.dumps({k: told[k] for k in ("clean", "notes") if k in told}, indent=1))
        return
    scores = [name for name, _ in measure.listed(given.scores)]
    tasks = [(given.program, scores[seed % len(scores)], seed, plain, None, given.clean, given.notes)
             for seeds, plain in ((given.seeds, False), (given.plain, True)) for seed in measure.span(seeds)]
    with ProcessPoolExecutor(given.workers) as pool:
        results = list(pool.map(run, tasks))
    told = measure.summary(results)
    told.update(figures(results))
    measure.show(told, results, given.program, "poly.py")
    show_more(results)
    if given.json:
        with open(given.json, "w", encoding="utf-8") as handle:
            json.dump(dict(told, results=results), handle, indent=1)


if __name__ == "__main__":
    main()
