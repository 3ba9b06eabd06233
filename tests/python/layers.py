#!/usr/bin/env python3
"""Lays random mark sheets on real scores and lifts them again.

    layers.py PROGRAM [--scores LIST] [--seeds 1-40] [--json FILE]
    layers.py PROGRAM --case SCORE SEED [--keep FOLDER]

For each seed a sheet of random marks is made for the next score of the list:

    lifted     laid on the score and lifted again, the sheet is what it was
    other_key  the marked copy is moved to another key, its bars are numbered otherwise and its parts
               have other names; laid from there on the score and lifted, the sheet is what it was
    editions   two editors make editions of the score (pairs.py); the marks that were laid on the
               clean copy of the first come through on the clean copy of the second
"""

import argparse
import collections
import copy
import json
import os
import random
import subprocess
import tempfile
import tomllib
from concurrent.futures import ProcessPoolExecutor
from fractions import Fraction

import files
import measure
import nuisances
import pairs
from files import text_of
from parts import Part

SIGNS = ("p", "f", "mp", "mf", "pp", "ff", "sf")
WORDS = {
    "dynamics": SIGNS + ("cresc.", "dim.", "sempre piano"),
    "tempo": ("rit.", "a tempo", "Allegro", "poco meno mosso"),
    "expression": ("dolce", "cantabile", "espressivo"),
    "text": ("NB", "together", "wait for the bass"),
    "fingering": ("0", "3", "0 12 45", "T 1 3"),
    "metronome": ("quarter = 66", "dotted half = 48", "eighth = 120"),
    "articulation": ("accent", "staccato", "tenuto", "staccatissimo", "strong-accent", "detached-legato"),
    "ornament": ("trill-mark", "mordent", "inverted-mordent", "turn", "schleifer"),
}
SWITCHES = ("breath", "fermata")
SPANS = ("slur", "hairpin")


def beat_of(bar, onset, beat_type, pickup):
    value = (onset + (pickup if bar.index == 0 else 0)) * beat_type / 4 + 1
    whole, rest = divmod(value, 1)
    return "%d" % whole if not rest else "%d+%s" % (whole, rest)


def places(root, part):
    """[(chord, "bar:beat")] of notes that a sheet can name without doubt: in a bar whose number
    comes once, at the start of a note of the bar's first voice."""
    counts = collections.Counter(bar.number for bar in part.bars)
    beat_types, whole, last = [], [], (4, Fraction(4))
    for bar in part.bars:
        for time in bar.el.findall("attributes/time"):
            if time.find("beats") is not None and text_of(time, "beats").isdigit():
                last = int(text_of(time, "beat-type")), Fraction(4 * int(text_of(time, "beats")), int(text_of(time, "beat-type")))
        beat_types.append(last[0])
        whole.append(last[1])
    first = part.bars[0]
    pickup = whole[0] - first.length if first.length < whole[0] and len(part.bars) > 1 else Fraction(0)
    out, voice = [], {}
    for chord in part.chords:
        bar = chord.bar
        voice.setdefault(bar.index, chord.voice)
        alone = part.staves == 1 and all(c.voice == chord.voice for c in part.in_bar[bar.index])
        if chord.grace or chord.cue or chord.rest or not alone or counts[bar.number] > 1 or not bar.number:
            continue
        if len(bar.el.findall("attributes/time")) and bar.el.findall("attributes/time")[-1].find("senza-misura") is not None:
            continue
        out.append((chord, "%s:%s" % (bar.number, beat_of(bar, chord.onset, beat_types[bar.index], pickup))))
    return out


def random_sheet(root, rng):
    """A list of marks, each a dict as a sheet has it, with no two that would clash."""
    part = max(map(Part, root.findall("part")), key=lambda p: len(places(root, p)))
    spots = places(root, part)
    if len(spots) < 8:
        return part.id, []
    marks, taken = [], collections.defaultdict(list)
    for _ in range(rng.randint(5, 25)):
        kind = rng.choice(list(WORDS) + list(SWITCHES) + list(SPANS))
        at = rng.randrange(len(spots))
        if kind in SPANS:
            end = min(at + rng.randint(1, 5), len(spots) - 1)
            if spots[end][0].time <= spots[at][0].time:
                continue
            ends = (spots[at][0].time, spots[end][0].time)
            # A slur that meets another in a note could be read as the other's.
            if any(not (ends[1] < a or b < ends[0]) for a, b in taken[kind]):
                continue
            taken[kind].append(ends)
            value = True if kind == "slur" else rng.choice(("crescendo", "diminuendo"))
            marks.append({"from": spots[at][1], "to": spots[end][1], kind: value})
            continue
        group = "words" if kind in ("tempo", "metronome") else kind
        if spots[at][1] in taken[group]:
            continue
        taken[group].append(spots[at][1])
        marks.append({"at": spots[at][1], kind: True if kind in SWITCHES else rng.choice(WORDS[kind])})
    return part.id, marks


def toml(part, marks):
    lines = []
    for mark in marks:
        lines += ["[[mark]]", 'part = "%s"' % part] + [
            "%s = %s" % (key, "true" if value is True else json.dumps(value)) for key, value in mark.items()] + [""]
    return "\n".join(lines)


def plain(marks):
    """A sheet as it can be compared: beats as fractions, without parts."""
    def beat(text):
        bar, _, value = text.rpartition(":")
        return bar, sum(map(Fraction, value.split("+")), Fraction(0))
    out = [{k: beat(v) if k in ("at", "from", "to") else v for k, v in mark.items() if k != "part"} for mark in marks]
    return sorted(out, key=str)


def run(program, *args):
    done = subprocess.run([program, *args], capture_output=True, timeout=300)
    if done.returncode:
        raise RuntimeError("%s: exit status %d: %s" % (args[0], done.returncode, done.stderr.decode()[-400:]))
    return done.stdout.decode()


def lift(program, copy_path, base):
    return tomllib.loads(run(program, "marks", copy_path, base)).get("mark", [])


def apart(wanted, found):
    lacking, extra = ([str(m) for m in side] for side in (wanted, found))
    one, other = collections.Counter(lacking), collections.Counter(extra)
    return ["lacking %s" % m for m in (one - other)] + ["extra %s" % m for m in (other - one)]


def written(path, text):
    with open(path, "w", encoding="utf-8") as handle:
        handle.write(text)
    return path


def look(program, score, seed, folder):
    path = lambda name: os.path.join(folder, name)
    rng = random.Random("layers %s %d" % (score, seed))
    prolog, root = files.load(os.path.join(measure.corpus(), score))
    base = path("base.musicxml")
    files.save(base, prolog, root)
    part, marks = random_sheet(root, rng)
    told = {"marks": len(marks), "wrong": []}
    if not marks:
        return told
    sheet = written(path("sheet.toml"), toml(part, marks))

    def check(name, complaints):
        told[name] = not complaints
        told["wrong"] += ["%s: %s" % (name, c) for c in complaints[:6]]

    said = run(program, "clean", base, base, "-o", path("laid.musicxml"), "--mine", sheet)
    # What the score has already is not laid on again, and is not lifted.
    own = [m for m in plain(marks)]
    have = said.count("is there already")
    lifted = plain(lift(program, path("laid.musicxml"), base))
    lacking = apart(own, lifted)
    check("lifted", lacking if len(lacking) != have or any(c.startswith("extra") for c in lacking) else [])

    moved_root = copy.deepcopy(files.load(path("laid.musicxml"))[1])
    told_of = nuisances.Told(moved_root)
    for change in (nuisances.transposed, nuisances.part_names, nuisances.bar_numbers):
        change(moved_root, rng, told_of)
    files.save(path("mine.musicxml"), prolog, moved_root)
    run(program, "clean", base, base, "-o", path("back.musicxml"), "--mine", path("mine.musicxml"))
    check("other_key", apart(lifted, plain(lift(program, path("back.musicxml"), base))))

    check("editions", list(other_editions(program, score, seed, path, rng)))
    return told


def kinds(marks):
    return collections.Counter(json.dumps({k: v for k, v in m.items() if k not in ("at", "from", "to", "part")},
                                          sort_keys=True) for m in marks)


def other_editions(program, score, seed, path, rng):
    """Complaints about marks on a first edition's clean copy that do not come through on a second's."""
    first = pairs.make(os.path.join(measure.corpus(), score), seed)
    pairs.write(first, path("edition1.musicxml"), path("source.musicxml"))
    # Another editor of the same source.
    second = pairs.edited(copy.deepcopy(first.source), first.prolog, seed + 500)
    files.save(path("edition2.musicxml"), first.prolog, second.edition)
    for number in "12":
        run(program, "clean", path("edition%s.musicxml" % number), path("source.musicxml"), "-o", path("clean%s.musicxml" % number))
    both = set(first.told.transposition) & set(second.told.transposition)
    clean_root = files.load(path("clean1.musicxml"))[1]
    for part in [p for p in clean_root.findall("part") if p.get("id") not in both]:
        clean_root.remove(part)
    if not clean_root.findall("part"):
        return
    part, marks = random_sheet(clean_root, rng)
    if not marks:
        return
    sheet = written(path("second.toml"), toml(part, marks))
    run(program, "clean", path("edition1.musicxml"), path("source.musicxml"), "-o", path("marked1.musicxml"), "--mine", sheet)
    wanted = lift(program, path("marked1.musicxml"), path("clean1.musicxml"))
    said = run(program, "clean", path("edition2.musicxml"), path("source.musicxml"), "-o", path("marked2.musicxml"),
               "--mine", path("marked1.musicxml"))
    found = lift(program, path("marked2.musicxml"), path("clean2.musicxml"))
    if kinds(wanted) != kinds(found):
        yield "%s; %s" % (apart([m for m in kinds(wanted).elements()], [m for m in kinds(found).elements()])[:4],
                          [line for line in said.splitlines() if "lost" in line][:3])


def one(task):
    program, score, seed, keep = task
    told = {"score": score, "seed": seed, "wrong": []}
    with tempfile.TemporaryDirectory() as folder:
        try:
            told.update(look(program, score, seed, keep or folder))
        except Exception as error:      # one score must not end the run, and counts as failed
            told["wrong"].append("%s: %s" % (type(error).__name__, error))
            told["lifted"] = False
    return told


CHECKS = ("lifted", "other_key", "editions")


def main():
    options = argparse.ArgumentParser(description="Lays random mark sheets on real scores and lifts them again.")
    options.add_argument("program")
    options.add_argument("--scores", default=os.path.join(measure.HERE, "scores.txt"))
    options.add_argument("--seeds", default="1-40")
    options.add_argument("--json")
    options.add_argument("--workers", type=int, default=os.cpu_count())
    options.add_argument("--case", nargs=2, metavar=("SCORE", "SEED"))
    options.add_argument("--keep", help="of a case: write the files to this folder")
    given = options.parse_args()
    if given.case:
        if given.keep:
            os.makedirs(given.keep, exist_ok=True)
        print(json.dumps(one((given.program, given.case[0], int(given.case[1]), given.keep)), indent=1))
        return
    scores = [name for name, _ in measure.listed(given.scores)]
    tasks = [(given.program, scores[seed % len(scores)], seed, None) for seed in measure.span(given.seeds)]
    with ProcessPoolExecutor(given.workers) as pool:
        results = list(pool.map(one, tasks))
    used = [r for r in results if r.get("marks") or r["wrong"]]
    counts = {name: [sum(r[name] for r in used if name in r), sum(name in r for r in used)] for name in CHECKS}
    print("%d sheets on %d scores, %d marks" % (len(used), len({r["score"] for r in used}), sum(r.get("marks", 0) for r in used)))
    for name, (good, all_of) in counts.items():
        print("%-10s %4d of %4d" % (name, good, all_of))
    for r in results:
        if r["wrong"]:
            print("layers.py %s --case %s %d" % (given.program, r["score"], r["seed"]))
            for line in r["wrong"][:4]:
                print("    " + line[:300])
    if given.json:
        with open(given.json, "w", encoding="utf-8") as handle:
            json.dump({"counts": counts, "marks": sum(r.get("marks", 0) for r in used), "results": results}, handle, indent=1)


if __name__ == "__main__":
    main()
