"""Scores and practice sheets as music21 reads them, for exercises_check.py.

A tone is a note with all that is tied to it. Of a chord the highest is taken, as
the hands move by it.
"""

import warnings
import xml.etree.ElementTree as ET
from fractions import Fraction

import files
from music21 import chord, expressions, harmony, meter, spanner, stream, tempo
from survey_notes import Importer, exact, partwise, printed


class Tone:
    """A note, or a chord by its highest note, with all that is tied to it."""

    def __init__(self, element, top, bar, offset, onset, at):
        self.pitch = top.pitch
        self.length = exact(element.quarterLength)
        # `at` counts from where the bar would begin were it full.
        self.bar, self.offset, self.onset, self.at = bar, offset, onset, at
        self.graces = []
        self.joined = False  # a slur goes on to the next tone
        self.fingering = []
        self.open = top.tie is not None and top.tie.type in ("start", "continue")

    @property
    def name(self):
        return spelled(self.pitch)

    @property
    def end(self):
        return self.onset + self.length


def spelled(pitch):
    """As reports do."""
    return pitch.nameWithOctave.replace("-", "b")


def part_of(path, number):
    """A part as music21 reads it, in its written pitches."""
    importer = Importer()
    importer.read = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        importer.xmlRootToScore(printed(partwise(ET.fromstring(files.read_bytes(path)))), importer.stream)
    return importer.read[number - 1][1]


def measures(part):
    return list(part.getElementsByClass(stream.Measure))


def tones_of(part):
    """The tones of a part in order."""
    out, places, onset = [], {}, Fraction(0)
    for number, measure in enumerate(measures(part)):
        end, graces = Fraction(0), []
        # A pickup ends a bar.
        padding = exact(measure.paddingLeft)
        for element in sorted(measure.recurse().notesAndRests, key=lambda e: (e.getOffsetInHierarchy(measure), not e.duration.isGrace)):
            if isinstance(element, harmony.Harmony):
                continue
            offset = exact(element.getOffsetInHierarchy(measure))
            end = max(end, offset + exact(element.quarterLength))
            if element.isRest:
                continue
            members = element.notes if isinstance(element, chord.ChordBase) else [element]
            top = max(members, key=lambda member: member.pitch.ps)
            if element.duration.isGrace:
                graces.append(top.pitch)
                continue
            before = out[-1] if out else None
            goes_on = before is not None and before.open and before.end == onset + offset
            goes_on = goes_on and spelled(before.pitch) == spelled(top.pitch)
            if goes_on and top.tie is not None and top.tie.type in ("stop", "continue"):
                before.length += exact(element.quarterLength)
                before.open = top.tie.type == "continue"
            else:
                out.append(Tone(element, top, number, offset, onset + offset, offset + padding))
                out[-1].graces, graces = graces, []
            places[id(element)] = len(out) - 1
        onset += end
    for slur in part.recurse().getElementsByClass(spanner.Slur):
        ends = [places.get(id(slur.getFirst())), places.get(id(slur.getLast()))]
        if None not in ends:
            for tone in out[ends[0]:ends[1]]:
                tone.joined = True
    return out


def signatures(part):
    """For each bar (time signature, sharps)."""
    out, time, sharps = [], None, 0
    for measure in measures(part):
        time = measure.timeSignature or time
        sharps = measure.keySignature.sharps if measure.keySignature else sharps
        out.append((time or meter.TimeSignature("4/4"), sharps))
    return out


def pulse(time):
    """What is beamed and counted together."""
    unit = Fraction(4, time.denominator)
    if time.denominator >= 8 and time.numerator % 3 == 0:
        return 3 * unit
    return min(unit, Fraction(1))


def beamed_in(time, offset):
    """The number of the group in which what begins there is beamed: in 5/8 two and three."""
    beat, unit = pulse(time), Fraction(4, time.denominator)
    if beat == unit < 1:
        return min(offset // (2 * unit), max(time.numerator // 2 - 1, 0))
    return offset // beat


def words(measure):
    return [e.content for e in measure.recurse().getElementsByClass(expressions.TextExpression)]


def metronome(measure):
    """(the beat in quarters, its number) or None."""
    marks = list(measure.recurse().getElementsByClass(tempo.MetronomeMark))
    return (exact(marks[0].referent.quarterLength), int(marks[0].number)) if marks else None


def clef_of(measure):
    found = measure.clef
    return (found.sign, found.line, found.octaveChange) if found else None


def faults_of_bars(part, divisions):
    """What is wrong with how bars are written, whatever is in them."""
    wrong = []
    for number, (measure, (time, sharps)) in enumerate(zip(measures(part), signatures(part))):
        say = lambda what: wrong.append("bar %d of the file: %s" % (number + 1, what))
        elements = [e for e in measure.recurse().notesAndRests if not e.duration.isGrace]
        full = exact(time.barDuration.quarterLength)
        now = Fraction(0)
        for element in elements:
            if exact(element.getOffsetInHierarchy(measure)) != now:
                say("there is a gap before %s" % now)
            now += exact(element.quarterLength)
        if now != full:
            say("it has %s of %s quarters" % (now, full))
        if divisions[number] != full:
            say("its durations make %s of %s quarters" % (divisions[number], full))
        beams(elements, measure, time, say)
        tuplets(elements, say)
        accidentals(measure, sharps, say)
    return wrong


LEVELS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5}


def beams(elements, measure, time, say):
    """Beams join what is within a beat, and all of it, on every level."""
    begun = {}
    for place, one in enumerate(elements):
        offset = exact(one.getOffsetInHierarchy(measure))
        own = [] if one.isRest else list(one.beams)
        levels = 0 if one.isRest else LEVELS.get(one.duration.type, 0)
        after = elements[place + 1] if place + 1 < len(elements) else None
        can_join = (
            after is not None and levels > 0 and not after.isRest and LEVELS.get(after.duration.type, 0) > 0
            and beamed_in(time, exact(after.getOffsetInHierarchy(measure))) == beamed_in(time, offset))
        joins = bool(own) and own[0].type in ("start", "continue")
        # Beside a tuplet with a rest a beam ends: no bracket can stand across its end.
        edges = [e.duration.tuplets[0].type for e in (one, after) if after is not None and e.duration.tuplets]
        if can_join and not joins and ("stop" in edges[:1] or "start" in edges[-1:]):
            can_join = False
        if can_join != joins:
            say("at %s a beam %s" % (offset, "is missing" if can_join else "crosses the beat"))
        if own and len(own) != levels:
            say("at %s there are %d beams, not %d" % (offset, len(own), levels))
        for beam in own:
            is_open = begun.get(beam.number, False)
            if beam.type in ("continue", "stop") and not is_open:
                say("at %s a beam ends that has not begun" % offset)
            if beam.type in ("start", "partial") and is_open:
                say("at %s a beam begins in another" % offset)
            begun[beam.number] = beam.type in ("start", "continue")
        for number, is_open in begun.items():
            if is_open and number > len(own):
                say("at %s a beam does not end" % offset)
                begun[number] = False
    if any(begun.values()):
        say("a beam goes beyond it")


def tuplets(elements, say):
    """A tuplet has a beginning and an end, and fills a plain length."""
    filled, ratio = None, None
    for one in elements:
        own = one.duration.tuplets
        if not own:
            if filled is not None:
                say("a tuplet does not end")
                filled = None
            continue
        if own[0].type in ("start", "startStop") or filled is None:
            if filled is not None:
                say("a tuplet begins in another")
            # One that fills a plain length alone needs no bracket.
            filled, ratio = Fraction(0), own[0].numberNotesActual
            started = own[0].type in ("start", "startStop")
        if own[0].numberNotesActual != ratio:
            say("a tuplet changes within")
        filled += exact(one.quarterLength)
        is_whole = filled.denominator & (filled.denominator - 1) == 0
        ended = own[0].type in ("stop", "startStop")
        if started and ended != is_whole:
            say("a tuplet of %s quarters" % filled)
        if not started and not is_whole:
            say("a tuplet without a beginning")
        if is_whole or ended:
            filled = None
    if filled is not None:
        say("a tuplet is not full")


def accidentals(measure, sharps, say):
    """Accidentals stand where the signature and the bar ask for them, and nowhere else."""
    order = "FCGDAEB"
    altered = order[:sharps] if sharps > 0 else order[::-1][:-sharps]
    in_key = {step: (1 if sharps > 0 else -1) for step in altered}
    said = {}
    for one in measure.recurse().notes:
        alter = one.pitch.accidental.alter if one.pitch.accidental else 0
        shown = bool(one.pitch.accidental and one.pitch.accidental.displayStatus)
        if one.tie is not None and one.tie.type in ("stop", "continue"):
            if shown:
                say("an accidental at a note that is tied")
            continue
        place = (one.pitch.step, one.pitch.octave)
        if shown != (said.get(place, in_key.get(one.pitch.step, 0)) != alter):
            say("%s %s an accidental" % (spelled(one.pitch), "needs no" if shown else "lacks"))
        said[place] = alter


def beside_music21(path):
    """(the sum of the durations of each bar in quarters, the fingerings of each tone): music21 takes lengths from the
    note values where it can, and reads 0123 as a number."""
    root = ET.fromstring(files.read_bytes(path))
    divisions = Fraction(root.find(".//divisions").text)
    durations = [sum(Fraction(n.findtext("duration", "0")) for n in m.iter("note")) / divisions for m in root.iter("measure")]
    begins = lambda n: n.find("pitch") is not None and n.find("grace") is None and n.find("tie[@type='stop']") is None
    fingerings = [[f.text for f in n.iter("fingering")] for n in root.iter("note") if begins(n)]
    return durations, fingerings


def doubtful_slurs(path, number):
    """Bars of a part in which a file begins a slur while another of that number goes on, or ends one that has not begun:
    what is slurred there is a guess."""
    open_, out = {}, set()
    part = partwise(ET.fromstring(files.read_bytes(path))).findall("part")[number - 1]
    for bar, measure in enumerate(part.findall("measure")):
        for one in measure.iter("note"):
            # One ends before another begins on the same note.
            for slur in sorted(one.iter("slur"), key=lambda slur: slur.get("type") != "stop"):
                key, kind = slur.get("number", "1"), slur.get("type")
                if kind == "start" and key in open_ or kind == "stop" and key not in open_:
                    out |= set(range(open_.get(key, bar), bar + 1))
                if kind == "start":
                    open_[key] = bar
                elif kind == "stop":
                    open_.pop(key, None)
    return out
