"""The notes that music21 reads in a score, and whether the program reads the same.

Compared are, for each part, all notes that are not rests, as (onset from the
part's start, sounding pitch, duration, grace or not, length with all that is
tied to it). A note to which another is tied has the length 0.

Four things are asked of music21 in another way than usual:
- a part of several staves stays one part, so that no note is doubled;
- a timewise score, which it does not read, is put part by part;
- a note that is not printed becomes a rest;
- a direction may stand beyond the end of its bar, and music21 makes the bar
  longer for it. A direction takes no time (schema: group duration, which only
  notes, backups and forwards have), so a bar ends with its last note or rest.

Where a file's divisions only round what is printed (85 of 256 for a third of a
quarter), music21 reads the durations: notes that are nearly the same are the same.
"""

import collections
import json
import warnings
import xml.etree.ElementTree as ET
from fractions import Fraction

import files
from music21 import chord, harmony, note, stream
from music21.musicxml import xmlToM21

# `bar` and `offset`: the place of its bar, and the time from its start.
Note = collections.namedtuple("Note", "onset pitch duration grace starts stops voice bar offset")
FIELDS = ("onsets", "pitches", "durations", "graces", "ties")


class WholePart(xmlToM21.PartParser):
    def separateOutPartStaves(self):
        return []


class Importer(xmlToM21.MusicXMLImporter):
    def xmlPartToPart(self, mxPart, mxScorePart):
        parser = WholePart(mxPart, mxScorePart=mxScorePart, parent=self)
        parser.parse()
        self.read.append((mxScorePart.get("id"), parser.stream))
        return parser.stream


def partwise(root):
    if root.tag != "score-timewise":
        return root
    turned = ET.Element("score-partwise", root.attrib)
    parts = {}
    for child in root:
        if child.tag != "measure":
            turned.append(child)
            continue
        for content in child.findall("part"):
            key = content.get("id")
            if key not in parts:
                parts[key] = ET.SubElement(turned, "part", content.attrib)
            ET.SubElement(parts[key], "measure", child.attrib).extend(list(content))
    return turned


# No note is as short.
ROUNDING = Fraction(1, 64)


# What a rest has of a note.
TIMED = ("duration", "voice", "type", "dot", "time-modification", "staff")


def printed(root):
    """Without the notes that are not printed, but with their time."""
    for bar in root.iter("measure"):
        unseen = False  # whether the first note of the chord is
        for one in bar.findall("note"):
            hidden = one.get("print-object") == "no" and one.find("rest") is None
            joins, grace = one.find("chord"), one.find("grace") is not None
            if joins is None:
                unseen = hidden
            elif unseen and not hidden:
                # It begins the chord, and has its time.
                one.remove(joins)
                place = list(bar).index(one)
                if not grace:
                    bar.remove(bar[place - 1])
                unseen = False
            if hidden and joins is None and not grace:
                for child in [c for c in one if c.tag not in TIMED]:
                    one.remove(child)
                one.insert(0, ET.Element("rest"))
            elif hidden:
                bar.remove(one)
    return root


def exact(value):
    # Where music21 reckons with floats, they are near a fraction of the file's divisions.
    return Fraction(value).limit_denominator(1 << 20)


def read(path):
    """([(part's id, its notes)], whether a direction made a bar longer)"""
    importer = Importer()
    importer.read = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        importer.xmlRootToScore(printed(partwise(ET.fromstring(files.read_bytes(path)))), importer.stream)
        longer, parts = False, []
        for key, part in importer.read:
            part.toSoundingPitch(inPlace=True)
            notes, stretched = notes_of(part)
            parts.append((key, notes))
            longer = longer or stretched
    return parts, longer


def notes_of(part):
    measures = list(part.getElementsByClass(stream.Measure))
    starts = [exact(part.elementOffset(measure)) for measure in measures]
    start, stretched, notes = Fraction(0), False, []
    for place, measure in enumerate(measures):
        end = Fraction(0)
        for element in measure.recurse().notesAndRests:
            if isinstance(element, harmony.Harmony):
                continue
            offset = exact(element.getOffsetInHierarchy(measure))
            end = max(end, offset + exact(element.quarterLength))
            voice = element.activeSite.id if isinstance(element.activeSite, stream.Voice) else None
            members = element.notes if isinstance(element, chord.ChordBase) else [element]
            notes += [plain(one, start + offset, voice)._replace(bar=place, offset=offset) for one in members if not one.isRest]
        if place + 1 < len(measures):
            length = starts[place + 1] - starts[place]
            if length == exact(measure.highestTime) and end < length:
                length, stretched = end, True
            start += length
    return notes, stretched


def plain(one, onset, voice):
    if isinstance(one, note.Unpitched):
        pitch = ("unpitched", one.displayStep, 0, one.displayOctave)
    else:
        alter = one.pitch.accidental.alter if one.pitch.accidental else 0
        pitch = ("pitched", one.pitch.step, round(alter * 100), one.pitch.implicitOctave)
    tie = one.tie.type if one.tie else None
    return Note(
        onset, pitch, exact(one.duration.quarterLength), one.duration.isGrace, tie in ("start", "continue"),
        tie in ("stop", "continue"), voice, None, None)


def with_ties(notes):
    """Each note with its tied length. A tie goes on where its note ends, at the same pitch."""
    open_ties, lengths, heads = {}, [one.duration for one in notes], list(range(len(notes)))
    for place in sorted(range(len(notes)), key=lambda place: notes[place].onset):
        one = notes[place]
        if one.grace or one.pitch[0] != "pitched":
            continue
        waiting = open_ties.get((one.onset, one.pitch))
        if one.stops and waiting:
            before = next((at for at in waiting if notes[at].voice == one.voice), waiting[0])
            waiting.remove(before)
            heads[place] = heads[before]
            lengths[heads[place]] += one.duration
            lengths[place] = Fraction(0)
        if one.starts:
            open_ties.setdefault((one.onset + one.duration, one.pitch), []).append(place)
    return [one[:4] + (length,) for one, length in zip(notes, lengths)]


def told(contents):
    """The same of what the program read."""
    with open(contents, encoding="utf-8") as handle:
        score = json.load(handle)
    return [(part["id"], notes_told(part)) for part in score["parts"]]


def notes_told(part):
    starts = [Fraction(bar["start"]) for bar in part["bars"]]
    lengths = [Fraction(one["duration"]) for one in part["notes"]]
    for place, one in enumerate(part["notes"]):
        head = place
        while part["notes"][head]["tied_from"] is not None:
            head = part["notes"][head]["tied_from"]
        if head != place:
            lengths[head] += Fraction(one["duration"])
            lengths[place] = Fraction(0)
    notes = []
    for one, length in zip(part["notes"], lengths):
        if one["kind"] != "rest":
            pitch = one["pitch"]
            notes.append((
                starts[one["bar"]] + Fraction(one["offset"]),
                (one["kind"], "CDEFGAB"[pitch["step"]], pitch["alter"], pitch["octave"]),
                Fraction(one["duration"]), one["grace"] > 0, length))
    return notes


def differences(ours, theirs):
    """(what differs, for a person: where first)"""
    what, first = set(), None
    if [key for key, _ in ours] != [key for key, _ in theirs]:
        what.add("parts")
        first = "parts %s, music21 %s" % ([key for key, _ in ours], [key for key, _ in theirs])
    others = dict(theirs)
    for key, notes in ours:
        mine, other = collections.Counter(notes), collections.Counter(others.get(key, notes))
        if mine == other or nearly(notes, others.get(key, notes)):
            continue
        apart = {name for at, name in enumerate(FIELDS)
                 if collections.Counter(n[at] for n in mine.elements())
                 != collections.Counter(n[at] for n in other.elements())}
        # As many of each, but put together otherwise.
        what |= {"notes"} if mine.total() != other.total() else apart or {"notes"}
        first = first or "part %s: %s, music21 %s" % (key, said(mine - other), said(other - mine))
    return sorted(what), first


def nearly(ours, theirs):
    """Whether all notes are the same but for roundings."""
    near = lambda a, b: a[3] == b[3] and all(abs(a[at] - b[at]) < ROUNDING for at in (0, 2, 4))
    left = collections.defaultdict(list)
    for one in theirs:
        left[one[1], round(one[0])].append(one)
    for one in ours:
        places = [left[one[1], round(one[0]) + step] for step in (0, 1, -1)]
        found = next(((place, other) for place in places for other in place if near(one, other)), None)
        if found is None:
            return False
        found[0].remove(found[1])
    return len(ours) == len(theirs)


def said(notes):
    for onset, (_, step, alter, octave), duration, grace, tied in sorted(notes):
        return "%s%s%s at %s for %s%s, tied %s" % (
            step, octave, " %+d" % alter if alter else "", onset, duration, " grace" if grace else "", tied)
    return "nothing"


def compare(file):
    """(what differs, where first, number of notes, whether a direction made a bar longer)"""
    theirs, longer = read(file["path"])
    theirs = [(key, with_ties(notes)) for key, notes in theirs]
    ours = told(file["contents"])
    what, first = differences(ours, theirs)
    return what, first, sum(len(notes) for _, notes in ours), longer
