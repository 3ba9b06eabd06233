"""Other ways to write the same music down, none of which an audit may report.

Each function works on the edition, after all deeds, and gives a short name of
what it did, or None where it finds no place. `told` is what must be known of it
afterwards: the transposition by part, and by how much the first bar's places moved.
"""

import copy
from fractions import Fraction

from building import element, indent, insert, put_in_note
from deed_places import SPANNING, pitch_of, written
from files import text_of
from moving import GLYPHS, Impossible, Interval, move, number
from parts import Part

# What each number of semitones is called in steps, the usual name first.
STEPS_OF = {
    0: (0,), 1: (1, 0), 2: (1, 2), 3: (2, 1), 4: (2, 3), 5: (3,), 6: (3, 4), 7: (4,), 8: (5, 4), 9: (5, 6), 10: (6, 5),
    11: (6, 7), 12: (7,),
}


class Told:
    def __init__(self, root):
        self.transposition = {part.get("id"): [0, 0] for part in root.iter("part")}   # steps, semitones
        self.pickup = Fraction(0)
        self.odd_signatures = False      # a deed has to do with signatures: leave them alone
        self.names = []


def divisions_of(root_part):
    """The divisions that hold in each measure."""
    found, divisions = {}, Fraction(1)
    for measure in root_part.findall("measure"):
        for el in measure.iter("divisions"):
            divisions = number(el.text)
        found[measure] = divisions
    return found


def twins(root):
    """Parts that could be taken for each other: what they sound is nearly the same, whatever the octave."""
    lines = []
    for part in map(Part, root.iter("part")):
        lines.append({(c.time, pitch_of(n)[0]) for c in part.chords for n in c.members if pitch_of(n)})
    return any(
        len(a & b) * 3 >= min(len(a), len(b)) * 2
        for at, a in enumerate(lines) for b in lines[at + 1:])


# ---------------------------------------------------------------- the whole score

def parts_left_out(root, rng, told):
    parts = root.findall("part")
    if len(parts) < 2 or twins(root):
        return None
    full = [p for p in parts if sum(1 for n in p.iter("note") if n.find("pitch") is not None) >= 24]
    if not full:
        return None
    chosen = [rng.choice(full)] if rng.random() < 0.6 else rng.sample(full, rng.randint(1, len(full)))
    for part in parts:
        if part not in chosen:
            root.remove(part)
            drop_from_list(root, part.get("id"))
            del told.transposition[part.get("id")]
    return "parts left out"


def drop_from_list(root, name):
    listed = root.find("part-list")
    for entry in listed.findall("score-part"):
        if entry.get("id") == name:
            listed.remove(entry)
    # A bracket around parts that are gone would hold nothing.
    for group in listed.findall("part-group"):
        listed.remove(group)


def transposed(root, rng, told):
    order = [n for n in range(-12, 13) if n]
    rng.shuffle(order)
    for semitones in order:
        steps = list(STEPS_OF[abs(semitones)])
        if rng.random() < 0.3:
            steps.reverse()
        for step in steps:
            sign = 1 if semitones > 0 else -1
            interval = Interval(sign * step, semitones)
            if not sensible(root, interval):
                continue
            trial = copy.deepcopy(root)
            try:
                still = move(trial, interval)
            except Impossible:
                continue
            root[:] = list(trial)
            for name, so_far in told.transposition.items():
                if name not in still:
                    so_far[0] += interval.steps
                    so_far[1] += interval.semitones
            return "%+d semitones, %+d steps" % (interval.semitones, interval.steps)
    return None


def sensible(root, interval):
    """No key of more than seven signs, no note with more than two."""
    for fifths in root.iter("fifths"):
        if abs(int(fifths.text) + interval.fifths) > 7:
            return False
    for pitch in root.iter("pitch"):
        _, alter, octave = interval.pitch(
            text_of(pitch, "step"), number(text_of(pitch, "alter")), int(text_of(pitch, "octave")))
        if abs(alter) > 2 or not 0 <= octave <= 9:
            return False
    return True


def whole_part_octave(root, rng, told):
    part = rng.choice(root.findall("part"))
    octaves = [int(o.text) for o in part.iter("octave")]
    if not octaves:
        return None
    move_by = rng.choice([d for d in (-1, 1) if 0 <= min(octaves) + d and max(octaves) + d <= 9] or [0])
    if not move_by:
        return None
    for octave in part.iter("octave"):
        octave.text = str(int(octave.text) + move_by)
    for rest in part.iter("display-octave"):
        rest.text = str(max(0, min(9, int(rest.text) + move_by)))
    told.transposition[part.get("id")][0] += 7 * move_by
    told.transposition[part.get("id")][1] += 12 * move_by
    return "%s an octave %s" % (part.get("id"), "up" if move_by > 0 else "down")


def part_names(root, rng, told):
    if twins(root):
        return None
    names = rng.sample(["Part %d" % n for n in range(1, 60)], len(root.findall("part")))
    for entry, name in zip(root.iter("score-part"), names):
        entry.find("part-name").text = name
        for tag in ("part-name-display", "part-abbreviation", "part-abbreviation-display"):
            for old in entry.findall(tag):
                entry.remove(old)
        for instrument in entry.iter("instrument-name"):
            instrument.text = name
    return "other part names"


def part_order(root, rng, told):
    parts, listed = root.findall("part"), root.find("part-list")
    entries = listed.findall("score-part")
    if len(parts) < 2 or len(parts) != len(entries) or twins(root):
        return None
    for group in listed.findall("part-group"):
        listed.remove(group)
    order = list(range(len(parts)))
    rng.shuffle(order)
    for holder, children in ((root, parts), (listed, entries)):
        places = [list(holder).index(child) for child in children]
        for place, which in zip(places, order):
            holder[place] = children[which]
    return "other part order"


def bar_numbers(root, rng, told):
    start = rng.choice([0, 1, 17])
    for part in root.findall("part"):
        for at, measure in enumerate(part.findall("measure")):
            measure.set("number", str(start + at))
            measure.attrib.pop("implicit", None)
    return "bars numbered from %d" % start


def finer_divisions(root, rng, told):
    factor = rng.choice([2, 3, 5, 8])
    for part in root.findall("part"):
        first = part.find("measure/attributes/divisions")
        if first is None:
            return None
    for part in root.findall("part"):
        for tag in ("divisions", "duration"):
            for el in part.iter(tag):
                el.text = str(number(el.text) * factor)
        for holder in ("direction", "harmony", "sound"):
            for el in part.iter(holder):
                for offset in el.findall("offset"):
                    offset.text = str(number(offset.text) * factor)
    return "divisions %d times as fine" % factor


def padded_pickup(root, rng, told):
    """A short first bar made whole with rests, or one that begins with rests made short."""
    parts = list(map(Part, root.iter("part")))
    times = [p.el.find("measure/attributes/time") for p in parts]
    if any(t is None or t.find("beats") is None or not text_of(t, "beats").isdigit() for t in times):
        return None
    if any(len(p.bars) < 4 or p.bars[0].el.find(".//measure") is not None for p in parts):
        return None
    if any(el.tag in ("backup", "forward", "figured-bass") for p in parts for el in p.bars[0].el):
        return None
    whole = {Fraction(int(text_of(t, "beats")) * 4, int(text_of(t, "beat-type"))) for t in times}
    lengths = {p.bars[0].length for p in parts}
    if len(whole) != 1 or len(lengths) != 1 or {p.bars[1].length for p in parts} != whole:
        return None
    whole, length = whole.pop(), lengths.pop()
    divisions = [divisions_of(p.el)[p.bars[0].el] for p in parts]
    if 0 < length < whole:
        gap = whole - length
        if written(gap) is None or any((gap * d).denominator != 1 for d in divisions):
            return None
        for part, d in zip(parts, divisions):
            head = next(c for c in part.chords if c.bar is part.bars[0]).head
            el = part.bars[0].el
            name, dots = written(gap)
            rest = element("note", children=[element("rest"), element("duration", str(gap * d))]
                           + [element("voice", text_of(head, "voice"))] * (head.find("voice") is not None)
                           + [element("type", name)] + [element("dot") for _ in range(dots)]
                           + [element("staff", text_of(head, "staff"))] * (head.find("staff") is not None))
            place = next(i for i, c in enumerate(el) if c.tag in ("note", "direction", "harmony"))
            insert(el, place, rest)
            el.attrib.pop("implicit", None)
        told.pickup += gap
        return "the pickup filled up with rests"
    return None


# ---------------------------------------------------------------- bar by bar

def voices_renamed(root, rng, told):
    shift = rng.randint(1, 4)
    for part in root.findall("part"):
        if part.find(".//direction/voice") is not None:
            continue
        names = sorted({v.text.strip() for v in part.iter("voice")})
        if not all(n.isdigit() for n in names):
            continue
        new = {n: str(int(n) + shift) for n in names}
        for voice in part.iter("voice"):
            voice.text = new[voice.text.strip()]
    return "other voice numbers"


def voices_reordered(root, rng, told):
    """The voices of a bar written in the other order, with the backup between them."""
    done = 0
    for part in root.findall("part"):
        divisions = divisions_of(part)
        for measure in part.findall("measure"):
            if rng.random() < 0.5 and reorder(measure, divisions[measure]):
                done += 1
    return "voices in another order in %d bars" % done if done else None


def reorder(measure, divisions):
    children = list(measure)
    if not any(c.tag == "backup" for c in children if isinstance(c.tag, str)):
        return False
    first = next(i for i, c in enumerate(children) if c.tag == "note")
    while first > 0 and children[first - 1].tag in ("direction", "harmony", "figured-bass", "forward"):
        first -= 1
    last = len(children)
    while children[last - 1].tag == "barline":
        last -= 1
    layers, cursor, furthest = [[]], Fraction(0), []
    for child in children[first:last]:
        if child.tag == "backup":
            furthest.append(cursor)
            cursor -= number(text_of(child, "duration"))
            if cursor != 0:
                return False
            layers.append([])
            continue
        if child.tag not in ("note", "direction", "harmony", "forward", "figured-bass"):
            return False
        layers[-1].append(child)
        if child.tag in ("note", "forward") and child.find("chord") is None and child.find("grace") is None:
            cursor += number(text_of(child, "duration"))
    furthest.append(cursor)
    # Spans of one number in two layers are told apart by their order, and so are words and
    # figures that stand by the note before or after them.
    spans = [{(el.tag, el.get("number", "1")) for c in layer for el in c.iter() if el.tag in SPANNING
              or el.tag in ("tremolo", "ending")} for layer in layers]
    if len(layers) != 2 or spans[0] & spans[1] or not all(furthest) or not all(layers):
        return False
    if any(layer[-1].tag != "note" or layer[0].tag == "figured-bass" for layer in layers):
        return False
    # A beat past the end of the last layer would lie elsewhere after the barline.
    if last < len(children) and furthest[0] != furthest[1]:
        return False
    tails = [c.tail for c in children]
    back = element("backup", children=[element("duration", str(furthest[1]))])
    indent(back, measure.text)
    measure[first:last] = layers[1] + [back] + layers[0]
    for child, tail in zip(measure, tails):
        child.tail = tail
    return True


def signature_with_one_less(root, rng, told):
    """Old signatures often lack the last accidental; the notes then bring it themselves."""
    if told.odd_signatures:
        return None
    done = False
    for part in root.findall("part"):
        if any(k.find("fifths") is None or k.get("number") for k in part.iter("key")):
            continue
        lost = None
        for measure in part.findall("measure"):
            keys = measure.findall("attributes/key")
            for key in keys:
                fifths = int(text_of(key, "fifths"))
                lost = None if fifths == 0 else ("FCGDAEB"[fifths - 1] if fifths > 0 else "BEADGCF"[-fifths - 1])
                if fifths:
                    key.find("fifths").text = str(fifths - (1 if fifths > 0 else -1))
                    done = True
            if lost:
                for note in measure.iter("note"):
                    pitch = pitch_of(note)
                    if pitch and pitch[0] == lost:
                        print_accidental(note)
    return "one accidental fewer in the signature" if done else None


def print_accidental(note):
    _, alter, _ = pitch_of(note)
    if note.find("accidental") is None and alter in GLYPHS:
        put_in_note(note, element("accidental", GLYPHS[alter]))
        return True
    return False


def redundant_accidentals(root, rng, told):
    notes = [n for n in root.iter("note") if pitch_of(n)]
    done = sum(print_accidental(n) for n in notes if rng.random() < 0.1)
    return "%d redundant accidentals" % done if done else None


def dotted_or_tied(root, rng, told):
    """A dotted note becomes two tied ones, and the reverse, inside a bar."""
    done = 0
    for part in map(Part, root.iter("part")):
        divisions = divisions_of(part.el)
        for chord in part.chords:
            if rng.random() < 0.5 or not chord.playable or chord.has("beam") or chord.has("time-modification"):
                continue
            if any(pitch_of(n) is None or len(n.findall("dot")) != 1 or n.find("type") is None for n in chord.members):
                continue
            if any(n.find(t) is not None for n in chord.members for t in (
                    "notations/fermata", "notations/ornaments", "notations/slur", "notations/arpeggiate",
                    "notations/glissando", "notations/slide", "lyric", "notations/articulations/breath-mark")):
                continue
            length = number(text_of(chord.head, "duration"))
            if any(number(text_of(n, "duration")) != length for n in chord.members):
                continue
            long, short = length * 2 / 3, length / 3
            if long.denominator != 1 or short.denominator != 1:
                continue
            names = written(long / divisions[chord.bar.el]), written(short / divisions[chord.bar.el])
            if None in names or names[0][1] or names[1][1] or written(chord.duration) is None:
                continue
            el = chord.bar.el
            place = list(el).index(chord.members[-1]) + 1
            # What lies between the two stays by its time.
            for note in chord.members:
                second = copy.deepcopy(note)
                second.attrib.clear()
                for tag in ("accidental", "notations", "dot", "tie"):
                    for child in second.findall(tag):
                        second.remove(child)
                going_on = any(t.get("type") == "start" for t in note.findall("tie") + note.findall("notations/tied"))
                note.remove(note.find("dot"))
                for n, size, name in ((note, long, names[0]), (second, short, names[1])):
                    n.find("duration").text = str(size)
                    n.find("type").text = name[0]
                join(second, "stop")
                if going_on:
                    join(second, "start")
                else:
                    join(note, "start")
                insert(el, place, second)
                place += 1
            done += 1
    return "%d dotted notes as two tied ones" % done if done else None


def join(note, kind):
    put_in_note(note, element("tie", type=kind))
    tied = element("tied", type=kind)
    notations = note.find("notations")
    if notations is None:
        put_in_note(note, element("notations", children=[tied]))
    else:
        insert(notations, len(notations), tied)


def beams_and_stems(root, rng, told):
    tags = rng.choice([("beam",), ("stem",), ("beam", "stem")])
    done = 0
    for note in root.iter("note"):
        for tag in tags:
            for child in note.findall(tag):
                note.remove(child)
                done += 1
    if not done:
        for note in root.iter("note"):
            if pitch_of(note) and rng.random() < 0.5:
                put_in_note(note, element("stem", rng.choice(["up", "down"])))
                done += 1
    return "beams or stems"


def layout(root, rng, told):
    if rng.random() < 0.5:
        for part in root.iter("part"):
            for measure in part.findall("measure"):
                for old in measure.findall("print"):
                    measure.remove(old)
                measure.attrib.pop("width", None)
    else:
        for part in root.iter("part"):
            for measure in part.findall("measure")[1:]:
                if rng.random() < 0.2 and measure.find("print") is None:
                    insert(measure, 0, element("print", **{rng.choice(["new_system", "new_page"]): "yes"}))
    for note in root.iter("note"):
        if rng.random() < 0.3:
            note.set("default-x", str(rng.randint(10, 300)))
    return "layout"


def rests_otherwise(root, rng, told):
    done = 0
    for part in map(Part, root.iter("part")):
        divisions = divisions_of(part.el)
        for chord in part.chords:
            if not chord.rest or chord.grace or chord.cue or rng.random() < 0.5:
                continue
            note = chord.head
            if note.find("notations") is not None or chord.has("time-modification") or note.find("lyric") is not None:
                continue
            rest = note.find("rest")
            if chord.onset == 0 and chord.duration == chord.bar.length:
                if rest.get("measure") == "yes":
                    del rest.attrib["measure"]
                else:
                    rest.set("measure", "yes")
                    for child in note.findall("type") + note.findall("dot"):
                        note.remove(child)
                done += 1
                continue
            half = number(text_of(note, "duration")) / 2
            name = written(half / divisions[chord.bar.el])
            if half.denominator != 1 or note.find("type") is None or name is None or name[1] or note.find("dot") is not None:
                continue
            note.find("duration").text = str(half)
            note.find("type").text = name[0]
            insert(chord.bar.el, list(chord.bar.el).index(note) + 1, copy.deepcopy(note))
            done += 1
    return "%d rests written otherwise" % done if done else None


ALL = (
    dotted_or_tied, rests_otherwise, voices_reordered, voices_renamed, redundant_accidentals, beams_and_stems, layout,
    padded_pickup, bar_numbers, part_names, part_order, transposed, whole_part_octave, signature_with_one_less,
    finer_divisions)


def apply(root, rng, told, count):
    """Some of the nuisances, in the order in which they do not hinder each other."""
    chosen = set(rng.sample(ALL, min(count, len(ALL))))
    # Most editions are in another key.
    if rng.random() < 0.5:
        chosen.add(transposed)
    for nuisance in sorted(chosen, key=ALL.index):
        name = nuisance(root, rng, told)
        if name:
            told.names.append(name)


