"""An accompaniment that an arranger adds below a score."""

from fractions import Fraction

import lines
from building import element, insert
from deed_places import pitch_of, written
from files import text_of
from moving import NATURAL, STEPS
from parts import Part

# What the left hand plays of a chord, from its lowest note.
FIGURES = ((0, 1, 2, 1), (0, 2, 1, 2), (0, 1, 2))


def accompaniment(root, rng, name):
    """A part of broken chords, made of what each bar sounds; None where bars are not all of a length."""
    model = Part(root.find("part"))
    others = [Part(p) for p in root.findall("part")]
    divisions = lines.even_divisions(root.findall("part"))
    made = element("part", id=name)
    made.text, made.tail = model.el.text, model.el.tail
    figure = rng.choice(FIGURES)
    for bar in model.bars:
        if any(p.bars[bar.index].length != bar.length for p in others):
            return None
        heard = {}
        for part in others:
            for chord in part.in_bar[bar.index]:
                for note in chord.members:
                    pitch = pitch_of(note)
                    if pitch and pitch[1].denominator == 1 and not chord.grace:
                        heard[pitch[:2]] = heard.get(pitch[:2], 0) + chord.duration
        made.append(one_bar(bar, sorted(heard, key=lambda p: (-heard[p], p))[:3], figure, divisions))
    first = made.find("measure")
    above = model.el.find("measure/attributes")
    signs = [element("divisions", str(divisions))]
    for tag in ("key", "time"):
        signs += [element(tag, children=[element(c.tag, c.text) for c in s]) for s in above.findall(tag)]
    signs.append(element("clef", children=[element("sign", "F"), element("line", "4")]))
    insert(first, 0, element("attributes", children=signs))
    # Signatures and barlines are those of the whole score.
    for ours, theirs in zip(made.findall("measure"), model.el.findall("measure")):
        if ours is not first:
            found = [s for a in theirs.findall("attributes") for s in a if s.tag in ("key", "time")]
            if found:
                insert(ours, 0, element("attributes", children=[
                    element(s.tag, children=[element(c.tag, c.text) for c in s]) for s in found]))
        for line in theirs.findall("barline"):
            same = element("barline", location=line.get("location"), children=[
                element(c.tag, c.text, **{k.replace("-", "_"): v for k, v in c.attrib.items()}) for c in line
                if c.tag in ("bar-style", "repeat", "ending")])
            insert(ours, 0 if line.get("location") == "left" else len(ours), same)
    return made


def one_bar(bar, pitches, figure, divisions):
    made = element("measure", number=bar.number)
    made.text, made.tail = bar.el.text, bar.el.tail
    unit = Fraction(1, 2)
    if not pitches or (bar.length / unit).denominator != 1 or (unit * divisions).denominator != 1:
        if bar.length:
            insert(made, 0, element("note", children=[
                element("rest", measure="yes"), element("duration", str(bar.length * divisions)), element("voice", "1")]))
        return made
    # Deep, and from the lowest upwards.
    heights = sorted((NATURAL[STEPS.index(s)] + int(a), s, a) for s, a in pitches)
    for at in range(int(bar.length / unit)):
        height, step, alter = heights[figure[at % len(figure)] % len(heights)]
        pitch = [element("step", step)] + ([element("alter", str(alter))] if alter else []) + [element("octave", "2")]
        insert(made, len(made), element("note", children=[
            element("pitch", children=pitch), element("duration", str(unit * divisions)), element("voice", "1"),
            element("type", written(unit)[0])]))
    return made
