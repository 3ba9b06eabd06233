"""Makes an edition and its source out of a score with several parts, voices and staves, with the truth about both.

Beyond what pairs.py does, parts and staves are put together or taken apart on one
side, an accompaniment or a doubling is added, and one side may hold more than the
other: another movement, or the bars about an excerpt. Findings name the part as it
was before it was put together; `groups` says which parts of the files it went into.
"""

import copy
import random
from fractions import Fraction

import accompany
import chord_deeds
import deeds
import excerpts
import files
import lines
import nuisances
import pairs
import poly_nuisances
import repeat_deeds
from files import text_of
from editor import Editor
from lines import Unfit

# Of the ways to write the same, those that are told line by line.
WHOLE_OCTAVES = (nuisances.whole_part_octave,)


class PolyPair(pairs.Pair):
    def __init__(self):
        super().__init__()
        self.plan = None                    # (side, kind, ids of parts)
        self.base = {}                      # part as it was -> its group
        self.groups = {"edition": {}, "source": {}}     # part of the file -> its group
        self.beside = []                    # (edition's line, source's line, part as it was); line: (id, staff, voices)
        self.alone = {"edition": [], "source": []}      # parts without counterpart
        self.doubled = {}                   # part of the edition -> the part that it doubles
        self.rest = {"edition": 0, "source": 0}         # bars outside the scope
        self.begin = {"edition": 0, "source": 0}        # bars before the scope
        self.halved = set()                 # groups whose staves are parts on one side


def part_ids(root):
    return [p.get("id") for p in root.findall("part")]


def make(path, seed, plain=False, others=()):
    """The pair of a score and a seed; `others` are paths of scores that may follow it as a second movement."""
    pair = PolyPair()
    pair.prolog, score = files.load(path)
    if score.tag != "score-partwise":
        raise pairs.Unsuitable("not partwise")
    rng = random.Random("poly %s %d %s" % (path.replace("\\", "/").rsplit("corpus/", 1)[-1], seed, plain))
    if rng.random() < 0.3:
        score = assembled(score, rng, pair)
    if not plain or rng.random() < 0.5:
        editor = Editor(score, rng)
        editor.work(rng.randint(20, 60), sorted(editor.additions))
    if rng.random() < 0.4:
        repeat_deeds.repeat_signs(deeds.Deeds(score, rng), rng)
    longer, before, after, score = scope(score, rng, pair, others)
    plan(pair, score, longer, rng)
    pair.source, pair.edition = score, copy.deepcopy(score)
    pair.told = nuisances.Told(pair.edition)
    pair.told.further = set()         # parts that one side has more
    pair.told.closed_staves = pair.plan is not None and pair.plan[1] == "split"
    if not longer and not pair.plan and rng.random() < 0.2:
        name = nuisances.parts_left_out(pair.edition, rng, pair.told)
        if name:
            pair.told.names.append(name)
            pair.alone["source"] += [i for i in part_ids(pair.source) if i not in part_ids(pair.edition)]
    if not plain:
        beside = [pair.plan[2]] if pair.plan else []
        done = chord_deeds.ChordDeeds(pair.edition, rng, beside, pair.source)
        if after:
            # Before bars that only one side has, a close is no close.
            done.NAMES = tuple(n for n in done.NAMES if n != "ending")
            done.STRUCTURES = tuple(n for n in done.STRUCTURES if n != "ending")
        pairs.intervene(pair, rng, done)
    pairs.onsets(pair)
    if longer:
        attach(pair, longer, before, after)
    for name in part_ids(pair.edition):
        pair.base[name] = name
    more_lines(pair, rng)
    write_otherwise(pair, rng, rng.randint(3, 9) if plain else rng.randint(0, 5), bool(longer))
    pairs.move_pickup(pair)
    settle(pair)
    shift(pair)
    return pair


# ---------------------------------------------------------------- the source

def assembled(score, rng, pair):
    """A keyboard reduction of four parts, or two parts on one staff; the score as it is where that cannot be."""
    names = part_ids(score)
    trial = copy.deepcopy(score)
    try:
        if len(names) == 4 and rng.random() < 0.6:
            reduce_to_two(trial, names)
            pair.told_assembly = "a keyboard reduction"
        elif len(names) >= 2:
            at = rng.randrange(len(names) - 1)
            lines.merge(trial, names[at: at + 2], False)
            pair.told_assembly = "two parts on a staff"
        return trial
    except Unfit:
        return score


def reduce_to_two(root, names):
    upper = lines.merge(root, names[:2], False)
    lower = lines.merge(root, names[2:], False)
    return upper, lower, lines.merge(root, [names[0], names[2]], True)


def scope(score, rng, pair, others):
    """Which side is longer (or None), the bars before and after, and the score of what both have."""
    draw = rng.random()
    side = rng.choice(["edition", "source"])
    if draw < 0.12 and others:
        for other in rng.sample(others, len(others)):
            second = files.load(other)[1]
            trial = copy.deepcopy(score)
            try:
                excerpts.follow(trial, second)
            except Unfit:
                continue
            count = len(score.find("part").findall("measure"))
            total = len(trial.find("part").findall("measure"))
            rest = [part.findall("measure")[count:] for part in trial.findall("part")]
            if rng.random() < 0.5:
                pair.deeds_before = "a movement after it in the %s" % side
                return measured(pair, side, None, rest, score, 0, total - count)
            pair.deeds_before = "a movement before it in the %s" % side
            return measured(pair, side, rest, None, score, total - count, total - count)
    elif draw < 0.27:
        found = excerpts.stretches(score, rng)
        if found:
            first, last = found
            alone, before, after = excerpts.cut_out(score, first, last)
            pair.deeds_before = "bars %d to %d, the whole in the %s" % (first, last - 1, side)
            return measured(pair, side, before, after, alone, first, sum(map(len, (before[0], after[0]))))
    return None, None, None, score


def measured(pair, side, before, after, score, begin, rest):
    pair.begin[side], pair.rest[side] = begin, rest
    return side, before, after, score


def attach(pair, longer, before, after):
    root = getattr(pair, longer)
    excerpts.attach(root.findall("part"), before, after)
    pair.told.names.append(pair.deeds_before)


# ---------------------------------------------------------------- lines

def plan(pair, score, longer, rng):
    """What is to be put together or taken apart on one side, if it can be."""
    if rng.random() < 0.45:
        return
    names = part_ids(score)
    two = [n for n in names if any(s.text == "2" for s in lines.part_of(score, n).iter("staves"))]
    choices = [("split", [n]) for n in two]
    for kind in ("staves", "voices"):
        choices += [(kind, names[i: i + 2]) for i in range(len(names) - 1)]
    if len(names) == 4:
        choices += [("reduction", names)] * 3
    rng.shuffle(choices)
    for kind, ids in choices[:4]:
        try:
            regroup(copy.deepcopy(score), kind, ids)
        except Unfit:
            continue
        pair.plan = (rng.choice(["edition", "source"]), kind, ids)
        return


def regroup(root, kind, ids):
    """Does it; gives (line, part as it was, its line there) of each line."""
    if kind == "split":
        names = lines.split_staves(root, ids[0])
        return [((name, None, None), ids[0], (ids[0], str(at), None)) for at, name in enumerate(names, 1)]
    if kind == "reduction":
        upper, lower, both = reduce_to_two(root, ids)
        voices = [v for _, v in upper + lower]
        # The lower staff's voices were named anew.
        lower_names = sorted(both[1][1], key=int)
        voices[2:] = [lower_names[:len(voices[2])], lower_names[len(voices[2]):]]
        upper_names = sorted(both[0][1], key=int)
        voices[:2] = [upper_names[:len(voices[0])], upper_names[len(voices[0]):]]
        return [((ids[0], str(1 + at // 2), voices[at]), name, (name, None, None)) for at, name in enumerate(ids)]
    made = lines.merge(root, ids, kind == "staves")
    return [((ids[0], staff, voices if kind == "voices" else None), name, (name, None, None))
            for name, (staff, voices) in zip(ids, made)]


def more_lines(pair, rng):
    """An accompaniment, or a doubling, that the other side has not."""
    draw = rng.random()
    if draw < 0.15:
        side = "edition" if rng.random() < 0.7 else "source"
        root = getattr(pair, side)
        made = accompany.accompaniment(root, rng, "acc")
        if made is not None:
            lines.add_part(root, made, "Piano")
            pair.alone[side].append("acc")
            if side == "edition":
                pair.told.transposition["acc"] = [0, 0]
                pair.told.further.add("acc")
            pair.told.names.append("an accompaniment in the %s" % side)
    elif draw < 0.25 and len(part_ids(pair.edition)) > 1:
        name = rng.choice([n for n in part_ids(pair.edition)])
        if not pair.plan or name not in pair.plan[2]:
            made = lines.double(pair.edition, name)
            pair.doubled[made] = name
            pair.told.further.add(made)
            pair.told.transposition[made] = list(pair.told.transposition[name])
            pair.told.names.append("%s doubled" % name)


def write_otherwise(pair, rng, count, longer):
    told, root = pair.told, pair.edition
    every = list(nuisances.ALL + poly_nuisances.ALL)
    chosen = set(rng.sample(every, count))
    if rng.random() < 0.4:
        chosen.add(nuisances.transposed)
    without = set()
    if longer:
        without.add(nuisances.padded_pickup)
    if pair.plan or pair.doubled or pair.alone["edition"]:
        without.update(WHOLE_OCTAVES)
    if poly_nuisances.enharmonic in chosen:
        without.update([nuisances.transposed, nuisances.whole_part_octave, nuisances.signature_with_one_less])
    if poly_nuisances.hidden_notes in chosen:
        without.add(nuisances.voices_reordered)
    late = poly_nuisances.LAST + (nuisances.voices_reordered, nuisances.finer_divisions)
    order = sorted(chosen - without, key=lambda n: (n in late, every.index(n)))
    # The ways to write divisions do not go together.
    if poly_nuisances.rounded in order:
        order = [n for n in order if n not in (nuisances.finer_divisions, poly_nuisances.divisions_changed)]
    for nuisance in [n for n in order if n not in late]:
        name = nuisance(root, rng, told)
        if name:
            told.names.append(name)
    found = None
    if pair.plan:
        side, kind, ids = pair.plan
        trial = copy.deepcopy(getattr(pair, side))
        try:
            found = regroup(trial, kind, ids)
            getattr(pair, side)[:] = list(trial)
            told.names.append("%s: %s of %s" % (side, kind, " ".join(ids)))
        except Unfit as error:
            pair.plan = None
            told.names.append("not regrouped: %s" % error)
    pair.regrouped = found
    for nuisance in [n for n in order if n in late]:
        name = nuisance(root, rng, told)
        if name:
            told.names.append(name)


def settle(pair):
    """Which line lies beside which, and which parts of the files belong together."""
    names = [n for n in pair.base if n not in pair.doubled]
    if pair.regrouped:
        side, kind, ids = pair.plan
        for here, base, there in pair.regrouped:
            pair.base[base] = ids[0]
            pair.groups[side][here[0]] = ids[0]
            other = "source" if side == "edition" else "edition"
            pair.groups[other][there[0]] = ids[0]
            here = counted_voices(getattr(pair, side), here)
            two = {side: here, other: there}
            pair.beside.append((two["edition"], two["source"], base))
        if kind == "split":
            pair.halved.add(ids[0])
    for name in names:
        if pair.regrouped and name in pair.plan[2]:
            continue
        for side in ("edition", "source"):
            pair.groups[side][name] = name
        pair.beside.append(((name, None, None), (name, None, None), name))
    for made, name in pair.doubled.items():
        pair.groups["edition"][made] = pair.base[name]


def counted_voices(root, line):
    """A line's voices, by their names and by which ones of the part they are."""
    name, staff, voices = line
    if voices is None:
        return line
    order = []
    for note in lines.part_of(root, name).iter("note"):
        voice = text_of(note, "voice", "1")
        if voice not in order:
            order.append(voice)
    numbers = [str(each.index(v) + 1) for each in (order, sorted(order, key=int)) for v in voices if v in each]
    return name, staff, sorted(set(voices) | set(numbers))


def shift(pair):
    """Places in the files, where one side begins before the other."""
    for side, names in (("edition", ("bar_index", ("from", "to"))), ("source", ("source_bar_index", ("source_from", "source_to")))):
        by = pair.begin[side]
        for f in pair.findings:
            if f.get(names[0]) is not None:
                f[names[0]] += by
            if side == "edition" and f.get("end") and f["end"]["bar_index"] is not None:
                f["end"]["bar_index"] += by
        for p in pair.passages:
            for end in names[1]:
                if p.get(end) and p[end]["bar_index"] is not None:
                    p[end]["bar_index"] += by
        for key, found in pair.onsets.items():
            if key[0] == side:
                pair.onsets[key] = [(bar + by, at) for bar, at in found]
