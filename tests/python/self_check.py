#!/usr/bin/env python3
"""Checks the test tools against each other, and against music21.

    self_check.py [--marks K] [--deeds A,B] [--music21] FILE...

For each score, at several intervals and seeds: the content of MOVED is the
moved content of the input; EDITION holds just what MOVED holds and TRUTH adds;
and both are valid if the input is. With --deeds, MOVED is the same as without,
and EDITION has its bars as long as MOVED where no deed adds or takes bars, and is
valid if the input is. With --music21, MOVED is also compared with
music21's own transposition, by spelled pitch and key signature.
"""

import argparse
import collections
import json
import os
import subprocess
import sys
import tempfile
from fractions import Fraction

import content
import files

HERE = os.path.dirname(os.path.abspath(__file__))
INTERVALS = [(0, 0), (1, 2), (-1, -2), (2, 3), (-2, -3), (3, 5), (-3, -5), (4, 7), (2, 4), (7, 12), (-1, -1)]


def tool(name, *args):
    return subprocess.run(
        [sys.executable, "-B", os.path.join(HERE, name)] + [str(a) for a in args],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8")


def signs(before, after):
    """MOVED must write a sign where the input does, and the right one where the input's was."""
    names = {value: {name} for value, name in content.SIGNS.items()}
    names[1] |= {"natural-sharp"}
    names[-1] |= {"natural-flat"}
    names[2] |= {"sharp-sharp"}

    def fits(note):
        alter = float(files.text_of(note, "pitch/alter", "0"))
        return files.text_of(note, "accidental") in names.get(alter, ())
    for old, new in zip(before.iter("note"), after.iter("note")):
        if (old.find("accidental") is None) != (new.find("accidental") is None):
            return ["a sign came or went"]
        if old.find("pitch") is not None and old.find("accidental") is not None and fits(old) and not fits(new):
            return ["a wrong sign: %s" % files.text_of(new, "accidental")]
    return []


def counted(score):
    notes, marks = collections.Counter(), collections.Counter()
    for part in score["parts"]:
        for index, bar in enumerate(part["bars"]):
            for note in bar["notes"]:
                notes[json.dumps([part["id"], index, note])] += 1
            for category, _, _, offset, end in bar["marks"]:
                marks[json.dumps([part["id"], category, bar["number"], index, offset, end])] += 1
    return notes, marks


def one(path, steps, semitones, seed, marks, folder, counts):
    """The complaints about one score at one interval; None where it cannot be moved so."""
    edition, moved, truth = (os.path.join(folder, name) for name in ("e.musicxml", "m.musicxml", "t.json"))
    made = tool("editor.py", path, edition, moved, truth, "--steps", steps, "--semitones", semitones,
                "--seed", seed, "--marks", marks)
    if made.returncode:
        return None if "respell" in made.stderr or "signs" in made.stderr else [made.stderr.strip()[-600:]]
    wrong = []
    base = content.content(files.load(path)[1], steps, semitones)
    plain = content.content(files.load(moved)[1])
    full = content.content(files.load(edition)[1])
    wrong += signs(files.load(path)[1], files.load(moved)[1])
    if base != plain:
        for before, after in zip(base["parts"], plain["parts"]):
            for one_bar, other in zip(before["bars"], after["bars"]):
                if one_bar != other and len(wrong) < 3:
                    wrong.append("moved otherwise in %s bar %s: %s" % (before["id"], one_bar["number"], [
                        (a, b) for k in ("notes", "marks") for a, b in zip(one_bar[k], other[k]) if a != b][:2]))
        wrong.append("MOVED is not the moved input")
    with open(truth, encoding="utf-8") as handle:
        findings = json.load(handle)["findings"]
    told = collections.Counter()
    for f in findings:
        counts[f["category"]] += 1
        end = f["end"] and [f["end"]["bar_index"], f["end"]["offset"]]
        told[json.dumps([f["part"], f["category"], f["bar"], f["bar_index"], f["offset"], end])] += 1
    (notes_before, marks_before), (notes_after, marks_after) = counted(plain), counted(full)
    if marks_before - marks_after:
        wrong.append("the edition lost %s" % list((marks_before - marks_after).items())[:3])
    if marks_after - marks_before != told:
        extra = marks_after - marks_before
        wrong.append("not told: %s; told but not there: %s" % (list((extra - told))[:3], list((told - extra))[:3]))
    graces = sum(f["category"] == "grace" for f in findings)
    more = notes_after - notes_before
    if notes_before - notes_after or sum(more.values()) != graces or any(not json.loads(n)[2][5] for n in more):
        wrong.append("the notes differ by more than the grace notes")
    lines = tool("validate.py", path, moved, edition).stdout.splitlines()
    if lines[0].endswith(": valid"):
        wrong.extend(line for line in lines[1:] if not line.endswith(": valid"))
    return wrong


def lengths(path):
    """How long each bar is: the furthest that its notes and rests reach, in quarters."""
    told = []
    for part in files.load(path)[1].iter("part"):
        divisions = Fraction(1)
        for measure in part.findall("measure"):
            cursor = furthest = Fraction(0)
            for item in files.elements(measure):
                divisions = Fraction(files.text_of(item, "divisions", str(divisions)))
                if item.tag in ("note", "forward", "backup") and item.find("chord") is None:
                    step = Fraction(files.text_of(item, "duration", "0")) / divisions
                    cursor += -step if item.tag == "backup" else step
                    furthest = max(furthest, cursor)
            told.append((part.get("id"), furthest))
    return told


def with_deeds(path, steps, semitones, seed, marks, folder, deeds, counts):
    """The complaints about one score to which deeds were done, given that MOVED stands in the folder."""
    edition, again, truth = (os.path.join(folder, name) for name in ("d.musicxml", "a.musicxml", "d.json"))
    moved = os.path.join(folder, "m.musicxml")
    made = tool("editor.py", path, edition, again, truth, "--steps", steps, "--semitones", semitones,
                "--seed", seed, "--marks", marks, "--deeds", deeds)
    if made.returncode:
        return [made.stderr.strip()[-600:]]
    wrong = []
    if files.read_bytes(moved) != files.read_bytes(again):
        wrong.append("the deeds changed MOVED")
    with open(truth, encoding="utf-8") as handle:
        told = json.load(handle)
    counts.update("%s %s" % (f["category"], f["status"]) for f in told["findings"] if f["status"] != "added")
    if not any(p["kind"] in ("inserted-passage", "cut", "invented-ending") for p in told["passages"]):
        if lengths(moved) != lengths(edition):
            wrong.append("the deeds changed the length of bars")
    lines = tool("validate.py", path, edition).stdout.splitlines()
    if lines[0].endswith(": valid"):
        wrong.extend(line for line in lines[1:] if not line.endswith(": valid"))
    return wrong


def by_music21(path, steps, semitones, folder):
    from music21 import converter, interval
    generic = abs(steps) + 1 if steps >= 0 else -(abs(steps) + 1)
    # At a unison the direction is that of the semitones, which music21 works out itself.
    way = interval.intervalFromGenericAndChromatic(
        interval.GenericInterval(generic), interval.ChromaticInterval(semitones))

    def told(score):
        rows = []
        for part in score.parts:
            for el in part.recurse():
                if "ChordSymbol" in el.classes:
                    continue  # its notes are made up, in an octave of no meaning
                if "KeySignature" in el.classes:
                    rows.append(("key", el.sharps))
                elif "Note" in el.classes:
                    rows.append(el.pitch.nameWithOctave)
                elif "Chord" in el.classes:
                    rows.append(" ".join(p.nameWithOctave for p in el.pitches))
        return rows
    mine = told(converter.parse(os.path.join(folder, "m.musicxml"), forceSource=True))
    theirs = told(converter.parse(path, forceSource=True).transpose(way))
    if mine == theirs:
        return []
    if len(mine) != len(theirs):
        return ["music21: %d against %d entries" % (len(mine), len(theirs))]
    off = [(a, b) for a, b in zip(mine, theirs) if a != b]
    return ["music21 says otherwise %d times of %d: %s" % (len(off), len(mine), off[:4])]


def main():
    options = argparse.ArgumentParser(description="Checks the test tools against each other.")
    options.add_argument("file", nargs="+")
    options.add_argument("--marks", type=int, default=60)
    options.add_argument("--deeds", default="", help="also do these deeds, divided by commas")
    options.add_argument("--music21", action="store_true")
    given = options.parse_args()
    counts, runs, skipped, bad = collections.Counter(), 0, 0, 0
    with tempfile.TemporaryDirectory() as folder:
        for at, path in enumerate(given.file):
            # A few intervals a score, others for the next.
            tried = 0
            for turn in range(len(INTERVALS)):
                steps, semitones = INTERVALS[(at * 3 + turn) % len(INTERVALS)]
                wrong = one(path, steps, semitones, at + turn, given.marks, folder, counts)
                if wrong is None:
                    skipped += 1
                    continue
                if given.music21 and tried == 0 and (steps, semitones) != (0, 0):
                    wrong += by_music21(path, steps, semitones, folder)
                if given.deeds:
                    wrong += with_deeds(
                        path, steps, semitones, at + turn, given.marks, folder, given.deeds, counts)
                runs, tried = runs + 1, tried + 1
                if wrong:
                    bad += 1
                    print("%s at %d steps, %d semitones:" % (path, steps, semitones))
                    for line in wrong:
                        print("   ", line)
                if tried == 3:
                    break
    print("%d runs, %d with complaints, %d intervals not possible" % (runs, bad, skipped))
    print("marks:", dict(sorted(counts.items())))
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
