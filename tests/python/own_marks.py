"""The marks that a part has already, and how an editor could leave them out or change them."""

import content
from building import element, insert, put_in_note
from files import elements, text_of
from parts import technical

SIMPLE_ORNAMENTS = {"trill-mark", "mordent", "inverted-mordent", "turn"}
# What each sign becomes; signs that are not here are only left out.
OTHER_SIGN = {
    "staccato": "tenuto", "tenuto": "accent", "accent": "staccato", "staccatissimo": "accent", "strong-accent": "tenuto",
    "trill-mark": "mordent", "mordent": "trill-mark", "turn": "trill-mark", "inverted-mordent": "turn",
    "up-bow": "down-bow", "down-bow": "up-bow", "open-string": "harmonic", "harmonic": "stopped",
    "stopped": "open-string", "breath-mark": "caesura",
}
OTHER_WORDS = {
    "dynamics": ("cresc.", "dim.", "sempre piano"), "tempo": ("rit.", "a tempo", "Allegro con brio"),
    "expression": ("dolce", "cantabile", "espressivo"), "technique": ("pizz.", "arco", "con sord."),
    "text": ("Solo", "Tutti", "NB"),
}
SPANS = {"wedge": "hairpin", "octave-shift": "octave-line", "pedal": "pedal"}


class Mark:
    """One mark: where it is, how to take it out, and its end if it is a span."""

    def __init__(self, category, bar, onset, sign, holder, chord=None, end=None, stop=None):
        self.category, self.bar, self.onset, self.sign, self.holder = category, bar, onset, sign, holder
        self.chord = chord        # of a notation
        self.end = end            # (bar, onset) of a span
        self.stop = stop          # its last element, with what holds it
        self.end_chord = None

    @property
    def time(self):
        return self.bar.start + self.onset

    @property
    def bars(self):
        return range(self.bar.index, (self.end[0] if self.end else self.bar).index + 1)

    def reading(self):
        if self.sign.tag == "dynamics" and len(self.sign):
            return self.sign[0].tag
        return (self.sign.text or "").strip() or self.sign.tag


def drop(holder, child):
    """Takes a notation out, and what held nothing else."""
    note, path = holder[0], holder[1:]
    (path[-1] if path else note).remove(child)
    for inner, outer in zip(reversed(path), list(reversed(path[:-1])) + [note]):
        if not len(inner):
            outer.remove(inner)


def own_marks(part, taken):
    """Of the part's marks those that can be left out or altered without doubt; none in the bars `taken`."""
    found = []
    for chord in part.chords:
        if chord.grace or chord.bar.index in taken:
            continue
        for note in chord.members:
            found += on_note(part, chord, note)
    for el, bar, onset in part.directions:
        if onset < bar.length and bar.index not in taken:
            found += in_direction(part, el, bar, onset)
    for bar in (b for b in part.bars if b.index not in taken):
        found += [Mark("harmony", bar, onset, el, el) for el, onset in harmonies(part, bar)]
    return found


def on_note(part, chord, note):
    if not chord.playable:
        return

    def made(category, sign, holder, **more):
        return Mark(category, chord.bar, chord.onset, sign, holder, chord, **more)
    for notations in note.findall("notations"):
        for group in notations.findall("articulations"):
            for sign in elements(group):
                if sign.tag != "other-articulation":
                    breath = sign.tag in ("breath-mark", "caesura")
                    yield made("breath" if breath else "articulation", sign, [note, notations, group])
        for group in notations.findall("technical"):
            for sign in elements(group):
                if sign.tag not in ("hammer-on", "pull-off", "bend", "other-technical") and not sign.get("type"):
                    yield made(technical(sign.tag), sign, [note, notations, group])
        for group in notations.findall("ornaments"):
            if len(group) == 1 and group[0].tag in SIMPLE_ORNAMENTS:
                yield made("ornament", group[0], [note, notations, group])
        for sign in notations.findall("fermata"):
            yield made("fermata", sign, [note, notations])
        for sign in notations.findall("slur"):
            if sign.get("type") == "start":
                yield made("slur", sign, [note, notations])
    for sign in note.findall("lyric"):
        if sign.find("text") is not None and sign.find("elision") is None and text_of(sign, "syllabic") == "single":
            yield made("lyric", sign, [note])
    accidental = note.find("accidental")
    if accidental is not None and "yes" in (accidental.get("cautionary"), accidental.get("parentheses")):
        yield made("accidental", accidental, [note])
    if note is chord.head:
        grace = graces_before(part, chord)
        if grace:
            yield Mark("grace", chord.bar, chord.onset, grace[0].head, grace, chord)


def graces_before(part, chord):
    """The one group of plain grace notes right before a note, or nothing."""
    inside = [c for c in part.in_bar[chord.bar.index] if c.grace and c.onset == chord.onset]
    children = list(chord.bar.el)
    at = children.index(chord.head)
    for grace in inside:
        if grace.voice != chord.voice or grace.staff != chord.staff or not at - len(children) < children.index(grace.head) < at:
            return None
        if any(n.find(t) is not None for n in grace.members for t in ("notations", "tie", "beam", "lyric", "cue")):
            return None
        if any(n.find("pitch") is None for n in grace.members):
            return None
    others = [c for c in part.in_bar[chord.bar.index] if c.onset == chord.onset and not c.grace and c is not chord]
    return inside if inside and not others and chord.onset < chord.bar.length else None


def in_direction(part, el, bar, onset):
    types = el.findall("direction-type")
    if len(types) != 1 or len(types[0]) != 1:
        return
    sign = types[0][0]
    if sign.tag == "dynamics" and len(sign) == 1 and sign[0].tag != "other-dynamics":
        yield Mark("dynamics", bar, onset, sign, el)
    elif sign.tag == "words" and (sign.text or "").strip():
        category = content.words_category(sign.text)
        if category != "structure" and bar.el.find("direction/direction-type/dashes") is None:
            yield Mark(category, bar, onset, sign, el)
    elif sign.tag == "metronome" and sign.find("per-minute") is not None and sign.get("print-object") != "no":
        yield Mark("tempo", bar, onset, sign, el)
    elif sign.tag == "rehearsal" and (sign.text or "").strip():
        yield Mark("rehearsal", bar, onset, sign, el)
    elif sign.tag in SPANS and sign.get("type") not in ("stop", "continue", "change", "resume", "discontinue"):
        yield Mark(SPANS[sign.tag], bar, onset, sign, el)


def harmonies(part, bar):
    """Chord symbols right before a note of the first voice, without a shift."""
    children = list(bar.el)
    for chord in part.in_bar[bar.index]:
        at = children.index(chord.head) - 1
        if (at >= 0 and children[at].tag == "harmony" and children[at].find("offset") is None and not chord.grace
                and children[at].get("print-object") != "no" and children[at].find("kind") is not None
                and len(children[at].findall("kind")) == 1
                and (at == 0 or children[at - 1].tag != "harmony")):
            yield children[at], chord.onset


def find_end(part, mark):
    """Looks for the end of a span; says whether it is plain."""
    if mark.category == "slur":
        return slur_end(part, mark)
    if mark.category not in SPANS.values():
        return True
    name = mark.sign.get("number", "1")
    rows = [(el, bar, onset) for el, bar, onset in part.directions
            if any(t.tag == mark.sign.tag for t in el.findall("direction-type/*"))]
    at = next(i for i, row in enumerate(rows) if row[0] is mark.holder)
    for el, bar, onset in rows[at + 1:]:
        types = [t for t in el.findall("direction-type/*")]
        if not any(t.get("number", "1") == name for t in types if t.tag == mark.sign.tag):
            continue
        if len(types) != 1 or types[0].get("type") != "stop" or onset >= bar.length:
            return False
        if not mark.time < bar.start + onset or bar.index > mark.bar.index + 6:
            return False
        mark.end, mark.stop = (bar, onset), el
        return True
    return False


def slur_end(part, mark):
    """The chord where a slur of one voice ends, if that is plain."""
    chord, sign = mark.chord, mark.sign
    name = sign.get("number", "1")
    line = part.voices[chord.voice]
    at = next((i for i, c in enumerate(line) if c is chord), None)
    if at is None:
        return False
    for later in line[at + 1: at + 40]:
        for note in later.members:
            for notations in note.findall("notations"):
                for other in notations.findall("slur"):
                    if other.get("number", "1") != name:
                        continue
                    if other.get("type") != "stop" or not later.playable:
                        return False
                    between = [
                        s for bar in part.in_bar[chord.bar.index: later.bar.index + 1] for c in bar
                        if chord.time <= c.time <= later.time for n in c.members
                        for s in n.findall("notations/slur")
                        if s.get("number", "1") == name and s is not sign and s is not other]
                    if between:
                        return False
                    mark.end, mark.end_chord = (later.bar, later.onset), later
                    mark.stop = ([note, notations], other)
                    return True
    return False


def give_notation(note, child):
    notations = note.find("notations")
    if notations is None:

        put_in_note(note, element("notations", children=[child]))
    else:
        insert(notations, len(notations), child)


def change_sign(mark, rng):
    """Makes the mark say something else at its place; gives whether it can."""
    sign = mark.sign
    if sign.tag == "dynamics":
        sign[0].tag = rng.choice([s for s in ("p", "mf", "f", "pp") if s != sign[0].tag])
    elif sign.tag == "words":
        folded = (sign.text or "").strip()
        # "cresc." is no other word than "crescendo".
        sign.text = rng.choice([w for w in OTHER_WORDS[mark.category] if w.lower()[:3] != folded.lower()[:3]])
    elif sign.tag == "metronome":
        rate = sign.find("per-minute")
        if not (rate.text or "").strip().isdigit():
            return False
        rate.text = str(int(rate.text) + rng.choice([-12, -6, 8, 20]))
    elif sign.tag == "rehearsal":
        sign.text = sign.text.strip() + "1"
    elif sign.tag == "fingering":
        if not (sign.text or "").strip().isdigit():
            return False
        sign.text = str((int(sign.text) + 1) % 6)
    elif sign.tag == "fermata":
        if (sign.text or "").strip() not in ("", "normal"):
            return False
        sign.text = "square"
    elif sign.tag == "lyric":
        sign.find("text").text = (sign.find("text").text or "").strip() + "h"
    elif sign.tag == "harmony":
        kind = sign.find("kind")
        kind.text = "minor" if (kind.text or "").strip() != "minor" else "major"
        kind.attrib.pop("text", None)
    elif mark.category == "grace":
        octave = sign.find("pitch/octave")
        octave.text = str(int(octave.text) + (1 if int(octave.text) < 5 else -1))
    elif sign.tag in OTHER_SIGN and not (sign.text or "").strip() and not len(sign):
        sign.tag = OTHER_SIGN[sign.tag]
        for key in set(sign.keys()) - {"placement", "default-x", "default-y"}:
            del sign.attrib[key]
        # The schema wants the text of these.
        sign.text = None
    else:
        return False
    return True


