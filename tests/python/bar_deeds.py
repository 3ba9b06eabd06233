"""What an editor does to whole bars."""

import copy
from fractions import Fraction

from building import element, indent, insert
from deed_places import SPANNING, key_alter, pitch_of, written
from moving import STEPS


class BarDeeds:
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
                # Whether a sign goes through both staves, or stands on each, is not told.
                if part.staves > 1 and bar.el.find(".//arpeggiate") is not None:
                    return False
                if bar.length != self.all[0].bars[bar.index].length:
                    return False
                # What is not printed may be a mark or not.
                if any(el.get("print-object") == "no" for d in bar.el.findall("direction") for el in d.iter()):
                    return False
                # Of a span that has no end it is not clear what it is.
                if any(kind in SPANNING and (end is None or reading == "stop")
                       for _, kind, reading, _, end in self.before[part.id][bar.index]["marks"]):
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

    def music(self, part, bar, length, centre, unit, avoid=frozenset()):
        """Florid notes that fill a bar, what they are, and the rests of further staves.

        `avoid` holds (onset, letter) pairs that are not to be heard, in whatever octave.
        """
        divisions = self.divisions[part.id][bar.el]
        fifths = part.keys[bar.index]
        voices = self.voices_of(part, bar)
        instrument = next((c.head.find("instrument") for c in part.chords if c.head.find("instrument") is not None),
                          None)
        made, told = [], []
        place, onset = centre + self.rng.randint(-3, 3), Fraction(0)
        while onset < length:
            place += self.rng.choice([-3, -2, -1, 1, 2, 3])
            if abs(place - centre) > 6:
                place = centre + self.rng.randint(-2, 2)
            while (onset, STEPS[place % 7]) in avoid:
                place += 1
            step, octave = STEPS[place % 7], place // 7
            alter = key_alter(step, fifths)
            children = [element("pitch", children=[element("step", step)] + ([element("alter", str(alter))] if alter else [])
                             + [element("octave", str(octave))]), element("duration", str(unit * divisions))]
            if instrument is not None:
                children.append(element("instrument", id=instrument.get("id")))
            children += [element("voice", voices[0][1]), element("type", written(unit)[0])]
            if voices[0][0]:
                children.append(element("staff", voices[0][0]))
            made.append(element("note", children=children))
            told.append((onset, "%s%+d%d" % (step, alter, octave)))
            onset += unit
        for staff, voice in voices[1:]:
            made += self.silence(part, bar, length, staff, voice, True)
        return made, told

    def silence(self, part, bar, length, staff, voice, back):
        size = str(length * self.divisions[part.id][bar.el])
        rest = element("note", children=[element("rest", measure="yes"), element("duration", size), element("voice", voice)]
                    + ([element("staff", staff)] if staff else []))
        return ([element("backup", children=[element("duration", size)])] if back else []) + [rest]

    def heard(self, part, first, last):
        """What music in place of these bars must not repeat, or a note would be the source's.

        The time of a bar is counted from its start, and the whole of it from the end.
        """
        return {(Fraction(n[0]), n[1]) for bar in self.before[part.id][first: last + 1] for n in bar["notes"]}

    def crowded(self, part, first, last):
        """Whether somewhere every letter is heard, so that no other could be written."""
        heard = self.heard(part, first, last)
        return any(sum(at == onset for at, _ in heard) == len(STEPS) for onset, _ in heard)

    def unlike(self, part, first, last):
        """Lengths that hardly a note of these bars has."""
        lengths = [Fraction(n[4]) for bar in self.before[part.id][first: last + 1] for n in bar["notes"] if not n[-1]]
        return {u for u in lengths if lengths.count(u) * 4 > len(lengths)}

    def unit(self, part, bar, length, avoid=()):
        found = [u for u in (Fraction(1, 4), Fraction(1, 2), Fraction(1)) if self.fits(part, bar, [u])
                 and (length / u).denominator == 1 and 2 <= length / u <= 32 and u not in avoid]
        return self.rng.choice(found) if found else None

    def new_bar(self, model, number, children):
        made = element("measure", number=number)
        made.text, made.tail = model.text, model.tail
        for child in children:
            indent(child, model.text)
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

    def tell_lost(self, part, first, last):
        """All that the source has in these bars."""
        for index in range(first, last + 1):
            bar = part.bars[index]
            for note in self.before[part.id][index]["notes"]:
                if not note[-1]:
                    self.tell(part, "note", "omitted", str(note[1:4]), bar, Fraction(note[0]))
            rolled = set()
            for category, kind, reading, offset, _ in self.before[part.id][index]["marks"]:
                # A chord is broken once, though each of its notes says so.
                if kind == "arpeggiate":
                    if (offset, str(reading)) in rolled:
                        continue
                    rolled.add((offset, str(reading)))
                # A syllable's line is no syllable; the double bar of the end is no finding.
                if category == "lyric" and not any(r[0] == "text" for r in reading[1:]):
                    continue
                if kind == "bar-style" and index == len(part.bars) - 1:
                    continue
                self.tell(part, category, "omitted", str(reading), bar, Fraction(offset))

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
        # Between equal bars it cannot be said which were cut: no part may have any.
        for p in self.all:
            notes = [bar["notes"] for bar in self.before[p.id]]
            if any(notes[first: last + 1]) and (notes[first] == notes[last + 1] or notes[last] == notes[first - 1]):
                return False
        if not any(self.before[p.id][i]["notes"] for p in self.all for i in (first, last)):
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
        units = {part.id: self.unit(part, part.bars[first], length, self.unlike(part, first, last)) for part in self.all}
        if any(self.crowded(part, first, last) for part in self.all):
            return False
        if None in units.values() or any(part.el.find(".//unpitched") is not None for part in self.all):
            return False
        if not self.in_all(first, last):
            return False
        number = self.all[0].bars[first - 1].number
        for part in self.all:
            self.tell_lost(part, first, last)
            model = part.bars[first]
            lines = [copy.deepcopy(b) for b in part.bars[last].el.findall("barline") if b.get("location") != "left"]
            begin = end = None
            for turn in range(new):
                name = str(int(number) + 1 + turn) if number.isdigit() else "X%d" % (turn + 1)
                notes, told = self.music(part, model, length, self.centre(part, model) + 3, units[part.id],
                                         self.heard(part, first, last))
                made = self.new_bar(model.el, name, notes + (lines if turn == new - 1 else []))
                part.el.insert(list(part.el).index(model.el), made)
                self.closed.add(made)
                for onset, reading in told:
                    begin, end = begin or (made, onset), (made, onset)
                    self.findings.append({"part": part.id, "category": "note", "status": "added",
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
        if not self.may_edit(first, last, [part]) or self.crowded(part, first, last):
            return False
        bars = part.bars[first: last + 1]
        if len([c for c in part.chords if c.bar in bars and not c.rest and not c.grace]) < 4 or any(
                b.el.find(t) is not None for b in bars for t in ("harmony", "figured-bass", "sound")):
            return False
        unit = self.unit(part, bars[0], bars[0].length, self.unlike(part, first, last))
        if unit is None or sum(b.length for b in bars) < 4 * unit or any((bar.length / unit).denominator != 1 for bar in bars):
            return False
        if not self.claim(part, first, last, close=True):
            return False
        self.tell_lost(part, first, last)
        begin = end = None
        for bar in bars:
            notes, told = self.music(
                part, bar, bar.length, self.centre(part, bar) + self.rng.choice([-5, 5]), unit,
                self.heard(part, first, last))
            for child in list(bar.el):
                if child.tag in ("note", "backup", "forward", "direction"):
                    bar.el.remove(child)
            for note in notes:
                insert(bar.el, len(bar.el), note)
            for onset, reading in told:
                begin, end = begin or (bar.el, onset), (bar.el, onset)
                self.tell(part, "note", "added", reading, bar, onset)
        self.passages.append({"part": part.id, "kind": "rewritten-passage", "from": begin, "to": end,
                              **self.source_bounds(first, last)})
        return True
