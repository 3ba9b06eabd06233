"""Moving a whole score by an interval."""

from fractions import Fraction

from building import element, insert
from files import text_of

STEPS = "CDEFGAB"
NATURAL = [0, 2, 4, 5, 7, 9, 11]
GLYPHS = {
    Fraction(-3): "triple-flat", Fraction(-2): "flat-flat", Fraction(-3, 2): "three-quarters-flat",
    Fraction(-1): "flat", Fraction(-1, 2): "quarter-flat", Fraction(0): "natural",
    Fraction(1, 2): "quarter-sharp", Fraction(1): "sharp", Fraction(3, 2): "three-quarters-sharp",
    Fraction(2): "double-sharp", Fraction(3): "triple-sharp",
}
GLYPH_ALTER = {glyph: alter for alter, glyph in GLYPHS.items()}
GLYPH_ALTER.update({"sharp-sharp": Fraction(2), "natural-sharp": Fraction(1), "natural-flat": Fraction(-1)})


class Impossible(Exception):
    """The score cannot be moved by this interval."""


class Interval:
    def __init__(self, steps, semitones):
        self.steps, self.semitones = steps, semitones
        self.fifths = 7 * semitones - 12 * steps

    def pitch(self, step, alter, octave):
        place = STEPS.index(step) + 7 * octave
        sounding = NATURAL[place % 7] + 12 * (place // 7) + alter + self.semitones
        place += self.steps
        alter = sounding - NATURAL[place % 7] - 12 * (place // 7)
        if abs(alter) > 3:
            raise Impossible("%s%+d%d would need more than three signs" % (step, alter, octave))
        return STEPS[place % 7], alter, place // 7


def number(text):
    return Fraction(text.strip()) if text and text.strip() else Fraction(0)


def plain(value):
    return str(value) if value.denominator == 1 else "%g" % float(value)


def set_alter(parent, after, name, alter):
    """Sets, adds or removes an alter element so that an untouched one keeps its form."""
    found = parent.find(name)
    if found is not None:
        if number(found.text) != alter:
            if alter == 0:
                parent.remove(found)
            else:
                found.text = plain(alter)
    elif alter != 0:
        place = list(parent).index(parent.find(after)) + 1
        insert(parent, place, element(name, plain(alter)))


def move_pitch(el, interval, names=("step", "alter", "octave")):
    """Moves a pitch, or a pitch class where the element has no octave."""
    step, alter, octave = names
    old = number(text_of(el, alter))
    has_octave = octave is not None
    new_step, new_alter, new_octave = interval.pitch(
        text_of(el, step), old, int(text_of(el, octave)) if has_octave else 4)
    el.find(step).text = new_step
    set_alter(el, step, alter, new_alter)
    if has_octave:
        if not 0 <= new_octave <= 9:
            raise Impossible("a note would lie in octave %d" % new_octave)
        el.find(octave).text = str(new_octave)
    return old, new_alter


def move_sign(el, step, octave, interval):
    """Moves the sign over or under an ornament, which alters the neighbouring note."""
    if (el.text or "").strip() not in GLYPH_ALTER:
        return
    place = STEPS.index(step) + 7 * octave + (-1 if el.get("placement") == "below" else 1)
    old = GLYPH_ALTER[el.text.strip()]
    new = interval.pitch(STEPS[place % 7], old, place // 7)[1]
    if new != old:
        el.text = GLYPHS[new]


def move_key(key, interval):
    fifths = key.find("fifths")
    if fifths is not None:
        moved = int(fifths.text) + interval.fifths
        if abs(moved) > 7:
            raise Impossible("a key of %d signs: respell the interval" % abs(moved))
        fifths.text = str(moved)
        cancel = key.find("cancel")
        if cancel is not None:
            moved = int(cancel.text) + interval.fifths
            if abs(moved) > 7:
                key.remove(cancel)
            else:
                cancel.text = str(moved)
    # A key that is not of the circle of fifths: step, alter and perhaps a sign, in turn.
    step = None
    for child in list(key):
        if child.tag == "key-step":
            step = child
        elif child.tag == "key-alter":
            old = number(child.text)
            step.text, alter, _ = interval.pitch(step.text.strip(), old, 4)
            child.text = plain(alter)
        elif child.tag == "key-accidental" and alter != old and alter in GLYPHS:
            child.text = GLYPHS[alter]


def move(root, interval):
    """Moves a whole score; gives the ids of the parts that have nothing to move."""
    still = []
    for part in root.iter("part"):
        if part.find(".//unpitched") is not None and part.find(".//pitch") is None:
            still.append(part.get("id"))
            continue
        if interval.steps == 0 and interval.semitones == 0:
            continue
        for key in part.iter("key"):
            move_key(key, interval)
        for fifths in part.iter("numeral-fifths"):
            fifths.text = str(int(fifths.text) + interval.fifths)
        for name in ("root", "bass"):
            for el in part.iter(name):
                if el.find(name + "-step") is not None:
                    move_pitch(el, interval, (name + "-step", name + "-alter", None))
        for rest in part.iter("rest"):
            if rest.find("display-step") is not None:
                place = STEPS.index(text_of(rest, "display-step")) + 7 * int(text_of(rest, "display-octave"))
                place += interval.steps
                rest.find("display-step").text = STEPS[place % 7]
                rest.find("display-octave").text = str(place // 7)
        for note in part.iter("note"):
            pitch = note.find("pitch")
            if pitch is None:
                continue
            step, octave = text_of(pitch, "step"), int(text_of(pitch, "octave"))
            for sign in note.iter("accidental-mark"):
                move_sign(sign, step, octave, interval)
            old, new = move_pitch(pitch, interval)
            # The key moves with the notes, so a sign is needed exactly where it was
            # before; only which sign it is may change.
            accidental = note.find("accidental")
            if accidental is not None and new != old and new in GLYPHS:
                accidental.text = GLYPHS[new]
    return still
