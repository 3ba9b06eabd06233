#!/usr/bin/env python3
"""Makes an "edition" out of a real score, and writes down what was done to it.

    editor.py INPUT EDITION MOVED TRUTH.json
              [--steps N --semitones N] [--seed S] [--marks K] [--categories A,B]
              [--deeds A,B [--times N]]

MOVED is the input moved by the interval and nothing else. EDITION is MOVED
with K marks of an imagined editor, and with the deeds that deeds.py knows.
TRUTH lists the marks and deeds the way an audit should report them. Works on the XML alone; shares nothing with the program
under test.
"""
import argparse
import json
import random
import sys
from fractions import Fraction

import deeds
import files
from building import element, insert, put_in_note
from files import text_of
from moving import GLYPHS, STEPS, Impossible, Interval, move, number
from parts import Part


class Editor:
    """Puts marks in, one at a time. Each `add_*` returns a list of findings, or None
    where the place it drew does not suit; the score is then untouched."""

    TRIES = 60
    SELDOM = ("harmony", "structure")   # only when they are asked for

    def __init__(self, root, rng, closed=frozenset()):
        self.rng = rng
        self.closed = closed      # measures to keep out of
        self.parts = [part for part in map(Part, root.iter("part")) if any(c.playable for c in part.chords)]
        self.findings = []
        self.letters = iter("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
        self.additions = {
            name[4:].replace("_", "-"): getattr(self, name) for name in sorted(dir(self)) if name.startswith("add_")}

    def work(self, count, wanted=()):
        """Adds `count` marks, the categories by turns; gives how many found no place."""
        table = {name: add for name, add in self.additions.items()
                 if name in wanted or not wanted and name not in self.SELDOM}
        if not self.parts:
            return count
        done, exhausted = 0, set()
        while done < count and len(exhausted) < len(table):
            turn = sorted(set(table) - exhausted)
            self.rng.shuffle(turn)
            for name in turn:
                if done >= count:
                    break
                for _ in range(self.TRIES):
                    found = table[name]()
                    if found:
                        for finding in found:
                            finding["status"] = "added"
                        self.findings.extend(found)
                        done += len(found)
                        break
                else:
                    exhausted.add(name)
        return max(0, count - done)

    # -- drawing places

    def place(self, tied=False):
        """A part and a chord in it: first the part, then the bar, so that dense bars do not draw all."""
        part = self.rng.choice(self.parts)
        bar = self.rng.choice(part.bars)
        if bar.el in self.closed:
            return part, None
        chords = [c for c in part.in_bar[bar.index] if c.playable and (tied or not c.tie("stop"))]
        return (part, self.rng.choice(chords)) if chords else (part, None)

    def run_of_notes(self, part, chord, longest, tied=False):
        """A later note of the voice, in this bar or the next, with no rest on the way."""
        line = part.voices[chord.voice]
        at = next(i for i, c in enumerate(line) if c is chord)
        after = []
        for later in line[at + 1: at + 1 + longest]:
            if not later.playable or later.bar.index > chord.bar.index + 1 or later.time <= chord.time:
                break
            if later.bar.el in self.closed:
                break
            if later.staff == chord.staff and (tied or not later.tie("stop")):
                after.append(later)
        return self.rng.choice(after) if after else None

    # -- writing it down

    def finding(self, part, category, reading, bar, onset, end=None):
        return {
            "part": part.id, "category": category, "status": None,
            "bar": bar.number, "bar_index": bar.index, "offset": str(onset),
            "end": None if end is None else {
                "bar": end.bar.number, "bar_index": end.bar.index, "offset": str(end.onset)},
            "reading": reading,
        }

    # -- putting elements in

    def look(self):
        """Attributes of appearance, as engraving programs leave them; often none."""
        some = {}
        if self.rng.random() < 0.5:
            some["default_y"] = str(self.rng.randint(-90, 60))
        return some

    def put_direction(self, part, chord, contents, sound=None):
        """A direction right before a note, and before its grace notes."""
        children = [element("direction-type", children=[c]) for c in contents]
        if part.staves > 1:
            children.append(element("staff", chord.staff or "1"))
        if sound is not None:
            children.append(sound)
        made = element("direction", children=children, placement=self.rng.choice(["above", "below", None]))
        place = list(chord.bar.el).index(chord.head)
        while place > 0:
            before = chord.bar.el[place - 1]
            if before.tag != "note" or before.find("grace") is None:
                break
            place -= 1
        insert(chord.bar.el, place, made)
        return made

    def put_notation(self, chord, group, child):
        """A notation on the head note; the group (articulations …) is shared or new."""
        notations = chord.head.find("notations")
        if notations is None or self.rng.random() < 0.15:
            inner = [child] if group is None else [element(group, children=[child])]
            put_in_note(chord.head, element("notations", children=inner))
            return
        holder = notations if group is None else notations.find(group)
        if holder is None or (group is not None and self.rng.random() < 0.15):
            holder, child = notations, element(group, children=[child])
        insert(holder, len(holder), child)

    def words(self, category, choices, sound=None):
        part, chord = self.place()
        if chord is None or not part.free(category, chord.time):
            return None
        text = self.rng.choice(choices)
        style = {"font_style": self.rng.choice(["italic", None]), "font_weight": self.rng.choice(["bold", None])}
        content = element("words", text, **style, **self.look())
        if self.rng.random() < 0.15:
            joined = self.join(part, category, content, text)
            if joined:
                return joined
        self.put_direction(part, chord, [content], sound)
        part.mark(category, chord.time)
        return [self.finding(part, category, text, chord.bar, chord.onset)]

    def join(self, part, category, content, text):
        """Adds to a direction that is there already, which then must outlive the mark."""
        candidates = [
            (el, bar, onset) for el, bar, onset in part.directions
            # At the very end of a bar it could as well be said to stand in the next.
            if onset < bar.length and bar.el not in self.closed and el.find("direction-type/words") is None
            and part.free(category, bar.start + onset)]
        if not candidates:
            return None
        el, bar, onset = self.rng.choice(candidates)
        last = max(i for i, child in enumerate(el) if child.tag == "direction-type")
        insert(el, last + 1, element("direction-type", children=[content]))
        part.mark(category, bar.start + onset)
        return [self.finding(part, category, text, bar, onset)]

    def span(self, category, kind_start, kind_stop, reading):
        """A direction with a start before one note and a stop before a later one."""
        part, chord = self.place()
        if chord is None:
            return None
        end = self.run_of_notes(part, chord, 8)
        if end is None or not part.free(category, chord.time, end.time):
            return None
        name = part.free_number(category, chord.bar.index, end.bar.index)
        if name is None:
            return None
        start, stop = kind_start(name), kind_stop(name)
        self.put_direction(part, chord, [start])
        self.put_direction(part, end, [stop])
        part.mark(category, chord.time, end.time)
        used = part.numbers.setdefault(category, [])
        used.extend([(chord.bar.index, name, "start"), (end.bar.index, name, "stop")])
        used.sort(key=lambda event: event[0])
        return [self.finding(part, category, reading, chord.bar, chord.onset, end)]

    # -- the marks, one method a category

    def add_dynamics(self):
        if self.rng.random() < 0.4:
            return self.words("dynamics", ["cresc.", "dim.", "più piano", "sempre forte", "poco f", "crescendo"])
        part, chord = self.place()
        if chord is None or not part.free("dynamics", chord.time):
            return None
        sign = self.rng.choice(["p", "f", "mp", "mf", "pp", "ff", "sf", "fp", "sfz"])
        content = element("dynamics", children=[element(sign)], **self.look())
        found = [self.finding(part, "dynamics", sign, chord.bar, chord.onset)]
        draw = self.rng.random()
        if draw < 0.1:
            self.put_notation(chord, None, content)
        elif draw < 0.25 and part.free("expression", chord.time):
            # Two marks in one direction.
            text = self.rng.choice(["dolce", "espressivo"])
            self.put_direction(part, chord, [content, element("words", text)])
            part.mark("expression", chord.time)
            found.append(self.finding(part, "expression", text, chord.bar, chord.onset))
        else:
            sound = element("sound", dynamics="54") if self.rng.random() < 0.3 else None
            self.put_direction(part, chord, [content], sound)
        part.mark("dynamics", chord.time)
        return found

    def add_hairpin(self):
        kind = self.rng.choice(["crescendo", "diminuendo"])
        return self.span(
            "hairpin",
            lambda name: element("wedge", type=kind, number=name, **self.look()),
            lambda name: element("wedge", type="stop", number=name, spread="15" if kind == "crescendo" else "0"),
            kind)

    def add_octave_line(self):
        kind = self.rng.choice(["up", "down"])
        return self.span(
            "octave-line",
            lambda name: element("octave-shift", type=kind, size="8", number=name),
            lambda name: element("octave-shift", type="stop", size="8", number=name),
            "8va" if kind == "down" else "8vb")

    def add_pedal(self):
        # Without a number: only one pedal at a time.
        line = self.rng.choice(["yes", "no"])
        look = {"line": line, "sign": "no" if line == "yes" else "yes"}
        return self.span(
            "pedal", lambda name: element("pedal", type="start", **look),
            lambda name: element("pedal", type="stop", **look), "pedal")

    def add_slur(self):
        part, chord = self.place()
        if chord is None or chord.slurred:
            return None
        end = self.run_of_notes(part, chord, 5)
        if end is None or end.slurred:
            return None
        over = any(a <= end.time and chord.time <= b for a, b in part.spans.get("slur", ()))
        if over and self.rng.random() < 0.75:
            return None
        # No second slur over the very same stretch, in whatever voice.
        if any((a, b) == (chord.time, end.time) for a, b in part.spans.get("slur", ())):
            return None
        name = part.free_number("slur", chord.bar.index, end.bar.index)
        if name is None:
            return None
        look = {"placement": self.rng.choice(["above", "below", None])}
        self.put_notation(chord, None, element("slur", type="start", number=name, **look))
        self.put_notation(end, None, element("slur", type="stop", number=name))
        chord.slurred = end.slurred = True
        part.spans.setdefault("slur", []).append((chord.time, end.time))
        used = part.numbers.setdefault("slur", [])
        used.extend([(chord.bar.index, name, "start"), (end.bar.index, name, "stop")])
        used.sort(key=lambda event: event[0])
        return [self.finding(part, "slur", "slur", chord.bar, chord.onset, end)]

    def on_note(self, category, group, choices, tied=False, **attributes):
        part, chord = self.place(tied)
        if chord is None or not part.free(category, chord.time):
            return None
        sign, reading, text = self.rng.choice(choices)
        self.put_notation(chord, group, element(sign, text, **attributes))
        part.mark(category, chord.time)
        return [self.finding(part, category, reading, chord.bar, chord.onset)]

    def add_articulation(self):
        signs = ["staccato", "tenuto", "accent", "strong-accent", "staccatissimo"]
        return self.on_note(
            "articulation", "articulations", [(s, s, None) for s in signs],
            placement=self.rng.choice(["above", "below", None]))

    def add_breath(self):
        return self.on_note("breath", "articulations", [("breath-mark", "breath-mark", None)], tied=True)

    def add_ornament(self):
        part, chord = self.place()
        if chord is None or any(a <= chord.time <= b for a, b in part.spans.get("wavy-line", ())):
            return None
        if not part.free("ornament", chord.time):
            return None
        sign = self.rng.choice(["mordent", "inverted-mordent", "turn", "trill-mark"])
        self.put_notation(chord, "ornaments", element(sign, **self.look()))
        part.mark("ornament", chord.time)
        return [self.finding(part, "ornament", sign, chord.bar, chord.onset)]

    def add_fermata(self):
        return self.on_note("fermata", None, [("fermata", "fermata", None)], tied=True, type="upright")

    def add_fingering(self):
        return self.on_note("fingering", "technical", [("fingering", str(i), str(i)) for i in range(0, 6)])

    def add_bowing(self):
        return self.on_note("bowing", "technical", [(s, s, None) for s in ("up-bow", "down-bow")])

    def add_technique(self):
        if self.rng.random() < 0.5:
            return self.words("technique", ["pizz.", "arco", "con sord."])
        return self.on_note("technique", "technical", [(s, s, None) for s in ("open-string", "harmonic", "stopped")])

    def add_tempo(self):
        if self.rng.random() < 0.6:
            sound = element("sound", tempo="96") if self.rng.random() < 0.3 else None
            return self.words("tempo", ["rit.", "a tempo", "Allegro con brio", "poco rit.", "accel."], sound)
        part, chord = self.place()
        if chord is None or not part.free("tempo", chord.time):
            return None
        unit, rate = self.rng.choice(["quarter", "eighth", "half"]), str(self.rng.randint(40, 140))
        content = element(
            "metronome", children=[element("beat-unit", unit), element("per-minute", rate)], **self.look())
        self.put_direction(part, chord, [content], element("sound", tempo=rate))
        part.mark("tempo", chord.time)
        return [self.finding(part, "tempo", "%s = %s" % (unit, rate), chord.bar, chord.onset)]

    def add_expression(self):
        return self.words("expression", ["dolce", "espressivo", "cantabile", "con anima", "grazioso"])

    def add_text(self):
        return self.words("text", ["Solo", "cf. facsimile", "Tutti", "NB"])

    def add_structure(self):
        return self.words("structure", ["Fine", "D.C. al Fine", "Da Capo"])

    def add_harmony(self):
        part, chord = self.place()
        if chord is None or not part.free("harmony", chord.time) or part.el.find(".//figured-bass") is not None:
            return None
        root, kind = self.rng.choice("CDFGA"), self.rng.choice(["major", "minor", "dominant"])
        place = list(chord.bar.el).index(chord.head)
        if place and chord.bar.el[place - 1].tag == "note" and chord.bar.el[place - 1].find("grace") is not None:
            return None
        insert(chord.bar.el, place, element(
            "harmony", children=[element("root", children=[element("root-step", root)]), element("kind", kind)]))
        part.mark("harmony", chord.time)
        return [self.finding(part, "harmony", "%s %s" % (root, kind), chord.bar, chord.onset)]

    def add_rehearsal(self):
        part, chord = self.place()
        # An editor's letters head their bars.
        if chord is None or chord.onset != 0 or not part.free("rehearsal", chord.time):
            return None
        letter = next(self.letters, None)
        if letter is None:
            return None
        self.put_direction(part, chord, [element("rehearsal", letter, **self.look())])
        part.mark("rehearsal", chord.time)
        return [self.finding(part, "rehearsal", letter, chord.bar, chord.onset)]

    def add_accidental(self):
        part, chord = self.place()
        if chord is None or not part.free("accidental", chord.time):
            return None
        pitch = chord.head.find("pitch")
        if pitch is None or chord.has("accidental"):
            return None
        alter = number(text_of(pitch, "alter"))
        if alter not in GLYPHS:
            return None
        put_in_note(chord.head, element("accidental", GLYPHS[alter], cautionary="yes", parentheses="yes"))
        part.mark("accidental", chord.time)
        return [self.finding(part, "accidental", GLYPHS[alter], chord.bar, chord.onset)]

    def add_grace(self):
        part, chord = self.place()
        if chord is None or not part.free("grace", chord.time):
            return None
        pitch = chord.head.find("pitch")
        if pitch is None:
            return None
        place = STEPS.index(text_of(pitch, "step")) + 7 * int(text_of(pitch, "octave")) + 1
        step, octave = STEPS[place % 7], place // 7
        fifths = part.keys[chord.bar.index]
        sharps, flats = "FCGDAEB"[:max(0, fifths)], "BEADGCF"[:max(0, -fifths)]
        alter = (step in sharps) - (step in flats)
        # Where the bar alters that step, what the grace note sounds would need a sign.
        for other in chord.bar.el.iter("pitch"):
            if text_of(other, "step") == step and number(text_of(other, "alter")) != alter:
                return None
        children = [
            element("grace", slash=self.rng.choice(["yes", "no", None])),
            element("pitch", children=[element("step", step)]
                    + ([element("alter", str(alter))] if alter else []) + [element("octave", str(octave))]),
        ]
        # A part with several instruments wants each note to say whose it is.
        for name in ("instrument", "voice"):
            found = chord.head.find(name)
            if found is not None:
                children.append(element(name, found.text, id=found.get("id")))
        children.append(element("type", "eighth"))
        if chord.staff:
            children.append(element("staff", chord.staff))
        insert(chord.bar.el, list(chord.bar.el).index(chord.head), element("note", children=children))
        part.mark("grace", chord.time)
        reading = step + {-1: "b", 0: "", 1: "#"}[alter] + str(octave)
        return [self.finding(part, "grace", reading, chord.bar, chord.onset)]

    def add_lyric(self):
        part, chord = self.place()
        if chord is None or part.lyrics or not part.free("lyric", chord.time):
            return None
        text = self.rng.choice(["la", "glo", "ri", "a"])
        put_in_note(chord.head, element(
            "lyric", children=[element("syllabic", "single"), element("text", text)], number="1"))
        part.mark("lyric", chord.time)
        return [self.finding(part, "lyric", text, chord.bar, chord.onset)]


def main():
    options = argparse.ArgumentParser(description="Makes an edition out of a score.")
    options.add_argument("input")
    options.add_argument("edition")
    options.add_argument("moved")
    options.add_argument("truth")
    options.add_argument("--steps", type=int, default=0)
    options.add_argument("--semitones", type=int, default=0)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--marks", type=int, default=40)
    options.add_argument("--categories", default="", help="only these, divided by commas")
    options.add_argument("--deeds", default="", help="of %s, divided by commas" % ", ".join(deeds.Deeds.NAMES))
    options.add_argument("--times", type=int, default=2, help="how often to do each deed")
    given = options.parse_args()
    asked = [name for name in given.deeds.split(",") if name]
    unknown = set(asked) - set(deeds.Deeds.NAMES)
    if unknown:
        sys.exit("editor.py: no such deed: %s" % ", ".join(sorted(unknown)))

    prolog, root = files.load(given.input)
    if root.tag != "score-partwise":
        sys.exit("editor.py: %s is not a partwise score" % given.input)
    interval = Interval(given.steps, given.semitones)
    try:
        still = move(root, interval)
    except Impossible as error:
        sys.exit("editor.py: %s: %s" % (given.input, error))
    files.save(given.moved, prolog, root)

    done = None
    if asked:
        # Draws of its own, so that they do not depend on the marks.
        done = deeds.Deeds(root, random.Random("deeds %d" % given.seed))
        undone = done.work(asked, given.times)
    editor = Editor(root, random.Random(given.seed), done.closed if done else frozenset())
    if done:
        for part in editor.parts:
            done.guard(part)
    wanted = [name for name in given.categories.split(",") if name]
    unknown = set(wanted) - set(editor.additions)
    if unknown:
        sys.exit("editor.py: no such category: %s" % ", ".join(sorted(unknown)))
    missing = editor.work(given.marks, wanted)
    files.save(given.edition, prolog, root)

    findings, passages = editor.findings, []
    if done:
        done.place_added(findings)
        more, passages = done.settle()
        findings = findings + more
    order = {part.get("id"): at for at, part in enumerate(root.iter("part"))}
    # What was cut has no bar in the edition; it sorts by the source's.
    findings.sort(key=lambda f: (
        order[f["part"]], f["source_bar_index"] if f["bar_index"] is None else f["bar_index"],
        Fraction(f["offset"]), f["category"]))
    truth = {
        "transposition": {"semitones": given.semitones, "steps": given.steps, "fifths": interval.fifths},
        "unmoved_parts": still,
        "without_place": missing,
        "findings": findings,
    }
    if done:
        truth["without_place"] = {"marks": missing, "deeds": undone}
        truth["passages"] = passages
    with open(given.truth, "w", encoding="utf-8") as handle:
        json.dump(truth, handle, ensure_ascii=False, indent=1)
        handle.write("\n")


if __name__ == "__main__":
    main()
