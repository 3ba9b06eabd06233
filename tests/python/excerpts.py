"""A movement, or some bars, of a longer file."""

import copy
from fractions import Fraction

import content
from building import element, insert
from deeds import Deeds
from files import elements
from lines import ATTRIBUTES, Unfit, put_attribute


def layout_of(root):
    return [max([int(s.text) for s in part.iter("staves")] or [1]) for part in root.findall("part")]


def follow(root, other):
    """Puts the bars of another piece behind those of a score, part by part."""
    parts, more = root.findall("part"), other.findall("part")
    if layout_of(root) != layout_of(other) or any(r.find(".//transpose") is not None for r in (root, other)):
        raise Unfit("other parts")
    if any(r.find(".//" + t) is not None for r in (root, other) for t in ("unpitched", "figured-bass")):
        raise Unfit("not for any interval")
    attach(parts, [], [[strange(m) for m in part.findall("measure")] for part in more])


def strange(measure):
    """A bar for a part that has not its instruments."""
    for note in measure.iter("note"):
        for el in note.findall("instrument"):
            note.remove(el)
    return measure


def attach(parts, before, after):
    """Puts bars in front of the bars of each part, and behind them."""
    for at, part in enumerate(parts):
        for place, measure in enumerate(before[at] if before else ()):
            part.insert(place, measure)
        for measure in after[at] if after else ():
            part.append(measure)


def in_force(part, until):
    """What the bars before one say of divisions, key, time, staves and clefs."""
    found = {}
    for measure in part.findall("measure")[:until]:
        for attributes in measure.findall("attributes"):
            for child in elements(attributes):
                if child.tag in ("divisions", "key", "time", "staves", "clef", "transpose", "staff-details"):
                    found[child.tag, child.get("number")] = child
    return found


def begin(part, measure, found):
    """A bar that says itself what holds from its start."""
    attributes = measure.find("attributes")
    starts = attributes is not None and not any(
        c.tag in ("note", "backup", "forward") for c in list(measure)[:list(measure).index(attributes)])
    if not starts:
        attributes = element("attributes")
        place = 1 if len(measure) and measure[0].tag in ("print", "barline") else 0
        insert(measure, place, attributes)
    own = {(c.tag, c.get("number")) for c in elements(attributes)}
    for key in sorted(found, key=lambda k: (ATTRIBUTES.index(k[0]), k[1] or "")):
        if key not in own:
            put_attribute(attributes, copy.deepcopy(found[key]))


def stretches(root, rng, least=12):
    """(first, after the last) of bars that can stand alone: nothing reaches over their borders, and they come only once."""
    found = Deeds(root, rng)
    total = min(len(p.bars) for p in found.all)
    if not found.same_bars() or total < least + 8:
        return None
    bars = [[b["notes"] for b in part["bars"]] for part in content.content(root)["parts"]]

    def alike(a, b):
        pairs = [(p[a], p[b]) for p in bars if p[a]]
        return bool(pairs) and sum(x == y for x, y in pairs) * 2 > len(pairs)
    for _ in range(60):
        # A bar or two less could as well be a cut.
        first, last = rng.choice([0, rng.randint(0, total)]), rng.choice([total, rng.randint(0, total)])
        if last - first < least or last - first == total or 0 < first < 8 or 0 < total - last < 8:
            continue
        if any(first in found.shut[p.id] or last in found.shut[p.id] for p in found.all):
            continue
        # Both ends must be told from the bars beside them, and no other place may be as good.
        beside = [(first, first - 1)] * (first > 0) + [(last - 1, last)] * (last < total)
        if any(alike(a, b) for a, b in beside) or any(
                sum(alike(i, i + by) for i in range(first, last) if 0 <= i + by < total) * 4 > last - first
                for by in range(-total, total) if by):
            continue
        if any(not any(p[i] for p in bars) for i in (first, last - 1)):
            continue
        if any(line.find(tag) is not None for p in found.all for b in p.bars[max(0, first - 1): last + 1]
               for line in b.el.findall("barline") for tag in ("repeat", "ending")):
            continue
        return first, last
    return None


def cut_out(root, first, last):
    """The bars as a score of their own, and of each part those before and after."""
    alone = copy.deepcopy(root)
    before, after = [], []
    for part in alone.findall("part"):
        found, measures = in_force(part, first), part.findall("measure")
        before.append(measures[:first])
        after.append(measures[last:])
        for measure in measures[:first] + measures[last:]:
            part.remove(measure)
        if first:
            begin(part, measures[first], found)
            measures[first].set("implicit", "no") if measures[first].get("implicit") else None
    return alone, before, after
