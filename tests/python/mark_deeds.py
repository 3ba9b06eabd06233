"""What an editor does with marks that are there already."""

import content
from building import element, insert, put_in_note
from files import elements

SIMPLE_ORNAMENTS = {"trill-mark", "mordent", "inverted-mordent", "turn"}


class MarkDeeds:
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
                                s for bar in part.in_bar[chord.bar.index: later.bar.index + 1] for c in bar
                                if chord.time <= c.time <= later.time
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
            put_in_note(new.head, element("notations", children=[end[2]])) \
                if new.head.find("notations") is None else insert(
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
