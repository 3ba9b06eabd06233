"""Parts and staves put together and taken apart: the same music on other lines."""

import copy
from fractions import Fraction
from math import lcm

from building import element, insert, put_in_note
from deed_places import SPANNING
from files import elements, text_of
from moving import number
from nuisances import drop_from_list

# Children of a direction or harmony that come after its staff.
BEHIND_STAFF = ("sound", "listening")
ATTRIBUTES = (
    "footnote", "level", "divisions", "key", "time", "staves", "part-symbol", "instruments", "clef", "staff-details",
    "transpose", "directive", "measure-style")


class Unfit(Exception):
    """These parts cannot be written so."""


def part_of(root, name):
    return next(p for p in root.findall("part") if p.get("id") == name)


def even_divisions(parts):
    """One number of divisions for all the parts, in their first bars."""
    every = [int(number(d.text)) for part in parts for d in part.iter("divisions")]
    common = lcm(*every)
    for part in parts:
        factor = Fraction(common)
        for at, measure in enumerate(part.findall("measure")):
            for item in elements(measure):
                found = item.find("divisions") if item.tag == "attributes" else None
                if found is not None:
                    factor = Fraction(common, int(number(found.text)))
                    found.text = str(common)
                    if at:
                        item.remove(found)
                        if not len(item):
                            measure.remove(item)
                for el in [item.find("duration")] + item.findall("offset") + item.findall("sound/offset"):
                    if el is not None:
                        el.text = str(number(el.text) * factor)
    return common


def steps(measure):
    """(element, where it stands, where the next stands), in divisions."""
    cursor = Fraction(0)
    onset = Fraction(0)
    for item in elements(measure):
        length = number(text_of(item, "duration")) if item.tag in ("note", "backup", "forward") else Fraction(0)
        if item.tag == "note" and item.find("grace") is not None:
            length = Fraction(0)
        if item.tag == "note" and item.find("chord") is not None:
            yield item, onset, cursor
            continue
        onset = cursor
        cursor += -length if item.tag == "backup" else length
        yield item, onset, cursor


def reach(measure):
    """How long a bar is, in divisions."""
    return max([after for _, _, after in steps(measure)] + [Fraction(0)])


def put_attribute(attributes, child):
    rank = ATTRIBUTES.index(child.tag)
    place = next((i for i, c in enumerate(attributes) if c.tag in ATTRIBUTES and ATTRIBUTES.index(c.tag) > rank),
                 len(attributes))
    insert(attributes, place, child)


def set_staff(item, staff):
    for old in item.findall("staff"):
        item.remove(old)
    if staff is None:
        return
    made = element("staff", staff)
    if item.tag == "note":
        put_in_note(item, made)
    elif item.tag in ("direction", "harmony"):
        place = next((i for i, c in enumerate(item) if c.tag in BEHIND_STAFF), len(item))
        insert(item, place, made)


# ---------------------------------------------------------------- putting together

def merge(root, names, on_staves):
    """Writes the parts as one, on a staff each or as voices of one staff; gives (staff, voices) of each."""
    parts = [part_of(root, name) for name in names]
    bars = [part.findall("measure") for part in parts]
    if len({len(b) for b in bars}) > 1:
        raise Unfit("not the same bars")
    for part in parts:
        if part.find(".//figured-bass") is not None or part.find(".//unpitched") is not None or part.find(
                ".//transpose") is not None or any(int(s.text) > 1 for s in part.iter("staves")):
            raise Unfit("not one staff of its own")
    even_divisions(parts)
    lines, spare, taken = [], {}, 0
    for at, part in enumerate(parts):
        voices = sorted({text_of(n, "voice", "1") for n in part.iter("note")})
        # A voice of which all is marks has no place.
        if len(voices) > 4:
            raise Unfit("too many voices")
        renamed = {name: str(taken + i + 1) for i, name in enumerate(voices)}
        taken += 4 if on_staves else len(voices)
        staff = str(at + 1) if on_staves else None
        own_names(part, renamed, staff)
        number_spans(part, spare)
        lines.append((staff, sorted(renamed.values())))
    for measures in zip(*bars):
        merge_bar(measures, on_staves)
    if on_staves:
        first = bars[0][0].find("attributes")
        put_attribute(first, element("staves", str(len(parts))))
    for name, part in list(zip(names, parts))[1:]:
        root.remove(part)
        drop_from_list(root, name)
    return lines


def own_names(part, renamed, staff):
    for item in part.iter("note"):
        voice = item.find("voice")
        if voice is None:
            put_in_note(item, element("voice", renamed["1"]))
        else:
            voice.text = renamed[voice.text.strip()]
        for old in item.findall("instrument"):
            item.remove(old)
    for item in part.iter("forward"):
        for voice in item.findall("voice"):
            item.remove(voice)
    for item in part.iter("direction"):
        for voice in item.findall("voice"):
            if voice.text.strip() in renamed and staff is not None:
                voice.text = renamed[voice.text.strip()]
            else:
                item.remove(voice)
    for tag in ("note", "direction", "harmony"):
        for item in part.iter(tag):
            set_staff(item, staff)
    if staff is None:
        # On one staff a direction says whose it is.
        first = min(renamed.values(), key=int)
        for item in part.iter("direction"):
            place = next((i for i, c in enumerate(item) if c.tag in ("staff",) + BEHIND_STAFF), len(item))
            insert(item, place, element("voice", first))


def number_spans(part, spare):
    """Spans of two parts in one must not share a number."""
    used = {}
    for item in part.iter():
        if item.tag in SPANNING:
            old = item.get("number", "1")
            used[item.tag] = max(used.get(item.tag, 0), int(old))
            if spare.get(item.tag):
                item.set("number", str(int(old) + spare[item.tag]))
    for tag, most in used.items():
        spare[tag] = spare.get(tag, 0) + most
        if spare[tag] > 16:
            raise Unfit("too many spans at once")


def said_of(line):
    return [line.get("location", "right")] + [
        (c.tag, (c.text or "").strip(), c.get("direction"), c.get("type"), c.get("number")) for c in elements(line)
        if c.tag in ("bar-style", "repeat", "ending")]


def merge_bar(measures, on_staves):
    first = measures[0]
    lengths = {reach(m) for m in measures}
    lines = [[said_of(b) for b in m.findall("barline")] for m in measures]
    if len(lengths) > 1 or any(line != lines[0] for line in lines):
        raise Unfit("bars differ")
    if any(b.find(t) is not None or b.get("location") == "middle" for m in measures for b in m.findall("barline")
           for t in ("fermata", "segno", "coda")):
        raise Unfit("a barline of its own")
    signatures = [[" ".join(s.itertext()).split() for a in m.findall("attributes") for s in a
                   if s.tag in ("key", "time")] for m in measures]
    if any(s != signatures[0] for s in signatures):
        raise Unfit("signatures differ")
    end = next((i for i, c in enumerate(first) if c.tag == "barline" and c.get("location", "right") == "right"), len(first))
    # Where the first part's bar ends in the file.
    at = list(steps(first))[-1][2] if len(first) else Fraction(0)
    if on_staves:
        for clef in first.findall("attributes/clef"):
            clef.set("number", "1")
    for staff, measure in enumerate(measures[1:], 2):
        moved = []
        for item, onset, after in list(steps(measure)):
            if item.tag in ("print", "barline", "sound", "bookmark", "grouping", "link"):
                continue
            if item.tag == "attributes":
                if any(c.tag in ("key", "time") for c in item) and onset:
                    raise Unfit("a signature within a bar")
                for child in list(item):
                    if child.tag == "clef" and on_staves:
                        child.set("number", str(staff))
                        if onset == 0 and first.find("attributes") is not None:
                            put_attribute(first.find("attributes"), child)
                            item.remove(child)
                    else:
                        item.remove(child)
                if not len(item):
                    continue
            moved.append(item)
        if at:
            back = element("backup", children=[element("duration", str(at))])
            insert(first, end, back)
            end += 1
        for item in moved:
            insert(first, end, item)
            end += 1
        at = list(steps(measure))[-1][2] if len(measure) else Fraction(0)


# ---------------------------------------------------------------- taking apart

def crossing(part):
    """Whether a voice or a span goes from one staff to another."""
    for measure in part.findall("measure"):
        seen = {}
        for note in measure.findall("note"):
            if seen.setdefault(text_of(note, "voice", "1"), text_of(note, "staff", "1")) != text_of(note, "staff", "1"):
                return True
    opened = {}
    for item in part.iter():
        if item.tag not in ("note", "direction"):
            continue
        for el in item.iter():
            if el.tag in SPANNING:
                key = el.tag, el.get("number", "1")
                if el.get("type") in ("start", "crescendo", "diminuendo", "up", "down"):
                    opened[key] = text_of(item, "staff", "1")
                elif el.get("type") in ("stop", "discontinue"):
                    if opened.pop(key, None) != text_of(item, "staff", "1"):
                        return True
    return bool(opened)


def split_staves(root, name):
    """Writes each of the two staves of a part as a part of its own; gives their ids."""
    part = part_of(root, name)
    if crossing(part) or part.find(".//figured-bass") is not None or {s.text for s in part.iter("staves")} != {"2"}:
        raise Unfit("the staves hang together")
    names = [name, name + "b"]
    even_divisions([part])
    parts = [part, copy.deepcopy(part)]
    parts[1].set("id", names[1])
    for staff, one in enumerate(parts, 1):
        for measure in one.findall("measure"):
            only_staff(measure, str(staff))
    root.insert(list(root).index(part) + 1, parts[1])
    entry = next(e for e in root.iter("score-part") if e.get("id") == name)
    other = element("score-part", children=[element("part-name", "Lower")], id=names[1])
    for tag in ("score-instrument", "midi-device", "midi-instrument"):
        for el in entry.findall(tag):
            entry.remove(el)
    for one in parts:
        for note in one.iter("note"):
            for el in note.findall("instrument"):
                note.remove(el)
    listed = root.find("part-list")
    insert(listed, list(listed).index(entry) + 1, other)
    return names


def only_staff(measure, staff):
    """Leaves of a bar what one staff has, where it stood."""
    length, at, furthest = reach(measure), Fraction(0), Fraction(0)
    kept = []

    def go(to):
        nonlocal at
        if to != at:
            kept.append(element("backup" if to < at else "forward", children=[element("duration", str(abs(to - at)))]))
            at = to
    lines = []
    for item, onset, after in list(steps(measure)):
        if item.tag in ("backup", "forward"):
            continue
        if item.tag == "barline":
            # The right one comes last.
            (kept if item.get("location") == "left" else lines).append(item)
            continue
        if item.tag in ("note", "direction", "harmony"):
            if text_of(item, "staff", "1") != staff:
                continue
            set_staff(item, None)
        elif item.tag == "attributes":
            for child in list(item):
                if child.tag in ("staves", "part-symbol") or child.tag in ("clef", "staff-details", "key", "time") \
                        and child.get("number", staff if child.tag in ("key", "time") else "1") != staff:
                    item.remove(child)
                else:
                    child.attrib.pop("number", None)
            if not len(item):
                continue
        elif item.tag not in ("barline",) and staff != "1":
            continue
        if item.tag != "note" or item.find("chord") is None:
            go(onset)
            at = after if item.tag == "note" else at
        kept.append(item)
        furthest = max(furthest, at)
    if furthest < length:
        go(length)
    kept += lines
    tail = measure.text
    for child in list(measure):
        measure.remove(child)
    for child in kept:
        child.tail = tail
        measure.append(child)


# ---------------------------------------------------------------- lines more

def add_part(root, part, name):
    """Puts a part in below the others."""
    root.append(part)
    listed = root.find("part-list")
    insert(listed, len(listed), element("score-part", children=[element("part-name", name)], id=part.get("id")))


def double(root, name):
    """The part once more, below the others; gives the id of the second."""
    made = copy.deepcopy(part_of(root, name))
    made.set("id", name + "d")
    for note in made.iter("note"):
        for el in note.findall("instrument"):
            note.remove(el)
    add_part(root, made, "Doubling")
    return made.get("id")
