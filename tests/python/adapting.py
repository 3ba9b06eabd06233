#!/usr/bin/env python3
"""Whether parts that the program makes fit an instrument, or writes for one, are what they should be.

    adapting.py PROGRAM [--scores LIST] [--count 14] [--json FILE] [--case SCORE]

Each score is cleaned by itself, and parts of it are written for instruments (`--for`) or made to fit them
(`--fit`). music21 (10.5.1) reads both files.

- `--for`: all notes sound as before (in the octave that docs/keys.md says, where the part does not say one);
  clef, transposition and signatures are the instrument's; no note lacks its sign that had it before; no other part
  changes; the file is valid.
- `--fit`: each note differs by whole octaves or not at all, no more notes are outside than before, no slur or
  tie goes from one octave to another, no note lacks its sign, no other part changes; the file is valid.
"""

import json
import os
import subprocess
import tempfile

import files
import measure
import validate

# Name, written range in MIDI numbers, semitones and fifths from written to sounding, clef.
INSTRUMENTS = [
    ("alto recorder", 65, 91, 0, 0, ("G", "2", "0")),
    ("soprano recorder", 60, 86, 12, 0, ("G", "2", "1")),
    ("bass recorder", 41, 67, 12, 0, ("F", "4", "0")),
    ("clarinet in B flat", 52, 96, -2, -2, ("G", "2", "0")),
    ("viola", 48, 88, 0, 0, ("C", "3", "0")),
    ("piccolo", 62, 96, 12, 0, ("G", "2", "0")),
    ("bassoon", 34, 75, 0, 0, ("F", "4", "0")),
]
MOST_PARTS = 3


def run(program, *options):
    done = subprocess.run([program, "clean", *options], capture_output=True)
    return done.returncode, done.stderr.decode("utf-8", "replace").strip()


def sound(note):
    """MIDI number, or None of a stroke."""
    kind, step, alter, octave = note.pitch
    return {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}[step] + alter / 100 + 12 * (octave + 1) \
        if kind == "pitched" else None


def placed(notes):
    return sorted(((n.bar, n.offset, n.grace, n.duration, str(n.voice)), sound(n) or 0) for n in notes)


def tells_octave(part):
    changes = [el.text.strip() for el in part.iter("clef-octave-change")]
    return any(c != "0" for c in changes) or any(semitones(el) for el in part.iter("transpose"))


def semitones(transpose):
    return int(transpose.findtext("chromatic", "0")) + 12 * int(transpose.findtext("octave-change", "0"))


def fifths_of(transpose):
    steps, by = int(transpose.findtext("diatonic", "0")), int(transpose.findtext("chromatic", "0"))
    return 7 * by - 12 * steps


def first(part, name):
    return next(part.iter(name), None)


def signatures(part):
    """Fifths of each key as it sounds."""
    out, turn = [], 0
    for attributes in part.iter("attributes"):
        transpose = attributes.find("transpose")
        turn = turn if transpose is None else fifths_of(transpose)
        out += [int(key.findtext("fifths")) + turn for key in attributes.findall("key") if key.find("fifths") is not None]
    return [f for at, f in enumerate(out) if at == 0 or out[at - 1] != f]


def lines(part):
    """Places of the notes that each slur, and each tie, leads from and to."""
    out, slurs, ties, count = [], {}, {}, 0
    for note in part.iter("note"):
        pitch = note.find("pitch")
        marks = note.findall("notations/slur") + note.findall("notations/tied")
        # A line ends before the next begins, whatever their order in the file.
        for el in sorted(marks, key=lambda el: el.get("type") == "start"):
            key = (el.get("number", "1"), note.findtext("voice"))
            if el.tag == "tied":
                key = (pitch.findtext("step"), pitch.findtext("alter"), pitch.findtext("octave")) if pitch is not None else None
            pool = slurs if el.tag == "slur" else ties
            if el.get("type") == "start":
                pool[key] = count
            elif el.get("type") == "stop" and key in pool:
                out.append((el.tag, pool.pop(key), count))
        count += 1
    return out


def unsigned(part):
    """How many notes lack the accidental that signature and bar do not tell."""
    sharps, lacking, fifths = "FCGDAEB", 0, 0
    for measure in part.iter("measure"):
        events, now, onset = [], 0, 0
        for el in measure:
            if el.tag == "attributes":
                fifths = int(el.findtext("key/fifths", str(fifths)))
            length = int(float(el.findtext("duration", "0")))
            if el.tag == "backup":
                now -= length
            elif el.tag == "forward":
                now += length
            elif el.tag == "note":
                grace, in_chord = el.find("grace") is not None, el.find("chord") is not None
                onset = onset if in_chord else now
                now += 0 if grace or in_chord else length
                if el.find("pitch") is not None:
                    events.append(((onset, not grace, len(events)), el, fifths))
        told = {}
        for _, note, key in sorted(events, key=lambda event: event[0]):
            step, octave = note.findtext("pitch/step"), note.findtext("pitch/octave")
            alter = float(note.findtext("pitch/alter", "0"))
            at = sharps.index(step)
            usual = max(0, min(2, (key - at + 6) // 7)) - max(0, min(2, (-key - (6 - at) + 6) // 7))
            tied = any(t.get("type") == "stop" for t in note.findall("tie"))
            lacking += told.get((step, octave), usual) != alter and note.find("accidental") is None and not tied
            told[step, octave] = alter
    return lacking


def octaves(part):
    return [int(note.findtext("pitch/octave")) if note.find("pitch") is not None else None for note in part.iter("note")]


def grown(folder, root):
    """The parts of a score on one staff with pitches, as (place, element)."""
    def fits(part):
        staves = [int(el.text) for el in part.iter("staves")] + [1]
        return max(staves) == 1 and first(part, "pitch") is not None and first(part, "unpitched") is None
    all_parts = [(place, part) for place, part in enumerate(root.findall("part")) if fits(part)]
    return all_parts[:1] + all_parts[1:][::-1][:MOST_PARTS - 1]


def one(task):
    program, score = task
    import survey_notes
    told = {"score": score, "for": 0, "fit": 0, "moved": 0, "outside": [0, 0], "refused": 0, "wrong": []}
    rules = validate.schema()
    with tempfile.TemporaryDirectory() as folder:
        prolog, root = files.load(os.path.join(measure.corpus(), score))
        base, copy = os.path.join(folder, "base.musicxml"), os.path.join(folder, "copy.musicxml")
        files.save(base, prolog, root)
        valid = validate.fault(rules, base) is None
        plain = survey_notes.read(base)[0]
        for place, part in grown(folder, root):
            for instrument in INSTRUMENTS:
                for asked in ([], ["--sounding"]):
                    if asked and not instrument[3]:
                        continue
                    status, errors = run(program, base, base, "-o", copy, "--part", str(place + 1), "--for", instrument[0], *asked)
                    name = "part %d for the %s %s" % (place + 1, instrument[0], " ".join(asked))
                    if status == 2 and "cannot be written" in errors:
                        told["refused"] += 1
                    elif status:
                        told["wrong"].append("%s: %s" % (name, errors[:300]))
                    else:
                        told["for"] += 1
                        wrong = wrong_for(plain, survey_notes.read(copy)[0], place, part, files.load(copy)[1], instrument, asked)
                        if valid and not wrong:
                            wrong = validate.fault(rules, copy)
                        if wrong:
                            told["wrong"].append("%s: %s" % (name, wrong))
                status, errors = run(program, base, base, "-o", copy, "--part", str(place + 1), "--fit", "--instrument", instrument[0])
                name = "part %d fitted to the %s" % (place + 1, instrument[0])
                if status:
                    told["wrong"].append("%s: %s" % (name, errors[:300]))
                    continue
                told["fit"] += 1
                wrong, moved, outside = wrong_fit(plain, survey_notes.read(copy)[0], place, part, files.load(copy)[1], instrument)
                told["moved"] += moved
                told["outside"] = [a + b for a, b in zip(told["outside"], outside)]
                if valid and not wrong:
                    wrong = validate.fault(rules, copy)
                if wrong:
                    told["wrong"].append("%s: %s" % (name, wrong))
    return told


def others_changed(before, after, place):
    return any(placed(a[1]) != placed(b[1]) for at, (a, b) in enumerate(zip(before, after)) if at != place)


def wrong_for(before, after, place, old, root, instrument, asked):
    name, _, _, by, turn, clef = instrument
    new = root.findall("part")[place]
    if len(before) != len(after) or others_changed(before, after, place):
        return "another part changed"
    octave = by if by % 12 == 0 and not asked and not tells_octave(old) else 0
    wanted = [(where, s + octave) for where, s in placed(before[place][1])]
    if wanted != placed(after[place][1]):
        return "it sounds otherwise: %s" % [p for p in zip(wanted, placed(after[place][1])) if p[0] != p[1]][:1]
    found = first(new, "clef")
    if (found.findtext("sign"), found.findtext("line"), found.findtext("clef-octave-change", "0")) != clef:
        # What reads several clefs may begin in another of them.
        if name not in ("viola", "bassoon"):
            return "the clef is %s %s" % (found.findtext("sign"), found.findtext("line"))
    on_paper = by - 12 * int(found.findtext("clef-octave-change", "0"))
    transposes = list(new.iter("transpose"))
    if [semitones(t) for t in transposes] != ([on_paper] if on_paper else []):
        return "it transposes by %s" % [semitones(t) for t in transposes]
    was, now = signatures(old), signatures(new)
    if [f % 12 for f in was] != [f % 12 for f in now] and any(was):
        return "the signatures sound as %s instead of %s" % (now, was)
    if max([abs(f - turn) for f in now] + [0]) > 7:
        return "a signature has too many signs: %s" % now
    return lacks_signs(old, new)


def lacks_signs(old, new):
    before, after = unsigned(old), unsigned(new)
    return "%d notes lack their sign instead of %d" % (after, before) if after > before else None


def wrong_fit(before, after, place, old, root, instrument):
    name, lowest, highest, by, _, _ = instrument
    new = root.findall("part")[place]
    if len(before) != len(after) or others_changed(before, after, place):
        return "another part changed", 0, (0, 0)
    ours, theirs = before[place][1], after[place][1]
    if len(ours) != len(theirs):
        return "%d notes instead of %d" % (len(theirs), len(ours)), 0, (0, 0)
    written = by % 12 == 0 and by != 0 and not tells_octave(old)
    shift = 0 if written else by
    if written and first(old, "transpose") is not None:
        return None, 0, (0, 0)
    moved, outside = 0, [0, 0]
    for a, b in zip(ours, theirs):
        if a._replace(pitch=None) != b._replace(pitch=None) or a.pitch[:3] != b.pitch[:3]:
            return "%s became %s" % (a, b), 0, (0, 0)
        moved += a.pitch != b.pitch
        for at, one in enumerate((a, b)):
            if one.pitch[0] == "pitched" and not one.stops:
                outside[at] += not lowest <= sound(one) - shift <= highest
    if outside[1] > outside[0]:
        return "%d notes outside instead of %d" % (outside[1], outside[0]), moved, outside
    by_octaves = [None if a is None else b - a for a, b in zip(octaves(old), octaves(new))]
    for kind, start, end in lines(old):
        if by_octaves[start] != by_octaves[end]:
            return "a %s from note %d to %d is torn" % (kind, start, end), moved, outside
    return lacks_signs(old, new), moved, outside


def main():
    given, results = measure.over_scores("Looks at parts made to fit an instrument, and written for one.", one, 14)
    total = lambda name: sum(r[name] for r in results)
    outside = [sum(r["outside"][at] for r in results) for at in (0, 1)]
    print("%d scores: %d parts written for instruments (%d refused), %d made to fit: %d notes moved, %d outside before, %d after; %d wrong" % (
        len(results), total("for"), total("refused"), total("fit"), total("moved"), *outside,
        sum(len(r["wrong"]) for r in results)))
    for r in results:
        for line in r["wrong"][:4]:
            print("  %s: %s" % (r["score"], line[:400]))
    if given.json:
        with open(given.json, "w", encoding="utf-8") as handle:
            json.dump({"for": total("for"), "fit": total("fit"), "moved": total("moved"), "outside": outside,
                       "wrong": [w for r in results for w in r["wrong"]]}, handle)


if __name__ == "__main__":
    main()
