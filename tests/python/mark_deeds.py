"""What an editor does with marks that are there already."""

import own_marks
from parts import CLOSE

MOVABLE = ("dynamics", "expression", "tempo", "technique", "text")


class MarkDeeds:
    def marks_of(self, part):
        if part.id not in self.own:
            self.own[part.id] = own_marks.own_marks(part, self.taken[part.id])
        return self.own[part.id]

    def draw_mark(self, wanted=None):
        part = self.rng.choice(self.parts)
        found = self.marks_of(part)
        kinds = sorted({m.category for m in found if wanted is None or m.category in wanted})
        if not kinds:
            return part, None
        kind = self.rng.choice(kinds)
        mark = self.rng.choice([m for m in found if m.category == kind])
        if not own_marks.find_end(part, mark):
            return part, None
        if any(i in self.taken[part.id] for i in mark.bars):
            return part, None
        # Not two deeds on marks of a kind near each other.
        around = range(mark.bars[0] - 1, mark.bars[-1] + 2)
        return part, None if any((kind, i) in self.marked[part.id] for i in around) else mark

    def took(self, part, mark):
        for i in mark.bars:
            self.marked[part.id].update([(mark.category, i), i])
        self.own[part.id].remove(mark)

    def end_of(self, mark):
        return mark.end and (mark.end[0].el, mark.end[1])

    def omitted_marks(self):
        part, mark = self.draw_mark()
        if mark is None:
            return False
        reading = mark.reading()
        if mark.category == "accidental":
            mark.sign.attrib.clear()
        elif mark.category == "grace":
            for grace in mark.holder:
                for note in grace.members:
                    mark.bar.el.remove(note)
        elif mark.chord is None:
            mark.bar.el.remove(mark.holder)
            if mark.stop is not None:
                mark.end[0].el.remove(mark.stop)
        else:
            own_marks.drop(mark.holder, mark.sign)
            if mark.stop:
                own_marks.drop(*mark.stop)
        self.took(part, mark)
        self.tell(part, mark.category, "omitted", reading, mark.bar, mark.onset, end=self.end_of(mark))
        return True

    def altered_marks(self):
        part, mark = self.draw_mark()
        if mark is None or mark.category == "accidental":
            return False
        if mark.category == "slur":
            return self.move_slur(part, mark)
        margin = part.beat if mark.category in CLOSE else 0
        near = [t for t in part.points.get(mark.category, ()) if abs(t - mark.time) <= margin]
        if mark.end:
            return self.move_end(part, mark)
        if len(near) > 1 or mark.category == "lyric" and len(mark.chord.head.findall("lyric")) > 1:
            return False
        if mark.category in MOVABLE and mark.chord is None and self.rng.random() < 0.4:
            return self.shift(part, mark)
        if mark.category in ("grace", "lyric", "harmony") and len(
                [m for m in self.marks_of(part) if m.category == mark.category and m.time == mark.time]) > 1:
            return False
        if not own_marks.change_sign(mark, self.rng):
            return False
        self.took(part, mark)
        self.tell(part, mark.category, "altered", mark.reading(), mark.bar, mark.onset)
        return True

    def shift(self, part, mark):
        """A direction to a note less than a beat away."""
        choices = [
            c for c in part.in_bar[mark.bar.index]
            if 0 < abs(c.onset - mark.onset) < min(1, mark.bar.beat) and not c.grace and not c.cue
            and [t for t in part.points.get(mark.category, ()) if abs(t - c.time) <= part.beat] == [mark.time]]
        # It must stand at a note before, or it is not clear how far it moved.
        if not choices or not self.chords_at(part, mark.time):
            return False
        new = self.rng.choice(choices)
        if any(c.grace for c in part.in_bar[mark.bar.index]):
            return False
        self.put_before(part, mark.bar, mark.holder, new)
        self.took(part, mark)
        self.tell(part, mark.category, "altered", mark.reading(), mark.bar, new.onset, source_offset=mark.onset)
        return True

    def put_before(self, part, bar, el, chord):
        bar.el.remove(el)
        chord.bar.el.insert(list(chord.bar.el).index(chord.head), el)

    def move_end(self, part, mark):
        """The end of a hairpin, an octave line or a pedal to the note before or after."""
        bar, onset = mark.end
        end = bar.start + onset
        times = sorted({c.time for i in range(max(0, bar.index - 1), min(len(part.bars), bar.index + 2))
                        for c in part.in_bar[i] if not c.grace and not c.rest})
        before, after = [t for t in times if mark.time < t < end][-1:], [t for t in times if t > end][:1]
        others = [t for t in part.points.get(mark.category, ()) if t not in (mark.time, end)]
        spans = [s for s in part.spans.get(mark.category, ()) if s != (mark.time, end)]
        times = [t for t in before + after
                 if not any(abs(o - t) <= part.beat or min(t, end) <= o <= max(t, end) for o in others)
                 and not any(a <= max(t, end) and mark.time <= b for a, b in spans)]
        if not times or any(o for o in others if mark.time <= o <= end):
            return False
        time = self.rng.choice(times)
        chord = next(c for c in part.chords if c.time == time and not c.grace and not c.rest)
        if chord.bar.index in self.taken[part.id] or any(
                c.grace for c in part.in_bar[chord.bar.index]) or (mark.category, chord.bar.index + 1) in self.marked[part.id]:
            return False
        if chord.bar is not bar and chord.bar.index in self.marked[part.id]:
            return False
        self.put_before(part, bar, mark.stop, chord)
        self.took(part, mark)
        self.marked[part.id].update([(mark.category, chord.bar.index), chord.bar.index])
        self.tell(part, mark.category, "altered", mark.category, mark.bar, mark.onset, end=self.place_of(chord))
        return True

    def move_slur(self, part, mark):
        """The end or the start of a slur to the note before or after."""
        chord, end = mark.chord, mark.end_chord
        at_start = self.rng.random() < 0.4
        old, fixed = (chord, end) if at_start else (end, chord)
        spans = part.spans.get("slur", ())
        if any(a <= end.time and chord.time <= b and (a, b) != (chord.time, end.time) for a, b in spans):
            return False
        if list(spans).count((chord.time, end.time)) > 1 or chord.slurred and end.slurred and chord is end:
            return False
        line = part.voices[chord.voice]
        at = next(i for i, c in enumerate(line) if c is old)
        choices = [
            c for c in line[max(0, at - 1): at + 2]
            if c.playable and c is not old and not c.slurred and c.staff == old.staff
            and (c.time < fixed.time if at_start else c.time > fixed.time)
            and abs(c.bar.index - old.bar.index) <= 1 and not c.tie("stop")
            and not any(i in self.taken[part.id] for i in (c.bar.index,)) and c.time != old.time
            and not self.graced(part, c)]
        if not choices or old.tie("stop") or self.graced(part, old):
            return False
        new = self.rng.choice(choices)
        # With a rest on the way it would be another thing.
        if any(c.rest for c in line if min(new.time, old.time) < c.time < max(new.time, old.time)):
            return False
        if any(("slur", i) in self.marked[part.id] for i in (new.bar.index - 1, new.bar.index, new.bar.index + 1)):
            return False
        if any(a <= new.time <= b and (a, b) != (chord.time, end.time) for a, b in spans):
            return False
        holder, sign = (mark.holder, mark.sign) if at_start else mark.stop
        own_marks.drop(holder, sign)
        own_marks.give_notation(new.head, sign)
        self.marked[part.id].update([("slur", new.bar.index), new.bar.index])
        self.took(part, mark)
        start, stop = (new, end) if at_start else (chord, new)
        self.tell(part, "slur", "altered", "slur", start.bar, start.onset, end=self.place_of(stop), slack=True)
        return True
