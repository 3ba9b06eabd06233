"""Other ways to write music of several voices, parts and staves down, none of which an audit may report."""

import copy
from fractions import Fraction

import content
import lines
import nuisances
from building import element, insert, put_in_note
from deed_places import pitch_of
from files import elements, text_of
from moving import Impossible, Interval, move, number
from parts import Part


# ---------------------------------------------------------------- notes

def chord_order(root, rng, told):
    """The notes of chords in another order; the first then is another."""
    done = 0
    for part in map(Part, root.iter("part")):
        for chord in part.chords:
            notes, bar = chord.members, chord.bar.el
            if len(notes) < 2 or rng.random() < 0.3 or len({text_of(n, "duration") for n in notes}) > 1:
                continue
            at = list(bar).index(notes[0])
            if list(bar)[at: at + len(notes)] != notes:
                continue
            order = rng.sample(notes, len(notes))
            if order[0] is not notes[0]:
                sign = order[0].find("chord")
                order[0].remove(sign)
                behind = sum(c.tag in ("grace", "cue") for c in notes[0])
                notes[0].insert(behind, sign)
                for tag in ("beam", "notations/tuplet"):
                    pass_on(notes[0], order[0], tag)
            tails = [n.tail for n in notes]
            bar[at: at + len(notes)] = order
            for note, tail in zip(order, tails):
                note.tail = tail
            done += 1
    return "%d chords in another order" % done if done else None


def pass_on(old, new, path):
    """What belongs to the chord stands at its first note."""
    group, _, tag = path.rpartition("/")
    holder = old.find(group) if group else old
    for child in holder.findall(tag) if holder is not None else ():
        holder.remove(child)
        if not group:
            put_in_note(new, child)
            continue
        if new.find(group) is None:
            put_in_note(new, element(group))
        new.find(group).append(child)
        if not len(holder):
            old.remove(holder)


def ties_once(root, rng, told):
    """Ties as sound alone, or as notation alone."""
    sound = rng.random() < 0.5
    done = 0
    for note in root.iter("note"):
        for tied in note.findall("notations/tied"):
            if tied.get("type") not in ("start", "stop"):
                return None
        if {t.get("type") for t in note.findall("tie")} != {t.get("type") for t in note.findall("notations/tied")}:
            return None
    for note in root.iter("note"):
        if sound:
            for notations in note.findall("notations"):
                for tied in notations.findall("tied"):
                    notations.remove(tied)
                    done += 1
                if not len(notations):
                    note.remove(notations)
        else:
            for tie in note.findall("tie"):
                note.remove(tie)
                done += 1
    return "ties as %s alone" % ("sound" if sound else "notation") if done else None


def verse_names(root, rng, told):
    style = rng.choice(["verse%d", "%d.", "chorus%d"])
    done = False
    for part in root.findall("part"):
        names = {}
        for lyric in part.iter("lyric"):
            old = lyric.get("number", "1")
            names.setdefault(old, None)
        for at, old in enumerate(sorted(names), 1):
            names[old] = style % at
        for lyric in part.iter("lyric"):
            lyric.set("number", names[lyric.get("number", "1")])
            done = True
    return "verses named" if done else None


def hidden_notes(root, rng, told):
    """Notes that are not printed, of a voice of their own: playback of an ornament."""
    done = 0
    for part in map(Part, root.iter("part")):
        divisions = nuisances.divisions_of(part.el)
        name = str(max([int(v.text) for v in part.el.iter("voice") if v.text.strip().isdigit()] or [1]) + 1)
        for bar in part.bars:
            sounding = [c for c in part.in_bar[bar.index] if c.playable and pitch_of(c.head) and c.duration > 0]
            if not sounding or rng.random() < 0.85:
                continue
            chord = rng.choice(sounding)
            half = chord.duration / 2 * divisions[bar.el]
            ends = list(lines.steps(bar.el))[-1][2]
            start = chord.onset * divisions[bar.el]
            if half.denominator != 1 or start.denominator != 1:
                continue
            made = []
            if ends:
                made.append(element("backup", children=[element("duration", str(ends))]))
            if start:
                made.append(element("forward", children=[element("duration", str(start))]))
            step, alter, octave = pitch_of(chord.head)
            for _ in range(2):
                made.append(element("note", print_object="no", children=[
                    element("pitch", children=[element("step", step)] + ([element("alter", str(alter))] if alter else [])
                            + [element("octave", str(octave))]), element("duration", str(half)), element("voice", name)]
                    + ([element("staff", chord.staff)] if chord.staff else [])))
            at = start + 2 * half
            furthest = lines.reach(bar.el)
            if at < furthest:
                made.append(element("forward", children=[element("duration", str(furthest - at))]))
            place = next((i for i, c in enumerate(bar.el) if c.tag == "barline" and c.get("location", "right") == "right"),
                         len(bar.el))
            # A direction at the end would stand elsewhere.
            if place and bar.el[place - 1].tag not in ("note", "backup", "forward"):
                continue
            for child in made:
                insert(bar.el, place, child)
                place += 1
            done += 1
    return "%d times notes that are not printed" % done if done else None


# ---------------------------------------------------------------- time

def divisions_changed(root, rng, told):
    """Finer divisions from some bar on."""
    done = 0
    for part in root.findall("part"):
        measures = part.findall("measure")
        if len(measures) < 8 or any(a.find("divisions") is not None for m in measures[1:] for a in m.findall("attributes")):
            continue
        at, factor = rng.randint(2, len(measures) - 2), rng.choice([2, 3, 4])
        old = text_of(measures[0], "attributes/divisions")
        if old is None:
            continue
        for measure in measures[at:]:
            for el in [e for e in measure.iter() if e.tag in ("duration", "offset")]:
                el.text = str(number(el.text) * factor)
        attributes = measures[at].find("attributes")
        early = attributes is not None and not any(
            c.tag == "note" for c in list(measures[at])[:list(measures[at]).index(attributes)])
        if not early:
            attributes = element("attributes")
            insert(measures[at], 1 if len(measures[at]) and measures[at][0].tag in ("print", "barline") else 0, attributes)
        lines.put_attribute(attributes, element("divisions", str(int(old) * factor)))
        done += 1
    return "other divisions from some bar on" if done else None


def rounded(root, rng, told):
    """Divisions that cannot say the length of tuplets, which are rounded."""
    if root.find(".//time-modification") is None or root.find(".//figured-bass/duration") is not None:
        return None
    size = rng.choice([256, 480, 512])
    trial = copy.deepcopy(root)
    for part in trial.findall("part"):
        old = Fraction(1)
        for measure in part.findall("measure"):
            for attributes in measure.findall("attributes"):
                for divisions in attributes.findall("divisions"):
                    old = number(divisions.text)
                    divisions.text = str(size)
            for item, onset, after in list(lines.steps(measure)):
                length = item.find("duration")
                if length is None:
                    continue
                # Exactly as far as the bar has come so far.
                until = onset + number(length.text) if item.find("chord") is not None else after
                start, end = (round(t * size / old) for t in (onset, until))
                if item.tag == "note" and item.find("time-modification") is None and (
                        number(length.text) * size / old).denominator != 1:
                    return None
                if start == end:
                    return None
                length.text = str(abs(end - start))
            if any(o.text for o in measure.iter("offset") if number(o.text)):
                return None
    root[:] = list(trial)
    return "tuplets rounded to 1/%d" % size


def offsets(root, rng, told):
    """Directions a hair's breadth off their note, for the look of it."""
    done = 0
    for part in map(Part, root.iter("part")):
        divisions = nuisances.divisions_of(part.el)
        for el, bar, onset in part.directions:
            size = int(divisions[bar.el] / 16)
            if size < 1 or rng.random() < 0.6 or el.find("offset") is not None or not 0 < onset < bar.length:
                continue
            if el.find("direction-type/dynamics") is None:
                continue
            at = max(i for i, c in enumerate(el) if c.tag == "direction-type") + 1
            insert(el, at, element("offset", str(rng.choice([-size, size]))))
            done += 1
    return "%d directions a little off" % done if done else None


def forwards(root, rng, told):
    """Rests of further voices left out, with a forward in their place."""
    done = 0
    for part in root.findall("part"):
        for measure in part.findall("measure"):
            seen = False
            for item in list(measure):
                seen = seen or item.tag == "backup"
                if not seen or item.tag != "note" or item.find("rest") is None or rng.random() < 0.5:
                    continue
                if item.find("notations") is not None or item.find("lyric") is not None or item.find("cue") is not None:
                    continue
                # The only rest of a staff says that it is silent.
                staff = text_of(item, "staff", "1")
                if all(n is item or text_of(n, "staff", "1") != staff or n.find("rest") is not None for n in measure.findall("note")):
                    continue
                tail = item.tail
                at = list(measure).index(item)
                measure.remove(item)
                made = element("forward", children=[element("duration", text_of(item, "duration"))])
                measure.insert(at, made)
                made.tail = tail
                done += 1
    return "%d rests as forwards" % done if done else None


# ---------------------------------------------------------------- what stands once for all

def other_staff(root, rng, told):
    """Dynamics between two staves, written at the other one."""
    done = 0
    for part in map(Part, root.iter("part")):
        if part.staves != 2 or told.closed_staves:
            continue
        for el, bar, onset in part.directions:
            if el.find("direction-type/dynamics") is None or len(el.findall("direction-type")) > 1 or rng.random() < 0.5:
                continue
            near = [o for o, b, at in part.directions if o is not el and abs(b.start + at - bar.start - onset) < 2
                    and (o.find("direction-type/dynamics") is not None or o.find("direction-type/words") is not None)]
            if near:
                continue
            staff = el.find("staff")
            lines.set_staff(el, "1" if staff is not None and staff.text.strip() == "2" else "2")
            done += 1
    return "%d dynamics at the other staff" % done if done else None


def tempo_below(root, rng, told):
    """The tempo printed at the lowest part, too, or there instead."""
    parts = [Part(p) for p in root.iter("part") if p.get("id") not in told.further]
    if len(parts) < 2:
        return None
    instead, done = rng.random() < 0.3, 0
    top, low = parts[0], parts[-1]
    for el, bar, onset in top.directions:
        words = [content.words_category(content.folded(w)) for w in el.findall("direction-type/words")]
        if not (el.find("direction-type/metronome") is not None or words and set(words) == {"tempo"}):
            continue
        # A dance is a title as well as a tempo.
        if any(t.tag not in ("words", "metronome") or "menu" in content.folded(t).lower()
               for t in el.findall("direction-type/*")):
            continue
        below = low.bars[bar.index] if bar.index < len(low.bars) else None
        at = below and next((c for c in low.in_bar[below.index] if c.onset == onset and not c.grace), None)
        if not at or any(c.grace for c in low.in_bar[below.index]) or not low.free("tempo", below.start + onset):
            continue
        made = copy.deepcopy(el)
        lines.set_staff(made, None if low.staves < 2 else "1")
        if made.find("voice") is not None:
            made.remove(made.find("voice"))
        insert(below.el, list(below.el).index(at.head), made)
        if instead:
            bar.el.remove(el)
        done += 1
    return "the tempo %s at the lowest part" % ("only" if instead else "also") if done else None


# ---------------------------------------------------------------- enharmonic keys

def enharmonic(root, rng, told):
    """The score moved so that a key of too many flats becomes one of sharps, section by section."""
    measures = [part.findall("measure") for part in root.findall("part")]
    if len({len(m) for m in measures}) > 1 or root.find(".//key-step") is not None:
        return None
    keys, current = [], None
    for at, bar in enumerate(measures[0]):
        found = {int(k.find("fifths").text) for m in measures for k in m[at].findall("attributes/key")}
        if len(found) > 1 or any(
                k for m in measures for k in m[at].findall("attributes/key")
                if any(c.tag == "note" for c in list(m[at])[:list(m[at]).index(next(
                    a for a in m[at].findall("attributes") if k in list(a)))])):
            return None
        current = found.pop() if found else current
        keys.append(current)
    if None in keys:
        return None
    # Moved by the usual interval, some key would have too many signs.
    choices = [n for n in (-1, 1, 3, -3, 4, -4, 6) if any(
        abs(k + 7 * n - 12 * nuisances.STEPS_OF[abs(n)][0] * (1 if n > 0 else -1)) > 6 for k in keys)]
    if not choices:
        return None
    semitones = rng.choice(choices)
    used = set()
    sections = []
    for at, key in enumerate(keys):
        step = min(range(-12, 13), key=lambda s: (abs(key + 7 * semitones - 12 * s), s))
        used.add(step)
        if not sections or sections[-1][0] != step:
            sections.append((step, []))
        sections[-1][1].append(at)
    trial = copy.deepcopy(root)
    try:
        for step, bars in sections:
            holder = element("score-partwise")
            for part in trial.findall("part"):
                some = element("part", id=part.get("id"))
                some.extend(part.findall("measure")[bars[0]: bars[-1] + 1])
                holder.append(some)
            interval = Interval(step, semitones)
            if not nuisances.sensible(holder, interval):
                return None
            move(holder, interval)
    except Impossible:
        return None
    # A tie over the border would join two names.
    for at in [bars[0] for _, bars in sections[1:]]:
        for part in map(Part, trial.iter("part")):
            if any(c.tie("stop") and c.onset == 0 for c in part.in_bar[at]):
                return None
    root[:] = list(trial)
    one = used.pop() if len(used) == 1 else None
    for so_far in told.transposition.values():
        so_far[0] = None if one is None else so_far[0] + one
        so_far[1] += semitones
    return "%+d semitones, keys spelled by their signatures (%s)" % (semitones, " ".join(str(s) for s, _ in sections))


FIRST = (enharmonic, ties_once, verse_names, tempo_below)
LAST = (other_staff, forwards, hidden_notes, chord_order, rounded, divisions_changed, offsets)
ALL = FIRST + LAST
