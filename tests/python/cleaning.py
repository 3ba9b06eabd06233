#!/usr/bin/env python3
"""Measures the cleaning on editions whose source is known.

    cleaning.py PROGRAM [--scores LIST] [--seeds 1-60] [--json FILE] [--no-music21]
    cleaning.py PROGRAM --case SCORE SEED [--keep FOLDER]

Each seed takes the next score of the list and makes a pair of it (pairs.py), as
measure.py does. The edition is cleaned, and the copy is looked at with tools that
share nothing with the program:

    notes, marks   what the copy holds is what the source holds, moved (content.py)
    valid          the copy follows the schema where the edition does (validate.py)
    untouched      bars of which no finding tells are the edition's, byte for byte
    origin         the copy says where it comes from
    again          a second cleaning gives the same bytes
    found          an audit of the copy finds nothing
    music21        music21 reads the same notes in the copy as in the source, moved
    kept           with every third finding kept by a file of decisions: an audit of that copy
                   finds nothing else than what was kept
"""

import argparse
import collections
import json
import os
import random
import re
import subprocess
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from fractions import Fraction

from lxml import etree

import content
import files
import measure
import pairs
import validate

RULES = None


def run(program, *args):
    done = subprocess.run([program, *args], capture_output=True, timeout=300)
    return done.returncode, done.stderr.decode("utf-8", "replace").strip()


def valid(path):
    global RULES
    RULES = RULES or validate.schema()
    parser = etree.XMLParser(no_network=True, load_dtd=False, dtd_validation=False, resolve_entities=False)
    tree = etree.fromstring(files.read_bytes(path), parser).getroottree()
    return RULES.validate(tree), "%s" % (RULES.error_log[0] if RULES.error_log else "")


# ---------------------------------------------------------------- what a score holds

def held(root, part, steps=0, semitones=0):
    """Notes and marks of a part, by bar; signatures are compared by the program's own proof."""
    parts = content.content(root, steps, semitones, part)["parts"]
    return [] if not parts else [
        {"notes": bar["notes"], "cues": bar["cues"], "marks": [m for m in bar["marks"] if m[0] != "signature"]}
        for bar in parts[0]["bars"]]


def later(bars, by):
    """A pickup that the edition fills up with rests has its music later."""
    def move(place):
        return str(Fraction(place) + by)
    if by and bars:
        for line in bars[0]["notes"] + bars[0]["cues"]:
            line[0] = move(line[0])
        for mark in bars[0]["marks"]:
            mark[3] = move(mark[3])
            if mark[4] and mark[4][0] == 0:
                mark[4][1] = move(mark[4][1])
    return bars


def other_bars(copy, source):
    if len(copy) != len(source):
        return ["%d bars instead of %d" % (len(copy), len(source))]
    out = []
    for index, (ours, theirs) in enumerate(zip(copy, source)):
        for kind in ("notes", "cues", "marks"):
            mine, other = ([json.dumps(line) for line in side[kind]] for side in (ours, theirs))
            if mine != other:
                extra = collections.Counter(mine) - collections.Counter(other)
                lacking = collections.Counter(other) - collections.Counter(mine)
                out.append("bar %d, %s: %s instead of %s" % (
                    index, kind, list(extra.elements())[:3], list(lacking.elements())[:3]))
    return out


# ---------------------------------------------------------------- bytes

MEASURE = re.compile(rb"<measure\b[^>]*>.*?</measure>", re.S)
NUMBER = re.compile(rb'^<measure\b([^>]*?)\s+number="[^"]*"')


def measures(path):
    """The text of each bar of each part, without its number."""
    text = files.read_bytes(path)
    parts = re.findall(rb"<part\b[^>]*>.*?</part>", text, re.S)
    return [[NUMBER.sub(rb"<measure\1", m) for m in MEASURE.findall(part)] for part in parts]


def touched(report):
    """(part's place, bars of the edition) that a finding or a passage is about; bars beside them
    may get signs that the change needs: an accidental, an end of a tie or slur, a barline."""
    out = {}
    for place, part in enumerate(report):
        bars = set()
        for thing in part["findings"] + part["passages"]:
            ends = (thing, thing.get("end")) if "category" in thing else (thing["from"], thing["to"])
            found = [end["bar_index"] for end in ends if end]
            # A signature holds on, and with it the accidentals of the bars after it.
            last = 1 << 20 if thing.get("category") == "signature" else max(found) + 2
            bars.update(range(min(found) - 1, min(last, len(bars) + 5000)))
        out[part["part"]["id"]] = bars
    return out


def changed_bars(edition, copy, report, ids, last):
    """Bars that are not the edition's bytes though nothing was found in or beside them."""
    whole = {bar for bars in touched(report).values() for bar in bars} if any(
        p["kind"] in ("cut", "inserted-passage", "invented-ending", "rewritten-passage")
        for part in report for p in part["passages"]) else set()
    about = touched(report)
    out = []
    for name, ours, theirs in zip(ids, measures(edition), measures(copy)):
        rest = collections.Counter(theirs)
        for index, bar in enumerate(ours):
            if name in about and index in about[name] or index in whole or index >= last:
                continue
            if rest[bar]:
                rest[bar] -= 1
            else:
                out.append("part %s, bar %d" % (name, index))
    return out


# ---------------------------------------------------------------- one pair

def look(program, pair, folder, with_music21):
    path = lambda name: os.path.join(folder, name)
    edition, source, copy = path("edition.musicxml"), path("source.musicxml"), path("clean.musicxml")
    pairs.write(pair, edition, source)
    told = {"wrong": []}

    def check(name, complaints):
        told[name] = not complaints
        told["wrong"] += ["%s: %s" % (name, c) for c in list(complaints)[:6]]

    status, errors = run(program, "clean", edition, source, "-o", copy)
    check("cleaned", ["exit status %d: %s" % (status, errors[:400])] if status else [])
    if status:
        return told
    root, clean_root = pair.source, files.load(copy)[1]
    lists = {"notes": [], "marks": []}
    for part, (steps, semitones) in pair.told.transposition.items():
        theirs = later(held(root, part, steps, semitones), pair.told.pickup)
        for complaint in other_bars(held(clean_root, part), theirs):
            lists["marks" if ", marks:" in complaint else "notes"].append("part %s, %s" % (part, complaint))
    check("notes", lists["notes"])
    check("marks", lists["marks"])
    was, now = valid(edition), valid(copy)
    check("valid", [now[1]] if was[0] and not now[0] else [])
    report = measure.audit(program, edition, source)["parts"]
    ids = [part.get("id") for part in pair.edition.findall("part")]
    longest = max(len(part.findall("measure")) for part in pair.edition.findall("part"))
    check("untouched", changed_bars(edition, copy, report, ids, longest - 1))
    same = open(copy, "rb").read() == open(edition, "rb").read()
    field = [f for f in clean_root.findall("identification/miscellaneous/miscellaneous-field") if f.get("name") == "obelus"]
    check("origin", ["no field though bytes changed" if not same else "a field"] if bool(field) == same else [])
    status, errors = run(program, "clean", copy, source, "-o", path("again.musicxml"))
    check("again", [errors or "exit status %d" % status] if status or open(copy, "rb").read() != open(
        path("again.musicxml"), "rb").read() else [])
    left = [f for p in measure.audit(program, copy, source)["parts"] for f in p["findings"]]
    check("found", ["%(category)s %(status)s bar %(bar)s: %(edition_reading)s for %(source_reading)s" % f for f in left])
    check("kept", list(keep_some(program, pair, path)))
    if with_music21:
        check("music21", list(music21_reads(pair, copy)))
    return told


def keep_some(program, pair, path):
    """Complaints about a copy of which every third finding is kept."""
    edition, source, decisions, copy = (path(n) for n in (
        "edition.musicxml", "source.musicxml", "decisions.toml", "kept.musicxml"))
    run(program, "audit", edition, source, "-o", path("report.txt"), "--decisions", decisions)
    with open(decisions, encoding="utf-8") as handle:
        head, lines = handle.read().split("[findings]\n")
    rng = random.Random(len(lines))
    kept = ['%s = "keep"' % line.rsplit(" = ", 1)[0] if rng.random() < 1 / 3 else line for line in lines.splitlines()]
    with open(decisions, "w", encoding="utf-8") as handle:
        handle.write(head + "[findings]\n" + "\n".join(kept) + "\n")
    status, errors = run(program, "clean", edition, source, "-o", copy, "--decisions", decisions)
    if status:
        yield "exit status %d: %s" % (status, errors[:400])
        return
    if not any(line.endswith('"keep"') for line in kept):
        return
    found = sum(len(p["findings"]) for p in measure.audit(program, copy, source)["parts"])
    # A bar of which a note is kept is kept with all its notes, so there may be more, but never more than the edition has.
    most = len(kept)
    if found > most:
        yield "%d findings in the copy, %d in the edition" % (found, most)


def music21_reads(pair, copy):
    import survey_notes
    ours = dict(survey_notes.read(copy)[0])
    for part, (steps, semitones) in pair.told.transposition.items():
        theirs = dict(source_notes(pair))[part]
        mine = collections.Counter(sounding(ours[part]))
        other = collections.Counter(sounding(theirs, steps, semitones, pair.told.pickup))
        if mine != other:
            yield "part %s: %s; in the source %s" % (part, list((mine - other).elements())[:2], list((other - mine).elements())[:2])


def source_notes(pair):
    if not hasattr(pair, "source_notes"):
        import survey_notes
        with tempfile.TemporaryDirectory() as folder:
            path = os.path.join(folder, "source.musicxml")
            files.save(path, pair.prolog, pair.source)
            pair.source_notes = survey_notes.read(path)[0]
    return pair.source_notes


def sounding(notes, steps=0, semitones=0, later=0):
    """Struck notes with bar, offset, pitch moved and held length. Where a rest is not written, music21
    may take a short bar for a whole one: places are counted from the bar's start."""
    lengths, open_ties = [], {}
    for note in sorted(notes, key=lambda n: (n.bar, n.offset, not n.grace)):
        head = None
        waiting = open_ties.get(note.pitch)
        if note.stops and waiting:
            # A tie may have been begun that nothing ends: the last one counts.
            head = next((h for h in reversed(waiting) if h[0].voice == note.voice), waiting[-1])
            waiting.remove(head)
            head[1] += note.duration
        else:
            head = [note, note.duration]
            lengths.append(head)
        if note.starts:
            open_ties.setdefault(note.pitch, []).append(head)
    for note, length in lengths:
        kind, letter, alter, octave = note.pitch
        if kind == "pitched":
            place = "CDEFGAB".index(letter) + 7 * octave
            height = (0, 2, 4, 5, 7, 9, 11)[place % 7] + 12 * (place // 7) + Fraction(alter, 100)
            place, height = place + steps, height + semitones
            letter, octave = "CDEFGAB"[place % 7], place // 7
            alter = height - (0, 2, 4, 5, 7, 9, 11)[place % 7] - 12 * octave
            if abs(alter) > 2:      # written simpler
                letter, alter, octave = "", height, 0
        yield (note.bar, note.offset + (later if note.bar == 0 else 0), kind, letter, alter, octave, note.grace, length)


def one(task):
    program, score, seed, with_music21, keep = task
    told = {"score": score, "seed": seed}
    pair = pairs.make(os.path.join(measure.corpus(), score), seed)
    told["deeds"], told["nuisances"] = pair.deeds, pair.told.names
    with tempfile.TemporaryDirectory() as folder:
        try:
            told.update(look(program, pair, keep or folder, with_music21))
        except Exception as error:      # one pair must not end the run, and counts as failed
            told.setdefault("wrong", []).append("%s: %s" % (type(error).__name__, error))
            told["cleaned"] = False
    return told


CHECKS = ("cleaned", "notes", "marks", "valid", "untouched", "origin", "again", "found", "kept", "music21")


def main():
    options = argparse.ArgumentParser(description="Measures the cleaning on editions whose source is known.")
    options.add_argument("program")
    options.add_argument("--scores", default=os.path.join(measure.HERE, "scores.txt"))
    options.add_argument("--seeds", default="1-60", help="1-999 to work with, 1000 and up to measure")
    options.add_argument("--no-music21", action="store_true")
    options.add_argument("--json")
    options.add_argument("--workers", type=int, default=os.cpu_count())
    options.add_argument("--case", nargs=2, metavar=("SCORE", "SEED"))
    options.add_argument("--keep", help="of a case: write the files to this folder")
    given = options.parse_args()
    if given.case:
        if given.keep:
            os.makedirs(given.keep, exist_ok=True)
        print(json.dumps(one((given.program, given.case[0], int(given.case[1]), not given.no_music21, given.keep)), indent=1))
        return
    scores = [name for name, _ in measure.listed(given.scores)]
    tasks = [(given.program, scores[seed % len(scores)], seed, not given.no_music21, None)
             for seed in measure.span(given.seeds)]
    with ProcessPoolExecutor(given.workers) as pool:
        results = list(pool.map(one, tasks))
    counts = {name: [sum(r[name] for r in results if name in r), sum(name in r for r in results)] for name in CHECKS}
    for name, (good, all_of) in counts.items():
        print("%-10s %4d of %4d" % (name, good, all_of))
    for r in results:
        if r["wrong"]:
            print("cleaning.py %s --case %s %d   # %s | %s" % (
                given.program, r["score"], r["seed"], ", ".join(r["deeds"]), ", ".join(r["nuisances"])))
            for line in r["wrong"][:4]:
                print("    " + line[:300])
    if given.json:
        with open(given.json, "w", encoding="utf-8") as handle:
            json.dump({"counts": counts, "results": results}, handle, indent=1)


if __name__ == "__main__":
    main()
