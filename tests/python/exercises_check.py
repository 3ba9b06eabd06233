"""`obelus exercises` against music21: practice sheets of real parts.

    exercises_check.py PROGRAM CASES FINGERINGS FOLDER

CASES is JSON: [{"score", "part", "instrument", "options"}]; FINGERINGS is the table
of the program, FOLDER where the sheets are left. music21 reads the part itself and
takes the notes of each stretch from it; on the sheet each exercise is compared with
the rule of its form. Prints JSON: {"parts", "instruments", "stretches", "exercises",
"bars", "notes", "fingerings", "slurred": pairs of notes whose slur was compared,
"differences": [...]}.
"""

import collections
import json
import os
import re
import subprocess
import sys
import tomllib
from fractions import Fraction

from intervals import between, moved
from music21 import pitch

import exercises_read as read

# Written lowest and highest note, what it sounds above that as letters and semitones, clefs.
TREBLE, OCTAVE, ALTO, TENOR, BASS = ("G", 2, 0), ("G", 2, 1), ("C", 3, 0), ("C", 4, 0), ("F", 4, 0)
INSTRUMENTS = {
    "alto recorder": ("F4", "G6", (0, 0), [TREBLE]),
    "soprano recorder": ("C4", "D6", (7, 12), [OCTAVE]),
    "tenor recorder": ("C4", "D6", (0, 0), [TREBLE]),
    "bass recorder": ("F2", "G4", (7, 12), [BASS]),
    "modern flute": ("C4", "C7", (0, 0), [TREBLE]),
    "modern oboe": ("B-3", "A6", (0, 0), [TREBLE]),
    "clarinet in B flat": ("E3", "C7", (-1, -2), [TREBLE]),
    "bassoon": ("B-1", "E-5", (0, 0), [BASS, TENOR]),
    "violin": ("G3", "A7", (0, 0), [TREBLE]),
    "viola": ("C3", "E6", (0, 0), [ALTO, TREBLE]),
    "cello": ("C2", "C6", (0, 0), [BASS, TENOR, TREBLE]),
}
# Parts of a beat, by the names of the usual rhythms.
RHYTHMS = {
    False: {"long-short": (3, 1), "short-long": (1, 3), "long-short-short": (2, 1, 1), "long-short-short-short": (3, 1, 1, 1)},
    True: {"long-short": (2, 1), "short-long": (1, 2), "long-short-long": (3, 1, 2), "long-short-short-short": (3, 1, 1, 1)},
}
FORMS = [None, "change", "beats", "adding", "backwards", "rhythms", "wider", "whole"]


def near(one, other):
    """Files round the lengths of odd tuplets."""
    return abs(one - other) < Fraction(1, 64)


class Table:
    """What the table of fingerings allows, written as numbers."""

    def __init__(self, path):
        with open(path, "rb") as handle:
            table = tomllib.load(handle)
        self.lowest = {row["name"]: pitch.Pitch(row["lowest"]) for row in table["instrument"]}
        self.rows = collections.defaultdict(list)
        for row in table["fingering"]:
            self.rows[row["n"]].append(self.lines(row))

    @staticmethod
    def lines(row):
        thumb, left, right = row["holes"].split()
        numbers = lambda holes, first: "".join(
            "" if sign == "-" else "%d%s" % (first + place, sign.replace(sign, "½") if sign == "½" else "")
            for place, sign in enumerate(holes))
        hands = {"O": "0", "/": "Ø", "-": ""}[thumb] + numbers(left, 1), numbers(right, 4) + "+" * row.get("bell", False)
        return [hand for hand in hands if hand]

    def of(self, instrument, written):
        return self.rows[round(written.ps - self.lowest[instrument].ps)]


class Stretch:
    """The notes of a stretch out of the part, as the player reads them, and their bar."""

    def __init__(self, tones, first, last, doubtful, sharps, time):
        self.tones = tones[first:last + 1]
        self.time, self.sharps = time, sharps
        self.is_doubtful = any(tone.bar in doubtful for tone in self.tones)
        self.beat = read.pulse(time)
        self.bar = read.exact(time.barDuration.quarterLength)
        self.start = self.tones[0].at
        # Of a run of seven in a beat the parts are practised in plain values; many files round its lengths.
        self.is_plain = all(tone.length.denominator in (1, 2, 3, 4, 6, 8, 12, 16, 24, 32) for tone in self.tones)

    def names(self, places):
        return [self.tones[place].name for place in places]

    def beat_of(self, place):
        return (self.start + self.tones[place].onset - self.tones[0].onset) // self.beat

    def beats(self):
        starts = [p for p in range(len(self.tones)) if p == 0 or self.beat_of(p) != self.beat_of(p - 1)]
        ends = [s + 1 for s in starts[1:]] + [len(self.tones)]
        return [range(a, b) for a, b in zip(starts, ends) if b - a > 1]


def find(tones, point):
    offset = Fraction(point["offset"])
    return next((p for p, t in enumerate(tones) if t.bar == point["bar_index"] and near(t.offset, offset)), None)


class Sheet:
    """A practice sheet, and what is wrong with it."""

    def __init__(self, path, told, instrument, table):
        self.table, self.told, self.instrument = table, told, instrument
        low, high, by, self.clefs = INSTRUMENTS[instrument]
        self.low, self.high = pitch.Pitch(low).ps, pitch.Pitch(high).ps
        self.wrong, self.notes, self.fingerings, self.slurred, self.exercises = [], 0, 0, 0, 0
        part = read.part_of(path, 1)
        durations, fingerings = read.beside_music21(path)
        self.wrong += read.faults_of_bars(part, durations)
        self.measures, self.signatures = read.measures(part), read.signatures(part)
        part.toSoundingPitch(inPlace=True)
        self.tones = read.tones_of(part)
        for tone, fingering in zip(self.tones, fingerings, strict=True):
            tone.fingering = fingering
            tone.pitch = moved(tone.pitch, between(-by[0], -by[1]))
            tone.graces = [moved(one, between(-by[0], -by[1])) for one in tone.graces]
        numbers = [measure.number for measure in self.measures]
        self.starts = [place for place, number in enumerate(numbers) if number == 1]
        for start, end in zip(self.starts, self.starts[1:] + [len(numbers)]):
            if numbers[start:end] != list(range(1, end - start + 1)):
                self.wrong.append("bars are numbered %s" % numbers[start:end])

    def check(self, stretches):
        if len(self.starts) != len(stretches):
            self.wrong.append("%d stretches are told, %d are on the sheet" % (len(stretches), len(self.starts)))
            return
        clef = None
        for number, (told, own) in enumerate(stretches):
            start = self.starts[number]
            self.say = lambda what: self.wrong.append("stretch %d: %s" % (number + 1, what))
            clef = read.clef_of(self.measures[start]) or clef
            if clef not in self.clefs:
                self.say("clef %s" % (clef,))
            self.head(start, told, own)
            spans = [(e["first_bar"], e["last_bar"]) for e in told["exercises"]]
            if [first for first, _ in spans] != [1] + [last + 1 for _, last in spans[:-1]]:
                self.say("exercises are in bars %s" % spans)
            forms = [e["form"] for e in told["exercises"]]
            if forms != sorted(forms, key=FORMS.index) or forms[0] is not None or forms[-1] != "whole":
                self.say("its forms are %s" % forms)
            for exercise in told["exercises"]:
                self.exercise(start, exercise, own)

    def head(self, start, told, own):
        """The signature, the time, the ladder."""
        time, sharps = self.signatures[start]
        if (time.numerator, time.denominator) != (own.time.numerator, own.time.denominator):
            self.say("time %s, not %s" % (time.ratioString, own.time.ratioString))
        if sharps != own.sharps:
            self.say("%d sharps, not %d" % (sharps, own.sharps))
        ladder, said = told["ladder"], read.words(self.measures[start])
        beat, first = read.metronome(self.measures[start])
        then = next((re.findall(r"\d+", text) for text in said if text.startswith("then ")), [])
        if [first] + [int(number) for number in then] != ladder or beat != Fraction(told["tempo"]["beat_quarters"]):
            self.say("ladder %s = %s %s, told %s" % (beat, first, then, ladder))
        if any(a >= b for a, b in zip(ladder, ladder[1:])):
            self.say("the ladder %s does not rise" % ladder)
        if (ladder[0], ladder[-1]) != (round(told["start"]["per_minute"]), round(told["tempo"]["per_minute"])):
            self.say("the ladder %s does not lead to the tempo" % ladder)

    def exercise(self, start, told, own):
        self.exercises += 1
        bars = range(start + told["first_bar"] - 1, start + told["last_bar"])
        tones = [tone for tone in self.tones if tone.bar in bars]
        name = told["form"] or "as it stands"
        say = lambda what: self.say("%s (%s): %s" % (name, told["heading"], what))
        if told["form"] and told["heading"] not in read.words(self.measures[bars[0]]):
            say("no heading")
        self.notes += len(tones)
        for tone in tones:
            if not self.low <= tone.pitch.ps <= self.high:
                say("%s is out of range" % tone.name)
        if told["form"] is None:
            self.fingered(tones, say)
        elif any(tone.fingering for tone in tones):
            say("it has fingerings")
        if told["form"] not in (None,) and any(tone.graces for tone in tones) and told["form"] != "whole":
            say("it has grace notes")
        places = getattr(self, "form_" + (told["form"] or "whole"))(tones, told, own, say)
        if places is not None and not own.is_doubtful:
            self.slurred += len(places) - 1
            self.slurs(tones, places, own, say)

    def fingered(self, tones, say):
        for tone in tones:
            if self.instrument not in self.table.lowest:
                if tone.fingering:
                    say("%s has a fingering" % tone.name)
                continue
            self.fingerings += 1
            if tone.fingering not in self.table.of(self.instrument, tone.pitch):
                say("%s is fingered %s" % (tone.name, tone.fingering))

    @staticmethod
    def slurs(tones, places, own, say):
        """`places` are those of the notes in the stretch; a slur stands where the piece has one, and nowhere else."""
        for (a, b), (one, after) in zip(zip(places, places[1:]), zip(tones, tones[1:])):
            meets = own.tones[a].end >= own.tones[b].onset
            wanted = b == a + 1 and own.tones[a].joined and meets and one.end == after.onset
            if one.joined != wanted:
                say("%s to %s %s slurred" % (one.name, after.name, "is not" if wanted else "is"))
        if tones[-1].joined:
            say("a slur goes beyond it")

    # Each form gives the place in the stretch of each note, or None where it has none of its own.

    def form_whole(self, tones, told, own, say):
        names = [tone.name for tone in tones]
        if names != own.names(range(len(own.tones))):
            return say("it has %s, not %s" % (names, own.names(range(len(own.tones)))))
        if not near(tones[0].offset % own.bar, own.start % own.bar):
            say("it begins at %s, not %s" % (tones[0].offset, own.start))
        for place, (one, of) in enumerate(zip(tones, own.tones)):
            if not near(one.onset - tones[0].onset, of.onset - own.tones[0].onset):
                say("note %d is at %s, not %s" % (place + 1, one.onset - tones[0].onset, of.onset - own.tones[0].onset))
            follows = own.tones[place + 1] if place + 1 < len(own.tones) else None
            # What sounds on in the part, as a note of a chord, ends where the next begins.
            length = min(of.length, follows.onset - of.onset) if follows else of.length
            if not near(one.length, length):
                say("%s is %s long, not %s" % (one.name, one.length, length))
            graces = [read.spelled(g) for g in one.graces]
            if place > 0 and graces != [read.spelled(g) for g in of.graces]:
                say("%s has the grace notes %s, not %s" % (one.name, graces, [read.spelled(g) for g in of.graces]))
        return range(len(tones))

    def form_change(self, tones, told, own, say):
        ends = re.search(r": (\S+) to (\S+)$", told["heading"]).groups()
        names = [tone.name for tone in tones]
        pairs = [p for p in range(len(own.tones) - 1) if own.names([p, p + 1]) == list(ends)]
        for p in pairs:
            around = own.names(range(max(p - 1, 0), min(p + 3, len(own.tones))))
            if set(names) <= set(around):
                break
        else:
            return say("%s are not %s in the stretch" % (names, ends))
        if names[:2] != list(ends):
            say("it begins with %s" % names[:2])
        if any(tone.joined for tone in tones):
            say("it has a slur")

    def tries(self, tones, wanted, own, say):
        """The notes are those of `wanted`, try for try, each with a rest before the next and in the stretch's rhythm."""
        names, at, places = [tone.name for tone in tones], 0, []
        for span in wanted:
            got = tones[at:at + len(span)]
            if names[at:at + len(span)] != own.names(span):
                return say("it has %s, not %s" % (names[at:at + len(span)], own.names(span)))
            before = tones[at - 1] if at else None
            if before and before.end >= got[0].onset:
                say("there is no rest before note %d" % (at + 1))
            onsets = [tone.onset - got[0].onset for tone in got]
            if own.is_plain and onsets != [own.tones[p].onset - own.tones[span[0]].onset for p in span]:
                say("its rhythm is %s" % [str(o) for o in onsets])
            in_beat = (own.start + own.tones[span[0]].onset - own.tones[0].onset) % own.beat
            if own.is_plain and got[0].offset % own.beat != in_beat:
                say("it begins at %s of the beat, not %s" % (got[0].offset % own.beat, in_beat))
            places += span
            at += len(span)
        if at != len(tones):
            return say("there are %d notes more" % (len(tones) - at))
        return places

    def form_beats(self, tones, told, own, say):
        if not own.is_plain:
            return None
        return self.tries(tones, own.beats(), own, say)

    def growing(self, tones, own, say, span):
        """Tries of more and more notes that end with all of them, as `span` says from a number of notes."""
        total, most = len(tones), len(own.tones)
        names = [tone.name for tone in tones]

        def fits(at, least):
            if at == total:
                return [] if least == most + 1 else None
            for count in range(max(least, 2), most + 1):
                if names[at:at + count] == own.names(span(count)):
                    rest = fits(at + count, count + 1)
                    if rest is not None and (count == most) == (not rest):
                        return [span(count)] + rest
            return None

        wanted = fits(0, 2)
        if wanted is None:
            return say("%s does not grow to %s" % (names, own.names(range(most))))
        return self.tries(tones, wanted, own, say)

    def form_adding(self, tones, told, own, say):
        return self.growing(tones, own, say, lambda count: range(count))

    def form_backwards(self, tones, told, own, say):
        return self.growing(tones, own, say, lambda count: range(len(own.tones) - count, len(own.tones)))

    def form_rhythms(self, tones, told, own, say):
        names = [tone.name for tone in tones]
        if names != own.names(range(len(own.tones))):
            return say("it has %s, not %s" % (names, own.names(range(len(own.tones)))))
        parts = RHYTHMS[own.beat.numerator % 3 == 0].get(told["heading"].removeprefix("Rhythm: "))
        if parts is None:
            return say("an unknown rhythm")
        beats = 2 if len(parts) == 4 else 1
        lengths = [Fraction(p * beats, sum(parts)) * own.beat for p in parts]
        for place, tone in enumerate(tones[:-1]):
            if tone.length != lengths[place % len(lengths)] or tone.end != tones[place + 1].onset:
                say("note %d is %s long" % (place + 1, tone.length))
        if tones[0].offset != 0:
            say("it does not begin with the bar")
        return range(len(tones))

    def form_wider(self, tones, told, own, say):
        heights = [tone.pitch.diatonicNoteNum for tone in tones]
        top = heights.index(max(heights))
        climb, names = tones[:top + 1], [tone.name for tone in tones]
        if names != names[:top + 1] + names[:top][::-1]:
            say("%s does not come back as it went" % names)
        steps = [b - a for a, b in zip(heights[:top + 1], heights[1:top + 1])]
        kinds = {tone.pitch.name for tone in own.tones}
        if any(step < 1 for step in steps):
            say("%s does not climb" % names)
        if any(step > 1 for step in steps) and not {tone.pitch.name for tone in tones} <= kinds:
            say("%s is neither a scale nor the stretch's chord" % names)
        signature = self.signatures[climb[0].bar][1]
        order = "FCGDAEB"
        in_key = {s: "#" for s in order[:max(signature, 0)]} | {s: "-" for s in order[::-1][:max(-signature, 0)]}
        for tone in climb:
            spellings = {k for k in kinds if k[0] == tone.pitch.step} or {tone.pitch.step + in_key.get(tone.pitch.step, "")}
            if tone.pitch.name not in spellings:
                say("%s is not in the key" % tone.name)
        ends = [fold(tone.pitch.diatonicNoteNum for tone in own.tones) for fold in (min, max)]
        # It turns back only where the instrument ends, which is at most an octave on.
        if heights[0] >= ends[0] and climb[0].pitch.ps - 12 >= self.low or max(heights) <= ends[1] and climb[-1].pitch.ps + 12 <= self.high:
            say("%s is not wider" % names)
        if any(tone.joined for tone in tones):
            say("it has a slur")


def check(program, case, table, folder, number):
    out = os.path.join(folder, "%d.musicxml" % number)
    asked = ["--part", str(case["part"]), "--instrument", case["instrument"]] + case["options"]
    run = subprocess.run(
        [program, "exercises", case["score"], "-o", out, "--format", "json"] + asked, capture_output=True, text=True)
    if run.returncode or not os.path.exists(out):
        return None, ["no sheet: %s" % (run.stderr.strip() or "no stretch is hard")]
    told = json.loads(run.stdout)
    part = read.part_of(case["score"], case["part"])
    steps, semitones = INSTRUMENTS[case["instrument"]][2]
    # As written is what is printed; what sounds is read as the instrument makes it sound.
    reads = between(0, 0) if "--written" in case["options"] else between(-steps, -semitones)
    if "--written" not in case["options"]:
        part.toSoundingPitch(inPlace=True)
    tones, signatures = read.tones_of(part), read.signatures(part)
    for tone in tones:
        tone.pitch = moved(tone.pitch, reads)
        tone.graces = [moved(one, reads) for one in tone.graces]
    doubtful = read.doubtful_slurs(case["score"], case["part"])
    sheet = Sheet(out, told, case["instrument"], table)
    stretches = []
    for one in told["stretches"]:
        ends = [find(tones, one[end]) for end in ("from", "to")]
        if None in ends:
            return sheet, sheet.wrong + ["the part has no note at %s or %s" % (one["from"], one["to"])]
        time, sharps = signatures[tones[ends[0]].bar]
        sharps += {-1: 2}.get(steps, 0) if "--written" not in case["options"] else 0
        stretches.append((one, Stretch(tones, *ends, doubtful, sharps, time)))
    sheet.check(stretches)
    return sheet, sheet.wrong


def main(program, cases, fingerings, folder):
    with open(cases, encoding="utf-8") as handle:
        cases = json.load(handle)
    table = Table(fingerings)
    total = {key: 0 for key in ("parts", "stretches", "exercises", "bars", "notes", "fingerings", "slurred")}
    instruments, differences = set(), []
    for number, case in enumerate(cases):
        sheet, wrong = check(program, case, table, folder, number)
        name = "%s, part %s, %s" % (case["score"], case["part"], case["instrument"])
        differences += ["%s: %s" % (name, fault) for fault in wrong]
        if sheet is None:
            continue
        instruments.add(case["instrument"])
        total["parts"] += 1
        total["stretches"] += len(sheet.told["stretches"])
        total["exercises"] += sheet.exercises
        total["bars"] += len(sheet.measures)
        total["notes"] += sheet.notes
        total["fingerings"] += sheet.fingerings
        total["slurred"] += sheet.slurred
    print(json.dumps(total | {"instruments": sorted(instruments), "differences": differences}))


if __name__ == "__main__":
    main(*sys.argv[1:])
