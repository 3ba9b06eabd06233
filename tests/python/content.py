#!/usr/bin/env python3
"""Prints what a score holds, notes and marks, as JSON: two scores with the same
music print the same text.

    content.py FILE [--steps N --semitones N] [--part ID]

The interval moves what is printed, so that a score can be compared with its
transposed copy. Per part and bar:

    notes  [offset, step, alter, octave, duration, grace]; a chain of ties is one
           note where it begins, as long as the whole chain
    cues   the same of cue notes
    marks  [category, kind, reading, offset, end], end is [bar index, offset] or null

Offsets and durations are exact fractions of a quarter note. Layout, stems,
beams, fonts and playback are left out.
"""

import argparse
import json
import re
from fractions import Fraction

import files
from files import elements, text_of

LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
ORDER = "CDEFGAB"
SIGNS = {
    -3: "triple-flat", -2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp", 3: "triple-sharp",
}
SIGN_VALUES = {name: value for value, name in SIGNS.items()}

# What words say, tried in this order on the folded text; the rest is text.
DYNAMIC = (
    r"(?:p{1,6}|f{1,6}|mp|mf|sfz?|sfp|fz|ffz|rfz?|fp|pf|piano|forte|pianissimo|fortissimo|mezzo ?forte"
    r"|mezzo ?piano|mezza voce|sotto voce|(?:de)?cresc(?:endo)?|dim(?:inuendo)?|smorz(?:ando)?|sforzando"
    r"|sforzato|rinf(?:orzando)?)")
MODIFIER = r"(?:più|piu|meno|poco|un|molto|sempre|semp|subito|sub|assai|possibile|a|al|e|ed|ma|non|troppo|quasi|il|la)"
TECHNIQUES = (
    r"pizz(?:icato)?|arco|col legno|(?:con|senza) sord(?:ino|ini)?|sul (?:[gdaec]|ponticello|tasto|pont)|spiccato"
    r"|una corda|tre corde|due corde|mute[ds]?|open|div(?:isi)?|unis(?:oni|ono)?|flautando|tremolo")
TEMPI = (
    r"allegr\w*|andant\w*|adagi\w*|larg\w*|lent\w*|presto|prestissimo|vivace|vivo|moderato|grave|maestoso|tempo"
    r"|rit|ritard|ritardando|ritenuto|rall|rallentando|accel|accelerando|string|stringendo|mosso|allarg\w*|calando"
    r"|menuett\w*|l'istesso|tardando|langsam\w*|lebhaft\w*|schnell\w*|m[aä](?:ß|ss)ig\w*|rasch\w*|bewegt\w*|morendo")
MANNERS = (
    r"dolce|dolciss\w*|espr(?:ess\w*)?|cantabile|cantando|con \w+|grazios\w*|legg\w*|legato|staccato|marc\w*"
    r"|semplice|tenerament\w*|affettuos\w*|appassionat\w*|agitat\w*|tranquill\w*|sostenut\w*|ten|tenuto|scherz\w*"
    r"|giocos\w*|brillant\w*|pesante|ausdruck\w*|zart\w*|innig\w*|delicat\w*|mesto|risolut\w*|energic\w*")
ROAD = r"d\.? ?c\.?|d\.? ?s\.?|da capo|dal segno|fine|al fine|al coda|to coda|coda|segno"
KINDS = [
    ("structure", r"(?:%s)(?:[ .]+(?:al|alla|e poi|la)?[ .]*(?:fine|coda|segno|capo))*" % ROAD),
    ("dynamics", r"(?:%s[ .,]+)*%s(?:[ .,-]+(?:%s|%s))*" % (MODIFIER, DYNAMIC, MODIFIER, DYNAMIC)),
    ("technique", r".*\b(?:%s)\b.*" % TECHNIQUES),
    ("tempo", r".*\b(?:%s)\b.*" % TEMPI),
    ("expression", r".*\b(?:%s)\b.*" % MANNERS),
]
KINDS = [(name, re.compile(pattern)) for name, pattern in KINDS]


def words_category(text):
    folded = re.sub(r"\s+", " ", text.strip().lower()).strip(" .,-:;()[]")
    for name, pattern in KINDS:
        if pattern.fullmatch(folded):
            return name
    return "text"


class Shift:
    """An interval, as a journey along the letters and one along the semitones."""

    def __init__(self, steps, semitones):
        self.steps, self.semitones = steps, semitones

    def note(self, step, alter, octave):
        octaves, letter = divmod(ORDER.index(step) + self.steps, 7)
        sound = LETTERS[step] + alter + self.semitones
        new = ORDER[letter]
        return new, sound - LETTERS[new] - 12 * octaves, octave + octaves

    def fifths(self, value):
        # The tonic moves; count by how far the sounding tonic leaves the letter's natural.
        tonic_letter = (4 * value) % 7
        tonic_alter = (value + 1) // 7
        step, alter, _ = self.note(ORDER[tonic_letter], tonic_alter, 4)
        return 7 * int(alter) + "FCGDAEB".index(step) - 1

    def sign(self, glyph, old, new):
        """How an accidental's name changes with the note it stands at."""
        return SIGNS.get(new, glyph) if new != old else glyph


def fraction(text):
    return Fraction(text) if text else Fraction(0)


def say(value):
    return None if value is None else str(value)


def unbracketed(holder):
    """The signs of a holder, without elements that are only brackets around one of them."""
    signs = elements(holder)
    said = [folded(el) if el.tag.startswith("other-") else "" for el in signs]
    around = set()
    for at in range(1, len(signs) - 1):
        if said[at - 1] + said[at + 1] in ("[]", "()", "{}"):
            around |= {at - 1, at + 1}
    return [el for at, el in enumerate(signs) if at not in around]


def folded(el):
    """All of an element's text on one line."""
    return " ".join("".join(el.itertext()).split())


def partwise(root):
    """[(id, name, [measure, …])]; a timewise score is turned round."""
    names = {el.get("id"): text_of(el, "part-name", "") for el in root.iter("score-part")}
    if root.tag == "score-timewise":
        found = {}
        for measure in root.findall("measure"):
            for part in measure.findall("part"):
                copy = part
                copy.set("number", measure.get("number", ""))
                found.setdefault(part.get("id"), []).append(copy)
        return [(key, names.get(key, ""), bars) for key, bars in found.items()]
    return [(part.get("id"), names.get(part.get("id"), ""), part.findall("measure")) for part in root.findall("part")]


class Reader:
    """Reads one part."""

    def __init__(self, shift):
        self.shift = shift
        self.bars = []
        self.divisions = Fraction(1)
        self.sounded = []      # every written note that sounds, in file order
        self.events = []       # starts and stops of spans
        self.graces = []       # of the group being read
        self.worded = []       # (time, category) of words
        self.transpose = []
        self.count = 0

    def read(self, measures):
        start = Fraction(0)
        for measure in measures:
            self.bar = {"number": measure.get("number", ""), "start": start, "notes": [], "cues": [], "marks": []}
            self.bars.append(self.bar)
            self.index = len(self.bars) - 1
            self.cursor = self.onset = self.length = Fraction(0)
            for item in elements(measure):
                reader = getattr(self, "read_" + item.tag.replace("-", "_"), None)
                if reader:
                    reader(item)
                self.length = max(self.length, self.cursor)
            self.close_graces(self.cursor)
            # A right barline stands at the end, however the file got there.
            for mark in self.bar["marks"]:
                if mark[3] == "right":
                    mark[3] = self.length
            start += self.length
        self.pair_spans()
        self.join_ties()
        return self.result()

    def mark(self, category, kind, reading, offset=None):
        made = [category, kind, reading, self.onset if offset is None else offset, None]
        self.bar["marks"].append(made)
        return made

    # -- the children of a measure

    def read_attributes(self, item):
        if item.find("divisions") is not None:
            self.divisions = fraction(text_of(item, "divisions"))
        for key in item.findall("key"):
            if key.find("fifths") is not None:
                reading = str(self.shift.fifths(int(text_of(key, "fifths"))))
            else:
                steps = [el.text.strip() for el in key.findall("key-step")]
                alters = [fraction(el.text) for el in key.findall("key-alter")]
                reading = " ".join("%s%s" % self.shift.note(s, a, 4)[:2] for s, a in zip(steps, alters))
            self.mark("signature", "key", [reading, key.get("number")], self.cursor)
        for time in item.findall("time"):
            reading = " ".join((el.text or el.tag).strip() for el in elements(time))
            self.mark("signature", "time", [reading, time.get("number")], self.cursor)
        for el in item.findall("transpose"):
            self.transpose.append([self.index, say(self.cursor)] + [
                text_of(el, name, "0") for name in ("diatonic", "chromatic", "octave-change")])

    def read_backup(self, item):
        self.close_graces(self.cursor)
        self.cursor -= fraction(text_of(item, "duration")) / self.divisions

    def read_forward(self, item):
        self.cursor += fraction(text_of(item, "duration")) / self.divisions

    def read_barline(self, item):
        place = {"left": Fraction(0), "middle": self.cursor}.get(item.get("location", "right"), "right")
        for child in elements(item):
            if child.tag == "repeat":
                self.mark("structure", "repeat", [child.get("direction"), child.get("times")], place)
            elif child.tag == "ending":
                self.mark("structure", "ending", [child.get("type"), child.get("number")], place)
            elif child.tag in ("segno", "coda"):
                self.mark("structure", child.tag, child.tag, place)
            elif child.tag == "fermata":
                self.mark("fermata", "barline", "fermata", place)
            elif child.tag == "bar-style" and item.find("repeat") is None and child.text != "regular":
                self.mark("structure", "bar-style", child.text, place)

    def read_harmony(self, item):
        words = []
        for child in elements(item):
            if child.tag in ("root", "bass"):
                step = text_of(child, child.tag + "-step")
                alter = fraction(text_of(child, child.tag + "-alter"))
                words.append("%s %s%s" % ((child.tag,) + self.shift.note(step, alter, 4)[:2]))
            elif child.tag not in ("offset", "staff", "footnote", "level", "frame"):
                words.append(folded(child))
        self.mark("harmony", "harmony", " ".join(words), self.at(item))

    def read_figured_bass(self, item):
        self.mark("harmony", "figured-bass", folded(item), self.at(item))

    def at(self, item):
        return self.cursor + fraction(text_of(item, "offset")) / self.divisions

    def read_direction(self, item):
        place = self.at(item)
        for child in item.findall("direction-type/*"):
            tag = child.tag
            if tag == "dynamics":
                self.dynamics(child, place)
            elif tag == "words":
                text = folded(child)
                category = words_category(text)
                self.worded.append((self.bar["start"] + place, category))
                self.mark(category, "words", text, place)
            elif tag == "wedge":
                self.span("hairpin", child, child.get("type"), place)
            elif tag == "octave-shift":
                self.span("octave-line", child, "%s %s" % (child.get("type"), child.get("size", "8")), place)
            elif tag == "pedal":
                self.span("pedal", child, child.get("type"), place)
            elif tag in ("damp", "damp-all"):
                self.mark("pedal", tag, tag, place)
            elif tag == "metronome":
                self.mark("tempo", "metronome", " ".join(
                    (el.text or el.tag).strip() for el in elements(child)), place)
            elif tag == "rehearsal":
                self.mark("rehearsal", tag, folded(child), place)
            elif tag in ("segno", "coda"):
                self.mark("structure", tag, tag, place)
            elif tag == "dashes":
                self.span(self.prolonged(self.bar["start"] + place), child, "dashes", place)
            elif tag == "bracket":
                self.span("text", child, "bracket", place)
            else:
                self.mark("text", tag, folded(child), place)

    def prolonged(self, time):
        """Dashes belong to the words before them, but only near ones: the last words of
        the part may be any, and would make the dashes change with a mark put between."""
        near = [(then, at, category) for at, (then, category) in enumerate(self.worded) if 0 <= time - then <= 1]
        return max(near)[2] if near else "dynamics"

    def dynamics(self, el, place):
        for child in unbracketed(el):
            reading = folded(child) if child.tag == "other-dynamics" else child.tag
            self.mark("dynamics", "dynamics", reading, place)

    # -- notes

    def read_note(self, note):
        grace = note.find("grace") is not None
        chord = note.find("chord") is not None
        length = Fraction(0) if grace else fraction(text_of(note, "duration")) / self.divisions
        if not chord:
            self.onset = self.cursor
        self.count += 1
        pitch, unpitched = note.find("pitch"), note.find("unpitched")
        old = new = None
        if pitch is not None:
            old = fraction(text_of(pitch, "alter"))
            step, new, octave = self.shift.note(text_of(pitch, "step"), old, int(text_of(pitch, "octave")))
            sound = [step, str(new), octave]
            written = (text_of(pitch, "step"), int(text_of(pitch, "octave")))
        elif unpitched is not None:
            sound = ["unpitched", text_of(unpitched, "display-step"), int(text_of(unpitched, "display-octave", "0"))]
        else:
            sound = None
        if sound:
            if note.find("cue") is not None:
                self.bar["cues"].append([self.onset] + sound + [length, grace])
            else:
                kinds = {el.get("type") for el in note.findall("tie") + note.findall("notations/tied")}
                self.sounded.append({
                    "bar": self.index, "onset": self.onset, "time": self.bar["start"] + self.onset,
                    "sound": sound, "length": length, "grace": grace,
                    "voice": (text_of(note, "voice", "1"), text_of(note, "staff", "1")),
                    "start": "start" in kinds, "stop": "stop" in kinds,
                })
            if grace:
                self.graces.append((self.onset, sound))
        if not grace:
            if not chord:
                self.close_graces(self.onset)
            if not chord:
                self.cursor = self.onset + length
        accidental = note.find("accidental")
        if accidental is not None:
            special = [k for k in ("cautionary", "editorial", "parentheses", "bracket") if accidental.get(k) == "yes"]
            if special:
                glyph = (accidental.text or "").strip()
                if old is not None:
                    glyph = self.shift.sign(glyph, old, new)
                self.mark("accidental", "accidental", [glyph] + special)
        for notations in note.findall("notations"):
            for item in elements(notations):
                self.notation(item, grace, written if pitch is not None else None)
        for lyric in note.findall("lyric"):
            parts = [
                (el.tag, folded(el)) for el in elements(lyric)
                if el.tag in ("syllabic", "text", "elision", "extend", "humming", "laughing")]
            self.mark("lyric", "lyric", [lyric.get("number", "1")] + parts)

    def close_graces(self, onset):
        if self.graces:
            reading = " ".join("%s%s:%s" % (s, a, o) for _, (s, a, o) in self.graces)
            self.mark("grace", "grace", reading, onset)
            self.graces = []

    def notation(self, item, grace, written):
        tag = item.tag
        if tag == "articulations":
            for el in unbracketed(item):
                category = "breath" if el.tag in ("breath-mark", "caesura") else "articulation"
                self.mark(category, el.tag, folded(el) or el.tag)
        elif tag == "technical":
            for el in unbracketed(item):
                if el.tag in ("up-bow", "down-bow"):
                    category = "bowing"
                elif el.tag in ("fingering", "string", "fret", "pluck", "thumb-position", "hole"):
                    category = "fingering"
                else:
                    category = "technique"
                self.mark(category, el.tag, folded(el) or el.tag)
        elif tag == "ornaments":
            trill = None
            for el in unbracketed(item):
                if el.tag == "wavy-line":
                    self.span("ornament", el, "wavy-line", self.onset, grace, trill)
                elif el.tag == "accidental-mark":
                    self.mark("ornament", el.tag, self.neighbour(el, written))
                else:
                    made = self.mark("ornament", el.tag, [el.get("type"), folded(el)])
                    if el.tag == "trill-mark":
                        trill = made
        elif tag == "slur":
            self.span("slur", item, "slur", self.onset, grace)
        elif tag in ("glissando", "slide"):
            self.span("ornament", item, tag, self.onset, grace)
        elif tag in ("arpeggiate", "non-arpeggiate"):
            self.mark("ornament", tag, item.get("direction") or item.get("type"))
        elif tag == "fermata":
            self.mark("fermata", "note", [item.get("type", "upright"), folded(item)])
        elif tag == "dynamics":
            self.dynamics(item, self.onset)
        elif tag == "accidental-mark":
            self.mark("ornament", tag, self.neighbour(item, written))
        elif tag not in ("tied", "tuplet", "footnote", "level"):
            self.mark("text", tag, folded(item))

    def neighbour(self, el, written):
        """The sign at an ornament speaks of the note above, or below, the written one."""
        glyph = folded(el)
        if written is None or glyph not in SIGN_VALUES:
            return glyph
        octaves, letter = divmod(ORDER.index(written[0]) + (-1 if el.get("placement") == "below" else 1), 7)
        old = SIGN_VALUES[glyph]
        return self.shift.sign(glyph, old, self.shift.note(ORDER[letter], old, written[1] + octaves)[1])

    # -- what is settled at the end

    def span(self, category, el, reading, place, grace=False, owner=None):
        kind = el.get("type")
        # In order of time, grace notes before their note, and on one note the
        # end of one span before the start of the next.
        order = (self.bar["start"] + place, 0 if grace else 1, self.count if el.tag == "slur" else 0,
                 0 if kind == "stop" else 1, len(self.events))
        self.events.append((
            order, category, el.tag, el.get("number", "1"), kind, reading, self.bar, self.index, place, owner))

    def pair_spans(self):
        opened = {}
        for _, category, tag, name, kind, reading, bar, index, place, owner in sorted(self.events, key=lambda e: e[0]):
            key = (tag, name)
            if kind in ("stop", "discontinue"):
                if key in opened:
                    opened.pop(key)[4] = [index, say(place)]
                else:
                    bar["marks"].append([category, tag, "stop", place, None])
            elif kind in ("continue", "change", "resume"):
                bar["marks"].append([category, tag, kind, place, None])
            else:
                if owner is None:
                    owner = [category, tag, reading, place, None]
                    bar["marks"].append(owner)
                opened[key] = owner

    def join_ties(self):
        """Merges each chain of tied notes into its first."""
        open_notes = []
        for note in sorted(self.sounded, key=lambda n: (n["time"], not n["grace"])):
            note["end"] = note["time"] + note["length"]
            head = note
            open_notes = [o for o in open_notes if o["end"] >= note["time"]]
            if note["stop"] and not note["grace"]:
                fitting = [o for o in open_notes if o["sound"] == note["sound"] and o["end"] == note["time"]]
                fitting.sort(key=lambda o: o["now"] != note["voice"])
                if fitting:
                    head = fitting[0]
                    open_notes = [o for o in open_notes if o is not head]
                    head["end"] = note["end"]
            if head is note:
                self.bars[note["bar"]]["notes"].append(note)
            if note["start"] and not note["grace"]:
                head["now"] = note["voice"]
                open_notes.append(head)

    def result(self):
        done = []
        for bar in self.bars:
            notes = [[say(n["onset"])] + n["sound"] + [say(n["end"] - n["time"]), n["grace"]] for n in bar["notes"]]
            cues = [[say(c[0])] + c[1:4] + [say(c[4]), c[5]] for c in bar["cues"]]
            marks = [m[:3] + [say(m[3]), m[4]] for m in bar["marks"]]

            def by_time(entry, at):
                return Fraction(entry[at]), json.dumps(entry)
            done.append({
                "number": bar["number"],
                "notes": sorted(notes, key=lambda e: by_time(e, 0)),
                "cues": sorted(cues, key=lambda e: by_time(e, 0)),
                "marks": sorted(marks, key=lambda e: by_time(e, 3)),
            })
        return done


def content(root, steps=0, semitones=0, only=None):
    """The content of a parsed score as plain lists."""
    parts = []
    for key, name, measures in partwise(root):
        if only is not None and key != only:
            continue
        bare = all(m.find(".//pitch") is None for m in measures) and any(
            m.find(".//unpitched") is not None for m in measures)
        # Drums have nothing that an interval could move.
        reader = Reader(Shift(0, 0) if bare else Shift(steps, semitones))
        bars = reader.read(measures)
        parts.append({"id": key, "name": name, "transpose": reader.transpose, "bars": bars})
    return {"parts": parts}


def main():
    options = argparse.ArgumentParser(description="Prints the notes and marks of a score as JSON.")
    options.add_argument("file")
    options.add_argument("--steps", type=int, default=0)
    options.add_argument("--semitones", type=int, default=0)
    options.add_argument("--part", help="only the part with this id")
    given = options.parse_args()
    _, root = files.load(given.file)
    print(json.dumps(content(root, given.steps, given.semitones, given.part), ensure_ascii=False, indent=1))


if __name__ == "__main__":
    main()
