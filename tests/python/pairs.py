"""Makes an edition and its source out of one real score and a seed, with the truth about both.

The source is the score with some marks more, so that there are marks of every
category to leave out or alter. The edition is its copy, worked over by an editor
and then written down in another way. The same score and seed give the same pair.
"""

import copy
import random
from fractions import Fraction

import deeds
import files
import nuisances
import repeat_deeds
from editor import Editor
from parts import Part


class Unsuitable(Exception):
    """The score cannot serve."""


class Pair:
    def __init__(self):
        self.prolog = self.source = self.edition = None
        self.findings, self.passages = [], []
        self.told = None
        self.deeds = []
        self.onsets = {}          # (side, part, voice or None) -> places where notes are struck


def make(path, seed, plain=False):
    pair = Pair()
    pair.prolog, pair.source = files.load(path)
    if pair.source.tag != "score-partwise":
        raise Unsuitable("not partwise")
    rng = random.Random("%s %d %s" % (path.replace("\\", "/").rsplit("corpus/", 1)[-1], seed, plain))
    if not plain or rng.random() < 0.5:
        editor = Editor(pair.source, rng)
        editor.work(rng.randint(20, 60), sorted(editor.additions))
    if rng.random() < 0.3:
        repeat_deeds.repeat_signs(deeds.Deeds(pair.source, rng), rng)
    return work(pair, rng, plain)


def edited(source, prolog, seed):
    """Another editor's edition of a source that is as it should be."""
    pair = Pair()
    pair.prolog, pair.source = prolog, source
    return work(pair, random.Random("another %d" % seed), False)


def work(pair, rng, plain):
    pair.edition = copy.deepcopy(pair.source)
    pair.told = nuisances.Told(pair.edition)
    if rng.random() < 0.25:
        name = nuisances.parts_left_out(pair.edition, rng, pair.told)
        if name:
            pair.told.names.append(name)
    if not plain:
        intervene(pair, rng, deeds.Deeds(pair.edition, rng))
    onsets(pair)
    nuisances.apply(pair.edition, rng, pair.told, rng.randint(3, 8) if plain else rng.randint(0, 5))
    move_pickup(pair)
    return pair


def intervene(pair, rng, done):
    """Does some of the deeds to the edition, and adds marks."""
    names = rng.sample(done.NAMES, rng.randint(2, 6))
    if "written-out-repeat" not in names and done.strain() and rng.random() < 0.5:
        names.append("written-out-repeat")
    if not set(names) & set(done.STRUCTURES) and rng.random() < 0.5:
        names.append(rng.choice(done.STRUCTURES))
    undone = done.work(names, rng.randint(1, 3))
    pair.deeds = [n for n in names if n not in undone]
    pair.told.odd_signatures = any(f["category"] == "signature" for f in done.findings)
    editor = Editor(pair.edition, rng, done.closed)
    for part in editor.parts:
        done.guard(part)
    editor.work(rng.randint(0, 30), sorted(editor.additions))
    done.place_added(editor.findings)
    more, pair.passages = done.settle()
    pair.findings = editor.findings + more


def onsets(pair):
    """Where notes are struck on both sides: what a passage's ends are measured in."""
    for side, root in (("edition", pair.edition), ("source", pair.source)):
        for part in map(Part, root.iter("part")):
            for chord in part.chords:
                if chord.rest or chord.grace or chord.cue or all(
                        any(t.get("type") == "stop" for t in n.findall("tie") + n.findall("notations/tied"))
                        for n in chord.members):
                    continue
                for voice in (None, chord.voice):
                    pair.onsets.setdefault((side, part.id, voice), set()).add((chord.bar.index, chord.onset))
    pair.onsets = {key: sorted(found) for key, found in pair.onsets.items()}


def move_pickup(pair):
    """A pickup that was filled up with rests has all its places later."""
    by = pair.told.pickup
    if not by:
        return

    def move(place):
        if place and place["bar_index"] == 0:
            place["offset"] = str(Fraction(place["offset"]) + by)
    for f in pair.findings:
        move(f)
        move(f.get("end"))
    for p in pair.passages:
        move(p["from"])
        move(p["to"])
    for key, found in pair.onsets.items():
        if key[0] == "edition":
            pair.onsets[key] = [(bar, at + by if bar == 0 else at) for bar, at in found]


def write(pair, edition, source):
    files.save(edition, pair.prolog, pair.edition)
    files.save(source, pair.prolog, pair.source)
