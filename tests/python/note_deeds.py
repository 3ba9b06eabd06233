"""What an editor does to single notes and to runs of them."""

import copy
from fractions import Fraction

from building import element, insert, put_in_note
from deed_places import key_alter, pitch_of, written
from moving import NATURAL, STEPS


class NoteDeeds:
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
                put_in_note(note, element("dot"))

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
            if len([c for c in part.in_bar[chord.bar.index] if not c.rest]) < 3:
                return False
            if any(pitch_of(n) == old for c in self.chords_at(part, chord.time) for n in c.members if n is not note):
                return False
            if not self.claim(part, chord.bar.index, chord.bar.index, close=True):
                return False
            for tag in ("accidental", "stem", "notehead", "instrument", "play"):
                for child in note.findall(tag):
                    note.remove(child)
            at = list(note).index(note.find("pitch"))
            rest = element("rest")
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
            # A step away, or under a sign, it could be an ornament written out.
            new = self.neighbour(part, chord, (-2, 2))
            if new is None or note.find("notations/ornaments") is not None:
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
        insert(chord.bar.el, inside.index(note) + 1, second)
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
        line = [c for c in part.in_bar[bar.index] if c.playable and len(c.members) == 1 and not c.grace
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
                put_in_note(note, element("tie", type=kind))
                notations = note.find("notations")
                tied = element("tied", type=kind)
                if notations is None:
                    put_in_note(note, element("notations", children=[tied]))
                else:
                    insert(notations, len(notations), tied)
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
        longest = min(60, len(struck) // 6)
        if longest < 3:
            return False
        wanted = self.rng.choice([1, 2, self.rng.randint(3, longest), self.rng.randint(3, longest)])
        at = next(i for i, c in enumerate(struck) if c is first)
        run = struck[at: at + wanted]
        if len(run) < wanted or run[-1].tie("start") or run[0].tie("stop"):
            return False
        if any(not c.playable or c.has("cue") or any(n.find("pitch") is None for n in c.members) for c in run):
            return False
        # The end of a tie that nowhere began is struck, or is not.
        if any(b.tie("stop") and not a.tie("start") for a, b in zip(run, run[1:])):
            return False
        # A voice by that name on another staff is perhaps another.
        if len({c.staff for c in run}) > 1:
            return False
        move = self.rng.choice([-1, 1, -1, 1, -2, 2])
        inside = set(map(id, run))
        for chord in part.chords:
            if run[0].time <= chord.time <= run[-1].time and chord.grace:
                return False
        for bar in {id(c.bar): c.bar for c in run}.values():
            rest = [c for c in part.in_bar[bar.index] if not c.rest and id(c) not in inside]
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
            "voice": first.voice,
            "from": self.place_of(run[0]), "to": self.place_of(last)})
        return True
