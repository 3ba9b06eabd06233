"""What an editor does to the notes, and with marks that are there already.

Each deed works on the moved score in place and keeps away from the others by at
least a bar, so that what it did can be told without doubt. Places that would
make the truth doubtful (ties or slurs over the border of an edited bar, tuplets,
signs that other notes rely on) are left alone.
"""

import copy
from fractions import Fraction

import content
from files import elements, text_of

STEPS = "CDEFGAB"
NATURAL = [0, 2, 4, 5, 7, 9, 11]
SIGNS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
TYPES = {
    Fraction(8): "breve", Fraction(4): "whole", Fraction(2): "half", Fraction(1): "quarter",
    Fraction(1, 2): "eighth", Fraction(1, 4): "16th", Fraction(1, 8): "32nd", Fraction(1, 16): "64th",
}
SPANNING = {
    "slur", "wedge", "octave-shift", "pedal", "wavy-line", "dashes", "bracket", "glissando", "slide", "tuplet",
    "principal-voice",
}
SIMPLE_ORNAMENTS = {"trill-mark", "mordent", "inverted-mordent", "turn"}
WORDY = ("dynamics", "tempo", "expression", "technique", "text")


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


class Deeds:
    """`tools` is the module that builds elements and reads parts."""

    STRUCTURES = ("insertion", "cut", "ending", "rewrite")
    NAMES = STRUCTURES + (
        "octaves", "wrong-notes", "spelling", "rhythm", "notes", "ties", "omitted-marks", "altered-marks")
    TRIES = 80

    def __init__(self, root, rng, tools):
        self.root, self.rng, self.tools = root, rng, tools
        self.all = list(map(tools.Part, root.iter("part")))
        self.parts = [p for p in self.all if any(c.playable and c.head.find("pitch") is not None for c in p.chords)]
        self.places = {}          # measure -> (index, number) in the source
        for part in self.all:
            for bar in part.bars:
                self.places[bar.el] = (bar.index, bar.number)
        self.before = {p["id"]: p["bars"] for p in content.content(root)["parts"]}
        self.taken = {part.id: set() for part in self.all}
        self.marked = {part.id: set() for part in self.all}
        self.closed = set()       # measures where no mark may be added
        self.findings, self.passages = [], []
        self.shut = {part.id: self.borders(part) for part in self.all}
        self.divisions = {part.id: self.read_divisions(part) for part in self.all}

    # -- doing them

    def work(self, names, times):
        """Does each named deed up to `times` times; gives what found no place."""
        missing = []
        for name in sorted(names, key=self.NAMES.index):
            deed = getattr(self, name.replace("-", "_"))
            wanted = 1 if name in self.STRUCTURES else times * 3 if name.endswith("-marks") else times
            done = 0
            for _ in range(wanted):
                if self.parts and any(deed() for _ in range(self.TRIES)):
                    done += 1
            if done == 0:
                missing.append(name)
        return missing

    def settle(self):
        """The truth, with the bars as they stand at last."""
        index = {}
        for part in self.root.iter("part"):
            for at, el in enumerate(part.findall("measure")):
                index[el] = at

        def spot(place):
            # What was cut would stand where the edition goes on.
            el, offset = place
            if el not in index:
                return {"bar": None, "bar_index": None, "offset": str(offset)}
            return {"bar": el.get("number", ""), "bar_index": index[el], "offset": str(offset)}
        findings = []
        for f in self.findings:
            told = {"part": f["part"], "category": f["category"], "status": f["status"]}
            told.update(spot(f["at"]))
            told["end"] = spot(f["end"]) if f.get("end") else None
            source = self.places.get(f["at"][0])
            source_offset = f.get("source_offset", f["at"][1])
            told["source_bar_index"], told["source_bar"] = source if source else (None, None)
            told["source_offset"] = str(source_offset) if source else None
            told["reading"] = f["reading"]
            told["loose"] = f.get("loose", False)
            findings.append(told)
        passages = []
        for p in self.passages:
            told = {"part": p["part"], "kind": p["kind"], "octaves": p.get("octaves"), "notes": p.get("notes")}
            for name in ("from", "to"):
                told[name] = spot(p[name]) if p.get(name) else None
                told["source_" + name] = p.get("source_" + name)
            passages.append(told)
        return findings, passages

    def place_added(self, findings):
        """Says of added marks where in the source they would stand."""
        index = {}
        for part in self.root.iter("part"):
            for at, el in enumerate(part.findall("measure")):
                index[part.get("id"), at] = el
        for f in findings:
            source = self.places.get(index[f["part"], f["bar_index"]])
            f["source_bar_index"], f["source_bar"] = source or (None, None)
            f["source_offset"] = f["offset"] if source else None

    def guard(self, part):
        """Tells a freshly read part what no further mark may come near."""
        index = {bar.el: bar for bar in part.bars}
        for f in self.findings:
            if f["part"] != part.id or f["at"][0] not in index or f["category"] in ("note", "pitch", "octave"):
                continue
            time = index[f["at"][0]].start + f["at"][1]
            end = None
            if f.get("end") and f["end"][0] in index:
                end = index[f["end"][0]].start + f["end"][1]
            for category in WORDY if f["category"] in WORDY else (f["category"],):
                part.mark(category, time, end)
            if f["category"] == "slur":
                for chord in part.chords:
                    if f.get("slack") and abs(chord.time - time) <= 4 or time <= chord.time <= (end or time):
                        chord.slurred = True

    # -- what is where

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

    def easy(self, part, chord):
        """A note whose change concerns nothing but itself."""
        return (
            chord.playable and not chord.tie("start") and not chord.tie("stop") and not self.graced(part, chord)
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
        found = [c for c in part.chords if c.bar is bar and self.easy(part, c)
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
        self.tools.set_alter(pitch, "step", "alter", Fraction(alter))
        pitch.find("octave").text = str(octave)
        old = note.find("accidental")
        if old is not None:
            note.remove(old)
        if sign:
            self.tools.put_in_note(note, self.tools.element("accidental", SIGNS[int(alter)]))

    def special(self, note):
        """An accidental that is a mark of its own."""
        found = note.find("accidental")
        return found is not None and bool(set(found.keys()) & {"cautionary", "editorial", "parentheses", "bracket"})

    def place_of(self, chord):
        return chord.bar.el, chord.onset

    # -- single notes

    def neighbour(self, part, chord, choices):
        """A pitch of the key some steps away that needs no sign and disturbs none."""
        note = chord.head
        old = pitch_of(note)
        if self.special(note) or abs(old[1]) > 2 or old[1].denominator != 1:
            return None
        fifths = part.keys[chord.bar.index]
        others = self.letters(chord.bar, [note])
        if (note.find("accidental") is not None or old[1] != key_alter(old[0], fifths)) and old[0] in others:
            return None
        place = STEPS.index(old[0]) + 7 * old[2] + self.rng.choice(choices)
        step, octave = STEPS[place % 7], place // 7
        alter = key_alter(step, fifths)
        if others.get(step, {alter}) != {alter} or not 1 <= octave <= 8:
            return None
        # The same pitch struck by another voice would leave open which is which.
        for other in self.chords_at(part, chord.time):
            for member in other.members:
                if member is not note and pitch_of(member) in (old, (step, Fraction(alter), octave)):
                    return None
        sound = NATURAL[place % 7] + 12 * octave + alter
        before = NATURAL[STEPS.index(old[0])] + 12 * old[2] + old[1]
        return None if sound == before else (step, alter, octave)

    def wrong_notes(self):
        part, chord = self.draw()
        # Among a few notes one wrong one could as well be another interval.
        if chord is None or sum(c.playable for c in part.chords) < 8:
            return False
        new = self.neighbour(part, chord, (-2, -1, 1, 2))
        if new is None or not self.claim(part, chord.bar.index, chord.bar.index):
            return False
        self.set_pitch(chord.head, *new, sign=False)
        self.tell(part, "pitch", "altered", "%s%+d%d" % new, chord.bar, chord.onset)
        return True

    def spelling(self):
        part, chord = self.draw()
        if chord is None or self.special(chord.head):
            return False
        old = pitch_of(chord.head)
        sound = NATURAL[STEPS.index(old[0])] + old[1] + 12 * old[2]
        found = []
        for move in (-1, 1):
            place = STEPS.index(old[0]) + 7 * old[2] + move
            alter = sound - NATURAL[place % 7] - 12 * (place // 7)
            if abs(alter) <= 1 and alter.denominator == 1:
                found.append((STEPS[place % 7], alter, place // 7))
        others = self.letters(chord.bar, [chord.head])
        found = [f for f in found if f[0] not in others and old[0] not in others]
        if not found or not self.claim(part, chord.bar.index, chord.bar.index):
            return False
        new = self.rng.choice(found)
        fifths = part.keys[chord.bar.index]
        self.set_pitch(chord.head, *new, sign=new[1] != key_alter(new[0], fifths))
        self.tell(part, "spelling", "altered", "%s%+d%d" % new, chord.bar, chord.onset)
        return True

    def rhythm(self):
        part, first = self.draw(single=False)
        if first is None:
            return False
        second = self.following(part, first)
        if (second is None or second.bar is not first.bar or second.onset != first.onset + first.duration
                or not self.easy(part, second) or second.staff != first.staff):
            return False
        # Directions and harmonies between them would move along, or not.
        inside = list(first.bar.el)
        between = inside[inside.index(first.head): inside.index(second.head)]
        if any(el.tag != "note" for el in between):
            return False
        whole = first.duration + second.duration
        if first.duration == second.duration and written(first.duration):
            lengths = (whole * 3 / 4, whole / 4)
        elif first.duration == 3 * second.duration:
            lengths = (whole / 2, whole / 2)
        else:
            return False
        if not self.fits(part, first.bar, lengths) or not all(map(written, lengths)):
            return False
        # Elsewhere in the part nothing may sound the same where the second note comes to stand.
        pitches = {pitch_of(n) for n in second.members} | {pitch_of(n) for n in first.members}
        for other in part.chords:
            if other.bar is first.bar and other not in (first, second) and not other.rest and any(
                    pitch_of(n) in pitches for n in other.members):
                return False
        if not self.claim(part, first.bar.index, first.bar.index, close=True):
            return False
        for chord, length in zip((first, second), lengths):
            for note in chord.members:
                self.set_length(part, chord.bar, note, length)
            for _ in chord.members:
                self.tell(part, "rhythm", "altered", str(length), chord.bar,
                          first.onset if chord is first else first.onset + lengths[0], source_offset=chord.onset)
        return True

    def fits(self, part, bar, lengths):
        divisions = self.divisions[part.id][bar.el]
        return all((length * divisions).denominator == 1 for length in lengths)

    def set_length(self, part, bar, note, length):
        note.find("duration").text = str(length * self.divisions[part.id][bar.el])
        name, dots = written(length)
        if note.find("type") is not None:
            note.find("type").text = name
            for dot in note.findall("dot"):
                note.remove(dot)
            for _ in range(dots):
                self.tools.put_in_note(note, self.tools.element("dot"))

    def bare(self, chord):
        """Without marks on it, or a direction right before it."""
        inside = list(chord.bar.el)
        at = inside.index(chord.head)
        return (
            not any(n.find(t) is not None for n in chord.members for t in ("notations", "lyric", "beam"))
            and (at == 0 or inside[at - 1].tag not in ("direction", "harmony", "figured-bass"))
            and not self.special(chord.head))

    def notes(self):
        part, chord = self.draw()
        if chord is None:
            return False
        note = chord.head
        if self.rng.random() < 0.35:
            old = pitch_of(note)
            signed = note.find("accidental") is not None
            if not self.bare(chord) or signed and old[0] in self.letters(chord.bar, [note]):
                return False
            if len([c for c in part.chords if c.bar is chord.bar and not c.rest]) < 3:
                return False
            if any(pitch_of(n) == old for c in self.chords_at(part, chord.time) for n in c.members if n is not note):
                return False
            if not self.claim(part, chord.bar.index, chord.bar.index, close=True):
                return False
            for tag in ("accidental", "stem", "notehead", "instrument", "play"):
                for child in note.findall(tag):
                    note.remove(child)
            at = list(note).index(note.find("pitch"))
            rest = self.tools.element("rest")
            rest.tail = note[at].tail
            note[at] = rest
            self.tell(part, "note", "omitted", "%s%+d%d" % old, chord.bar, chord.onset)
            return True
        half = chord.duration / 2
        if not written(half) or not written(chord.duration) or not self.fits(part, chord.bar, [half]):
            return False
        if note.find("type") is None or note.find("lyric") is not None:
            return False
        new = pitch_of(note)
        if self.rng.random() < 0.6:
            new = self.neighbour(part, chord, (-1, 1))
            if new is None:
                return False
        after = self.following(part, chord)
        if after is not None and after.time == chord.time + chord.duration and any(
                pitch_of(n) == (new[0], Fraction(new[1]), new[2]) for n in after.members):
            return False
        for other in part.chords:
            if other is not chord and not other.rest and other.time == chord.time + half:
                return False
        if not self.claim(part, chord.bar.index, chord.bar.index, close=True):
            return False
        second = copy.deepcopy(note)
        second.attrib.pop("default-x", None)
        for tag in ("accidental", "notations"):
            for child in second.findall(tag):
                second.remove(child)
        if new != pitch_of(note):
            self.set_pitch(second, *new, sign=False)
        for beam, copied in zip(note.findall("beam"), second.findall("beam")):
            if beam.text == "begin":
                copied.text = "continue"
            elif beam.text == "end":
                beam.text = "continue"
            elif beam.text in ("backward hook", "forward hook"):
                note.remove(beam)
                second.remove(copied)
        self.set_length(part, chord.bar, note, half)
        self.set_length(part, chord.bar, second, half)
        inside = list(chord.bar.el)
        self.tools.insert(chord.bar.el, inside.index(note) + 1, second)
        if new == pitch_of(note):
            # One held note against two struck ones is a tie left out, however it was written.
            self.tell(part, "tie", "omitted", "%s%+d%d" % new, chord.bar, chord.onset)
            return True
        self.tell(part, "rhythm", "altered", str(half), chord.bar, chord.onset)
        self.tell(part, "note", "added", "%s%+d%d" % new, chord.bar, chord.onset + half)
        return True

    def ties(self):
        part = self.rng.choice(self.parts)
        bar = self.rng.choice(part.bars)
        if bar.index in self.taken[part.id]:
            return False
        line = [c for c in part.chords if c.bar is bar and c.playable and len(c.members) == 1 and not c.grace
                and c.head.find("pitch") is not None]
        if not line:
            return False
        first = self.rng.choice(line)
        second = self.following(part, first)
        if second is None or second.time != first.time + first.duration or len(second.members) > 1:
            return False
        pitch = pitch_of(first.head)
        if not second.playable or pitch_of(second.head) != pitch or second.bar.index > first.bar.index + 1:
            return False
        if self.graced(part, second) or self.graced(part, first):
            return False
        # Unisons of other voices could as well be meant.
        for other in part.chords:
            if other not in (first, second) and first.bar.index <= other.bar.index <= second.bar.index and any(
                    pitch_of(n) == pitch for n in other.members) and (
                    other.time <= second.time and other.time + other.duration >= first.time):
                if other.tie("start") or other.tie("stop") or other.time in (first.time, second.time):
                    return False
        plain = pitch[1] == key_alter(pitch[0], part.keys[second.bar.index])
        if not (plain or first.bar is second.bar) or second.head.find("accidental") is not None:
            return False
        made = not (first.tie("start") or second.tie("stop"))
        if made and (second.head.find("notations") is not None or second.tie("start") or first.tie("stop")
                     or second.head.find("lyric") is not None):
            return False
        if not made and (first.tie("stop") or second.tie("start") or not first.tie("start") or not second.tie("stop")):
            return False
        if not self.claim(part, first.bar.index, second.bar.index, close=True):
            return False
        for chord, kind in ((first, "start"), (second, "stop")):
            note = chord.head
            if made:
                self.tools.put_in_note(note, self.tools.element("tie", type=kind))
                notations = note.find("notations")
                tied = self.tools.element("tied", type=kind)
                if notations is None:
                    self.tools.put_in_note(note, self.tools.element("notations", children=[tied]))
                else:
                    self.tools.insert(notations, len(notations), tied)
            else:
                for tie in note.findall("tie"):
                    note.remove(tie)
                for notations in note.findall("notations"):
                    for tied in notations.findall("tied"):
                        notations.remove(tied)
                    if not len(notations):
                        note.remove(notations)
        self.tell(part, "tie", "added" if made else "omitted", "%s%+d%d" % pitch, first.bar, first.onset)
        return True

    def octaves(self):
        part, first = self.draw(single=False)
        if first is None:
            return False
        line = part.voices[first.voice]
        struck = [c for c in line if not c.rest]
        longest = min(20, len(struck) // 6)
        if longest < 3:
            return False
        wanted = self.rng.randint(3, longest)
        at = next(i for i, c in enumerate(struck) if c is first)
        run = struck[at: at + wanted]
        if len(run) < 3 or run[-1].tie("start") or run[0].tie("stop") or run[-1].bar.index > first.bar.index + 12:
            return False
        if any(not c.playable or c.has("cue") or any(n.find("pitch") is None for n in c.members) for c in run):
            return False
        # The end of a tie that nowhere began is struck, or is not.
        if any(b.tie("stop") and not a.tie("start") for a, b in zip(run, run[1:])):
            return False
        # A voice by that name on another staff is perhaps another.
        if len({c.staff for c in run}) > 1:
            return False
        move = self.rng.choice([-1, 1])
        inside = set(map(id, run))
        for chord in part.chords:
            if run[0].time <= chord.time <= run[-1].time and chord.grace:
                return False
        for bar in {id(c.bar): c.bar for c in run}.values():
            rest = [c for c in part.chords if c.bar is bar and not c.rest and id(c) not in inside]
            fifths = part.keys[bar.index]
            signed = any(
                n.find("accidental") is not None or pitch_of(n) and pitch_of(n)[1] != key_alter(pitch_of(n)[0], fifths)
                for n in bar.el.iter("note"))
            if rest and signed:
                return False
        notes = 0
        for chord in run:
            old = [pitch_of(n) for n in chord.members]
            new = [(s, a, o + move) for s, a, o in old]
            here = [pitch_of(n) for c in self.chords_at(part, chord.time) if c is not chord for n in c.members]
            if set(new) & set(old) or set(here) & (set(old) | set(new)):
                return False
            if any(not 1 <= o <= 8 for _, _, o in new):
                return False
        if not self.claim(part, run[0].bar.index, run[-1].bar.index):
            return False
        for chord in run:
            for note in chord.members:
                octave = note.find("pitch/octave")
                octave.text = str(int(octave.text) + move)
                kinds = {t.get("type") for t in note.findall("tie") + note.findall("notations/tied")}
                if "stop" not in kinds:
                    notes += 1
                    self.tell(part, "octave", "altered", "%s%+d%d" % pitch_of(note), chord.bar, chord.onset)
        last = [c for c in run if not c.tie("stop")][-1]
        self.passages.append({
            "part": part.id, "kind": "octave-displacement", "octaves": move, "notes": notes,
            "from": self.place_of(run[0]), "to": self.place_of(last)})
        return True

    # -- marks that are there

    def drop(self, holder, child):
        """Takes a notation out, and what held nothing else."""
        note, path = holder[0], holder[1:]
        path[-1].remove(child)
        for inner, outer in zip(reversed(path), list(reversed(path[:-1])) + [note]):
            if not len(inner):
                outer.remove(inner)

    def own_marks(self, part):
        """Of the part's marks those that can be left out or altered without doubt:
        (category, sign, chord or None, bar, onset, take, element, end)."""
        found = []
        for chord in part.chords:
            if not chord.playable:
                continue
            for note in chord.members:
                for notations in note.findall("notations"):
                    for group in notations.findall("articulations"):
                        for sign in elements(group):
                            if sign.tag not in ("breath-mark", "caesura", "other-articulation"):
                                found.append(("articulation", chord, chord.bar, chord.onset, sign,
                                              [note, notations, group], None))
                    for group in notations.findall("ornaments"):
                        if len(group) == 1 and group[0].tag in SIMPLE_ORNAMENTS:
                            found.append(("ornament", chord, chord.bar, chord.onset, group[0],
                                          [note, notations, group], None))
                    for sign in notations.findall("fermata"):
                        found.append(("fermata", chord, chord.bar, chord.onset, sign, [note, notations], None))
                    for sign in notations.findall("slur"):
                        end = self.slur_end(part, chord, sign)
                        if end:
                            found.append(("slur", chord, chord.bar, chord.onset, sign, [note, notations], end))
        for el, bar, onset in part.directions:
            if onset >= bar.length:
                continue
            types = el.findall("direction-type")
            if len(types) != 1 or len(types[0]) != 1:
                continue
            sign = types[0][0]
            if sign.tag == "dynamics" and len(sign) == 1 and sign[0].tag != "other-dynamics":
                found.append(("dynamics", None, bar, onset, sign, el, None))
            elif sign.tag == "words" and (sign.text or "").strip():
                category = content.words_category(sign.text)
                if category != "structure" and bar.el.find("direction/direction-type/dashes") is None:
                    found.append((category, None, bar, onset, sign, el, None))
        return found

    def slur_end(self, part, chord, sign):
        """The chord, holder and element where a slur of one voice ends, if that is plain."""
        if sign.get("type") != "start":
            return None
        name = sign.get("number", "1")
        line = part.voices[chord.voice]
        at = next((i for i, c in enumerate(line) if c is chord), None)
        if at is None:
            return None
        for later in line[at + 1: at + 40]:
            for note in later.members:
                for notations in note.findall("notations"):
                    for other in notations.findall("slur"):
                        if other.get("number", "1") == name:
                            if other.get("type") != "stop" or not later.playable:
                                return None
                            between = [
                                s for c in part.chords if chord.time <= c.time <= later.time
                                for n in c.members for s in n.findall("notations/slur")
                                if s.get("number", "1") == name and s is not sign and s is not other]
                            return None if between else (later, [note, notations], other)
        return None

    def draw_mark(self, wanted=None):
        part = self.rng.choice(self.parts)
        found = self.own_marks(part)
        kinds = sorted({m[0] for m in found if wanted is None or m[0] in wanted})
        if not kinds:
            return part, None
        kind = self.rng.choice(kinds)
        mark = self.rng.choice([m for m in found if m[0] == kind])
        last = mark[6][0].bar.index if mark[6] else mark[2].index
        touched = range(mark[2].index, last + 1)
        if any(i in self.taken[part.id] for i in touched):
            return part, None
        # Not two deeds on marks of a kind near each other.
        if any((kind, i) in self.marked[part.id] for i in range(mark[2].index - 1, last + 2)):
            return part, None
        return part, mark

    def took(self, part, mark):
        last = mark[6][0].bar.index if mark[6] else mark[2].index
        for i in range(mark[2].index, last + 1):
            self.marked[part.id].update([(mark[0], i), i])

    def omitted_marks(self):
        part, mark = self.draw_mark()
        if mark is None:
            return False
        category, chord, bar, onset, sign, holder, end = mark
        self.took(part, mark)
        if chord is None:
            bar.el.remove(holder)
        else:
            self.drop(holder, sign)
            if end:
                self.drop(end[1], end[2])
        reading = sign[0].tag if category == "dynamics" and len(sign) else (sign.text or "").strip() or sign.tag
        self.tell(part, category, "omitted", reading, bar, onset, end=end and self.place_of(end[0]))
        return True

    def altered_marks(self):
        part, mark = self.draw_mark(("dynamics", "slur", "articulation", "ornament"))
        if mark is None:
            return False
        category, chord, bar, onset, sign, holder, end = mark
        time = bar.start + onset
        margin = 1 if category == "dynamics" else 0
        near = [t for t in part.points.get(category, ()) if abs(t - time) <= margin]
        if category == "dynamics":
            if sign.tag != "dynamics" or len(near) > 1:
                return False
            new = self.rng.choice([s for s in ("p", "mf", "f", "pp") if s != sign[0].tag])
            sign[0].tag = new
        elif category == "slur":
            if any(a <= end[0].time and time <= b and (a, b) != (time, end[0].time)
                   for a, b in part.spans.get("slur", ())):
                return False
            if [(a, b) for a, b in part.spans.get("slur", ())].count((time, end[0].time)) > 1:
                return False
            line = part.voices[chord.voice]
            at = next(i for i, c in enumerate(line) if c is end[0])
            choices = [c for c in line[max(0, at - 1): at + 2] if c.playable and c.time > time
                       and c is not end[0] and not c.slurred and c.staff == end[0].staff
                       and abs(c.bar.index - end[0].bar.index) <= 1 and not c.tie("stop")
                       and not (c.bar.index in self.taken[part.id])
                       and (c.bar is not end[0].bar or c.time != end[0].time)]
            if not choices or end[0].tie("stop"):
                return False
            new = self.rng.choice(choices)
            # With a rest on the way it would be another thing.
            if any(c.rest for c in line if min(new.time, end[0].time) < c.time < max(new.time, end[0].time)):
                return False
            self.drop(end[1], end[2])
            self.tools.put_in_note(new.head, self.tools.element("notations", children=[end[2]])) \
                if new.head.find("notations") is None else self.tools.insert(
                    new.head.find("notations"), len(new.head.find("notations")), end[2])
            self.marked[part.id].update([("slur", new.bar.index), new.bar.index])
            self.took(part, mark)
            self.tell(part, "slur", "altered", "slur", bar, onset, end=self.place_of(new), slack=True)
            return True
        else:
            if len(near) > 1:
                return False
            table = {"staccato": "tenuto", "tenuto": "accent", "accent": "staccato", "trill-mark": "mordent",
                     "mordent": "trill-mark", "turn": "trill-mark", "inverted-mordent": "turn"}
            if sign.tag not in table or (sign.text or "").strip():
                return False
            sign.tag = table[sign.tag]
            for key in set(sign.keys()) - {"placement", "default-x", "default-y"}:
                del sign.attrib[key]
        self.took(part, mark)
        reading = sign[0].tag if category == "dynamics" else sign.tag
        self.tell(part, category, "altered", reading, bar, onset)
        return True

    # -- whole bars

    def barlines_plain(self, bar):
        return all(
            line.find(tag) is None for line in bar.el.findall("barline")
            for tag in ("repeat", "ending", "fermata", "segno", "coda"))

    def may_edit(self, first, last, parts, strict=True):
        """Bars that can be taken as a whole, in all the given parts."""
        for part in parts:
            if last >= len(part.bars):
                return False
            if first in self.shut[part.id] or last + 1 in self.shut[part.id]:
                return False
            for bar in part.bars[first: last + 1]:
                if bar.el.find("attributes") is not None or not self.barlines_plain(bar):
                    return False
                if strict and bar.el.find("barline") is not None:
                    return False
                if bar.el.find(".//cue") is not None or bar.length == 0:
                    return False
                if bar.length != self.all[0].bars[bar.index].length:
                    return False
                # What no note carries may stand for more than these bars.
                if any(d.find(".//" + t) is not None for d in bar.el.findall("direction")
                       for t in ("dashes", "bracket", "segno", "coda", "rehearsal")):
                    return False
            around = part.bars[max(0, first - 1): first] + part.bars[last + 1: last + 2]
            if not all(map(self.barlines_plain, around)):
                return False
        return True

    def in_all(self, first, last):
        """Claims bars in all parts, if none of them is taken."""
        for part in self.all:
            if any(i in self.taken[part.id] for i in range(first - 1, last + 2)):
                return False
            if any(i in self.marked[part.id] for i in range(first, last + 1)):
                return False
        for part in self.all:
            self.taken[part.id].update(range(first, last + 1))
            self.closed.update(part.bars[i].el for i in range(first, last + 1))
        return True

    def same_bars(self):
        return len({len(part.bars) for part in self.all}) == 1

    def renumber(self, after, by):
        """Bar numbers run on."""
        for part in self.all:
            for bar in part.bars[after:]:
                if bar.number.isdigit():
                    bar.el.set("number", str(int(bar.number) + by))

    def voices_of(self, part, bar):
        """(staff, voice) pairs for new music."""
        found = {}
        for near in part.bars[max(0, bar.index - 8): bar.index + 1]:
            for chord in part.chords:
                if chord.bar is near and not chord.grace:
                    found[chord.staff or "1"] = chord.voice
        staves = range(1, part.staves + 1)
        # Voices of different staves must not share a name.
        names = [found.get(str(s)) for s in staves]
        if None in names or len(set(names)) < len(names):
            names = [str(1 + 4 * i) for i in range(len(names))]
        return [(str(s) if part.staves > 1 else None, names[s - 1]) for s in staves]

    def centre(self, part, bar):
        """Where the part lies about a bar, as a diatonic place."""
        found = [STEPS.index(pitch_of(c.head)[0]) + 7 * pitch_of(c.head)[2] for c in part.chords
                 if abs(c.bar.index - bar.index) <= 4 and pitch_of(c.head)]
        return sum(found) // len(found) if found else 33

    def music(self, part, bar, length, centre, unit):
        """Florid notes that fill a bar: [(element, onset, pitch)], and the rests of further staves."""
        divisions = self.divisions[part.id][bar.el]
        fifths = part.keys[bar.index]
        voices = self.voices_of(part, bar)
        instrument = next((c.head.find("instrument") for c in part.chords if c.head.find("instrument") is not None),
                          None)
        make = self.tools.element
        made, told = [], []
        place, onset = centre + self.rng.randint(-3, 3), Fraction(0)
        while onset < length:
            place += self.rng.choice([-3, -2, -1, 1, 2, 3])
            if abs(place - centre) > 6:
                place = centre + self.rng.randint(-2, 2)
            step, octave = STEPS[place % 7], place // 7
            alter = key_alter(step, fifths)
            children = [make("pitch", children=[make("step", step)] + ([make("alter", str(alter))] if alter else [])
                             + [make("octave", str(octave))]), make("duration", str(unit * divisions))]
            if instrument is not None:
                children.append(make("instrument", id=instrument.get("id")))
            children += [make("voice", voices[0][1]), make("type", written(unit)[0])]
            if voices[0][0]:
                children.append(make("staff", voices[0][0]))
            made.append(make("note", children=children))
            told.append((onset, "%s%+d%d" % (step, alter, octave)))
            onset += unit
        for staff, voice in voices[1:]:
            made += self.silence(part, bar, length, staff, voice, True)
        return made, told

    def silence(self, part, bar, length, staff, voice, back):
        make = self.tools.element
        size = str(length * self.divisions[part.id][bar.el])
        rest = make("note", children=[make("rest", measure="yes"), make("duration", size), make("voice", voice)]
                    + ([make("staff", staff)] if staff else []))
        return ([make("backup", children=[make("duration", size)])] if back else []) + [rest]

    def unit(self, part, bar, length, avoid=()):
        found = [u for u in (Fraction(1, 4), Fraction(1, 2), Fraction(1)) if self.fits(part, bar, [u])
                 and (length / u).denominator == 1 and 2 <= length / u <= 32 and u not in avoid]
        return self.rng.choice(found) if found else None

    def new_bar(self, model, number, children):
        made = self.tools.element("measure", number=number)
        made.text, made.tail = model.text, model.tail
        for child in children:
            self.tools.indent(child, model.text)
            child.tail = model.text
            made.append(child)
        if len(made):
            made[-1].tail = model.tail
        return made

    def insertion(self):
        if not self.same_bars():
            return False
        total = len(self.all[0].bars)
        if total < 8:
            return False
        at = self.rng.randint(2, total - 3)           # before this bar
        count = self.rng.randint(1, 3)
        length = self.all[0].bars[at - 1].length
        chosen = self.rng.choice(self.parts)
        for part in self.all:
            before, after = part.bars[at - 1], part.bars[at]
            if at in self.shut[part.id] or before.length != length or after.length != length:
                return False
            if after.el.find("attributes") is not None:
                return False
            if before.el.find("barline") is not None or any(
                    b.get("location") == "left" for b in after.el.findall("barline")):
                return False
        unit = self.unit(chosen, chosen.bars[at - 1], length)
        if unit is None or not self.in_all(at - 1, at):
            return False
        self.renumber(at, count)
        number = self.all[0].bars[at - 1].number
        for part in self.all:
            first = last = None
            model = part.bars[at - 1]
            for turn in range(count):
                name = str(int(number) + 1 + turn) if number.isdigit() else "X%d" % (turn + 1)
                told = []
                if part is chosen:
                    notes, told = self.music(part, model, length, self.centre(part, model), unit)
                else:
                    notes = []
                    for index, (staff, voice) in enumerate(self.voices_of(part, model)):
                        notes += self.silence(part, model, length, staff, voice, index > 0)
                made = self.new_bar(model.el, name, notes)
                part.el.insert(list(part.el).index(part.bars[at].el), made)
                self.closed.add(made)
                if part is not chosen:
                    first, last = first or (made, Fraction(0)), (made, Fraction(0))
                for onset, reading in told:
                    first = first or (made, onset)
                    last = (made, onset)
                    self.findings.append({"part": part.id, "category": "note", "status": "added",
                                          "reading": reading, "at": (made, onset)})
            # The others rest meanwhile, in bars that they too did not have.
            self.passages.append({"part": part.id, "kind": "inserted-passage", "from": first, "to": last})
        # The bars about the seam themselves are as they were.
        for part in self.all:
            self.closed -= {part.bars[at - 1].el, part.bars[at].el}
        return True

    def tell_lost(self, part, first, last, loose=False):
        """All that the source has in these bars."""
        for index in range(first, last + 1):
            bar = part.bars[index]
            for note in self.before[part.id][index]["notes"]:
                if not note[-1]:
                    self.tell(part, "note", "omitted", str(note[1:4]), bar, Fraction(note[0]), loose=loose)
            for category, _, reading, offset, _ in self.before[part.id][index]["marks"]:
                self.tell(part, category, "omitted", str(reading), bar, Fraction(offset), loose=loose)

    def source_bounds(self, first, last):
        return {"source_from": {"bar_index": first}, "source_to": {"bar_index": last}}

    def cut(self):
        if not self.same_bars():
            return False
        total = len(self.all[0].bars)
        count = self.rng.randint(1, 4)
        if total < 8 + count:
            return False
        first = self.rng.randint(2, total - 2 - count)
        last = first + count - 1
        if not self.may_edit(first, last, self.all):
            return False
        # Between equal bars it cannot be said which were cut.
        if not any(self.before[p.id][i]["notes"] for p in self.all for i in (first, last)):
            return False
        for p in self.all:
            if all(self.before[q.id][first]["notes"] == self.before[q.id][last + 1]["notes"] for q in self.all):
                return False
            if all(self.before[q.id][last]["notes"] == self.before[q.id][first - 1]["notes"] for q in self.all):
                return False
        if not self.in_all(first, last):
            return False
        for part in self.all:
            self.tell_lost(part, first, last)
            for bar in part.bars[first: last + 1]:
                part.el.remove(bar.el)
            self.passages.append({
                "part": part.id, "kind": "cut", "from": (part.bars[last + 1].el, Fraction(0)),
                **self.source_bounds(first, last)})
        self.renumber(last + 1, -count)
        return True

    def ending(self):
        if not self.same_bars():
            return False
        total = len(self.all[0].bars)
        count = self.rng.randint(1, 3)
        new = self.rng.choice([n for n in (1, 2, 3) if n != count])
        first, last = total - count, total - 1
        if first < 6 or not self.may_edit(first, last, self.all, strict=False):
            return False
        length = self.all[0].bars[first].length
        if length != self.all[0].bars[first - 1].length:
            return False
        units = {part.id: self.unit(part, part.bars[first], length) for part in self.all}
        if None in units.values() or any(part.el.find(".//unpitched") is not None for part in self.all):
            return False
        if not self.in_all(first, last):
            return False
        number = self.all[0].bars[first - 1].number
        for part in self.all:
            self.tell_lost(part, first, last, loose=True)
            model = part.bars[first]
            lines = [copy.deepcopy(b) for b in part.bars[last].el.findall("barline") if b.get("location") != "left"]
            begin = end = None
            for turn in range(new):
                name = str(int(number) + 1 + turn) if number.isdigit() else "X%d" % (turn + 1)
                notes, told = self.music(part, model, length, self.centre(part, model) + 3, units[part.id])
                made = self.new_bar(model.el, name, notes + (lines if turn == new - 1 else []))
                part.el.insert(list(part.el).index(model.el), made)
                self.closed.add(made)
                for onset, reading in told:
                    begin, end = begin or (made, onset), (made, onset)
                    self.findings.append({"part": part.id, "category": "note", "status": "added", "loose": True,
                                          "reading": reading, "at": (made, onset)})
            for bar in part.bars[first: last + 1]:
                part.el.remove(bar.el)
            self.passages.append({"part": part.id, "kind": "invented-ending", "from": begin, "to": end,
                                  **self.source_bounds(first, last)})
        return True

    def rewrite(self):
        part = self.rng.choice(self.parts)
        total = len(part.bars)
        count = self.rng.randint(1, 2)
        if total < 8 + count:
            return False
        first = self.rng.randint(3, total - 3 - count)
        last = first + count - 1
        if not self.may_edit(first, last, [part]):
            return False
        bars = part.bars[first: last + 1]
        lengths = {}
        for chord in part.chords:
            if chord.bar in bars:
                lengths[chord.duration] = lengths.get(chord.duration, 0) + 1
        if len([c for c in part.chords if c.bar in bars and not c.rest]) < 3 or any(
                b.el.find(t) is not None for b in bars for t in ("harmony", "figured-bass", "sound")):
            return False
        unit = self.unit(part, bars[0], bars[0].length, avoid={max(lengths, key=lambda k: lengths[k])})
        if unit is None or any((bar.length / unit).denominator != 1 for bar in bars):
            return False
        if not self.claim(part, first, last, close=True):
            return False
        self.tell_lost(part, first, last, loose=True)
        begin = end = None
        for bar in bars:
            notes, told = self.music(
                part, bar, bar.length, self.centre(part, bar) + self.rng.choice([-5, 5]), unit)
            for child in list(bar.el):
                if child.tag in ("note", "backup", "forward", "direction"):
                    bar.el.remove(child)
            for note in notes:
                self.tools.insert(bar.el, len(bar.el), note)
            for onset, reading in told:
                begin, end = begin or (bar.el, onset), (bar.el, onset)
                self.tell(part, "note", "added", reading, bar, onset, loose=True)
        self.passages.append({"part": part.id, "kind": "rewritten-passage", "from": begin, "to": end,
                              **self.source_bounds(first, last)})
        return True
