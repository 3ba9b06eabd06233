"""Where in a score an editor can change something without doubt about what was changed."""

from fractions import Fraction

from building import element, put_in_note
from files import text_of
from moving import NATURAL, STEPS, set_alter

SIGNS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
TYPES = {
    Fraction(8): "breve", Fraction(4): "whole", Fraction(2): "half", Fraction(1): "quarter",
    Fraction(1, 2): "eighth", Fraction(1, 4): "16th", Fraction(1, 8): "32nd", Fraction(1, 16): "64th",
}
SPANNING = {
    "slur", "wedge", "octave-shift", "pedal", "wavy-line", "dashes", "bracket", "glissando", "slide", "tuplet",
    "principal-voice",
}


def written(length):
    """The note type and the number of dots of a length in quarters, or None."""
    for dots, factor in ((0, Fraction(1)), (1, Fraction(3, 2))):
        if length / factor in TYPES:
            return TYPES[length / factor], dots
    return None


def key_alter(step, fifths):
    return (step in "FCGDAEB"[:max(0, fifths)]) - (step in "BEADGCF"[:max(0, -fifths)])


def pitch_of(note):
    pitch = note.find("pitch")
    return None if pitch is None else (
        text_of(pitch, "step"), Fraction(text_of(pitch, "alter", "0")), int(text_of(pitch, "octave")))


class Places:
    def read_divisions(self, part):
        found, divisions = {}, Fraction(1)
        for bar in part.bars:
            for item in bar.el.iter("divisions"):
                divisions = Fraction(item.text.strip())
            found[bar.el] = divisions
        return found

    def borders(self, part):
        """The barlines (index of the bar after) that something reaches over."""
        shut, opened = set(), {}
        for bar in part.bars:
            for el in bar.el.iter():
                if el.tag in SPANNING or el.tag == "ending":
                    key = (el.tag, el.get("number", "1"))
                    if el.get("type") in ("stop", "discontinue"):
                        begun = opened.pop(key, None)
                        if begun is None:
                            shut.update((bar.index, bar.index + 1))
                        else:
                            shut.update(range(begun + 1, bar.index + 1))
                    elif el.get("type") not in ("continue", "change", "resume"):
                        opened[key] = bar.index
        for begun in opened.values():
            shut.update((begun, begun + 1))
        for chord in part.chords:
            # Grace notes too may be tied over.
            for kind in ("start", "stop"):
                if chord.tie(kind):
                    shut.add(chord.bar.index + 1 if kind == "start" and chord.onset + chord.duration
                             >= chord.bar.length else -1)
                    if kind == "stop" and chord.onset == 0:
                        shut.add(chord.bar.index)
        return shut

    def claim(self, part, first, last, close=False):
        """Takes bars for a deed, or says that they are not to be had."""
        wanted = range(first - 1, last + 2)
        if any(i in self.taken[part.id] for i in wanted):
            return False
        if any(i in self.marked[part.id] for i in range(first, last + 1)):
            return False
        self.taken[part.id].update(range(first, last + 1))
        if close:
            self.closed.update(part.bars[i].el for i in range(first, last + 1))
        return True

    def tell(self, part, category, status, reading, bar, onset, **more):
        self.findings.append({
            "part": part.id, "category": category, "status": status, "reading": reading,
            "at": (bar.el, onset), **more})

    def chords_at(self, part, time):
        return [c for c in part.chords if c.time == time and not c.grace and not c.rest]

    def graced(self, part, chord):
        return any(c.grace and c.time == chord.time for c in part.chords)

    def easy(self, part, chord, graced=False):
        """A note whose change concerns nothing but itself."""
        return (
            chord.playable and not chord.tie("start") and not chord.tie("stop") and (graced or not self.graced(part, chord))
            and chord.duration > 0 and all(n.find("pitch") is not None for n in chord.members)
            and not chord.has("time-modification") and not chord.has("notations/tuplet")
            and chord.bar.el.find("note/pitch") is not None
            and not any(n.find("notations/" + t) is not None for n in chord.members
                        for t in ("glissando", "slide", "ornaments/tremolo"))
            and chord.onset + chord.duration <= chord.bar.length)

    def draw(self, single=True):
        part = self.rng.choice(self.parts)
        bar = self.rng.choice(part.bars)
        if bar.index in self.taken[part.id]:
            return part, None
        found = [c for c in part.in_bar[bar.index] if self.easy(part, c)
                 and not (single and len(c.members) > 1)]
        return part, self.rng.choice(found) if found else None

    def following(self, part, chord):
        line = part.voices[chord.voice]
        at = next(i for i, c in enumerate(line) if c is chord) + 1
        return line[at] if at < len(line) else None

    def letters(self, bar, without=()):
        """How each letter is altered in the bar, the given notes left out."""
        found = {}
        for note in bar.el.iter("note"):
            if note in without or note.find("pitch") is None:
                continue
            step, alter, _ = pitch_of(note)
            found.setdefault(step, set()).add(alter)
            if note.find("accidental") is not None:
                found[step].add("sign")
        return found

    def set_pitch(self, note, step, alter, octave, sign):
        pitch = note.find("pitch")
        pitch.find("step").text = step
        set_alter(pitch, "step", "alter", Fraction(alter))
        pitch.find("octave").text = str(octave)
        old = note.find("accidental")
        if old is not None:
            note.remove(old)
        if sign:
            put_in_note(note, element("accidental", SIGNS[int(alter)]))

    def special(self, note):
        """An accidental that is a mark of its own."""
        found = note.find("accidental")
        return found is not None and bool(set(found.keys()) & {"cautionary", "editorial", "parentheses", "bracket"})

    def place_of(self, chord):
        return chord.bar.el, chord.onset
