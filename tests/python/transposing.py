#!/usr/bin/env python3
"""Whether parts that the program transposes are those that music21 transposes.

    transposing.py PROGRAM [--scores LIST] [--count 40] [--json FILE]

Each score is cleaned by itself into other keys. music21 (10.5.1) reads the original and
moves every sounding pitch and every signature by the interval of the same name; both
are compared with what it reads in the copy, spelling included. Then the copy is moved
back, and must hold the notes and marks of the original (content.py).
"""

import collections
import json
import os
import subprocess
import tempfile

import content
import files
import measure

# Our words, music21's name.
INTERVALS = [("up a minor second", "m2"), ("up a major second", "M2"), ("up a minor third", "m3"),
             ("up a major third", "M3"), ("up a perfect fourth", "P4"), ("up a perfect fifth", "P5"),
             ("down a minor second", "m-2"), ("down a major second", "M-2"), ("down a minor third", "m-3"),
             ("down a perfect fourth", "P-4"), ("down a perfect fifth", "P-5"), ("down an octave", "P-8")]
BACK = {"up": "down", "down": "up"}


def clean(program, source, target, words):
    done = subprocess.run([program, "clean", source, source, "-o", target, "--transpose", words], capture_output=True)
    return done.returncode, done.stderr.decode("utf-8", "replace").strip()


def signatures(root):
    return [[key.findtext("fifths") for key in part.iter("key") if key.find("fifths") is not None]
            for part in root.findall("part")]


def pitches(parts, interval=None):
    """Per part the pitches that sound, in order, moved by music21."""
    from music21 import pitch
    known, out = {}, {}
    for key, notes in parts:
        mine = []
        for note in notes:
            kind, step, alter, octave = note.pitch
            name = (kind, step, alter, octave)
            if name not in known:
                known[name] = name
                if kind == "pitched" and interval is not None:
                    p = pitch.Pitch(step=step, octave=octave)
                    if alter:
                        p.accidental = alter / 100
                    moved = p.transpose(interval)
                    sign = moved.accidental.alter if moved.accidental else 0
                    known[name] = (kind, moved.step, round(sign * 100), moved.octave)
            mine.append((note.bar, note.offset, known[name]))
        out[key] = collections.Counter(mine)
    return out


def one(task):
    program, score = task
    import survey_notes
    from music21 import interval, key
    source = os.path.join(measure.corpus(), score)
    told = {"score": score, "compared": 0, "refused": [], "wrong": []}
    with tempfile.TemporaryDirectory() as folder:
        prolog, root = files.load(source)
        base = os.path.join(folder, "base.musicxml")
        files.save(base, prolog, root)
        plain = survey_notes.read(base)[0]
        for words, name in INTERVALS:
            copy, back = os.path.join(folder, "copy.musicxml"), os.path.join(folder, "back.musicxml")
            status, errors = clean(program, base, copy, words)
            if status == 2 and "the signature would have" in errors:
                told["refused"].append(words)
                continue
            if status:
                told["wrong"].append("%s: %s" % (words, errors[:300]))
                continue
            moved = interval.Interval(name)
            wanted, found = pitches(plain, moved), pitches(survey_notes.read(copy)[0])
            for part in wanted:
                lacking, extra = wanted[part] - found[part], found[part] - wanted[part]
                # A triple accidental is written simpler.
                lacking = collections.Counter({n: c for n, c in lacking.items() if abs(n[2][2]) <= 200})
                if lacking:
                    told["wrong"].append("%s, part %s: %s instead of %s" % (
                        words, part, list(extra)[:2], list(lacking)[:2]))
            copy_root = files.load(copy)[1]
            pitched = [p.find(".//pitch") is not None for p in root.findall("part")]
            for place, (old, new) in enumerate(zip(signatures(root), signatures(copy_root))):
                if old and pitched[place]:
                    right = [key.KeySignature(int(f)).transpose(moved).sharps for f in old]
                    if right != [int(f) for f in new]:
                        told["wrong"].append("%s: signatures %s instead of %s" % (words, new, right))
            way, rest = words.split(" ", 1)
            status, errors = clean(program, copy, back, BACK[way] + " " + rest)
            if status:
                told["wrong"].append("%s and back: %s" % (words, errors[:300]))
            elif bars(files.load(back)[1]) != bars(root):
                told["wrong"].append("%s and back: %s" % (words, difference(files.load(back)[1], root)))
            told["compared"] += 1
    return told


def bars(root):
    return [part["bars"] for part in content.content(root)["parts"]]


def difference(one_root, other_root):
    for ours, theirs in zip(content.content(one_root)["parts"], content.content(other_root)["parts"]):
        for mine, other in zip(ours["bars"], theirs["bars"]):
            for kind in ("notes", "cues", "marks"):
                if mine[kind] != other[kind]:
                    apart = ([l for l in mine[kind] if l not in other[kind]][:2], [l for l in other[kind] if l not in mine[kind]][:2])
                    return "part %s, bar %s, %s: %s instead of %s" % (ours["id"], mine["number"], kind, *apart)
    return "other parts or bars"


def main():
    given, results = measure.over_scores("Compares transposed parts with music21's.", one, 40)
    print("%d scores, %d transpositions compared, %d refused for their signature, %d wrong" % (
        len(results), sum(r["compared"] for r in results), sum(len(r["refused"]) for r in results),
        sum(bool(r["wrong"]) for r in results)))
    for r in results:
        for line in r["wrong"][:3]:
            print("  %s: %s" % (r["score"], line[:400]))
    if given.json:
        with open(given.json, "w", encoding="utf-8") as handle:
            json.dump({"compared": sum(r["compared"] for r in results), "wrong": [r for r in results if r["wrong"]]}, handle)


if __name__ == "__main__":
    main()
