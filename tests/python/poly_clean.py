"""Looks at a clean copy of a pair of several parts as one score, with tools that share nothing with the program.

    cleaned   exit status 0
    notes     what each group of lines sounds is what the source's lines sound, moved; bars that are
              named as left are let be
    marks     the same of marks; what stands once for all lines is counted once
    ragged    bars are equally long in all parts, or as unequal as they were
    overlap   no voice has two notes at once that are no chord, but where one had
    lonely    lines without counterpart are the edition's, but for bars that came or went
    rest      bars outside the scope are the edition's
    signs     each part begins with its key, time and clef, and no signature stands twice
    valid     the copy follows the schema where the edition does
"""

import collections
import csv
import json
import subprocess
from fractions import Fraction

import cleaning
import content
import files
import lines
from building import element
from files import elements, text_of
from moving import number

FOR_ALL = ("structure", "tempo", "rehearsal", "signature")
# What the row of a passage tells of the notes within.
WITHIN = {
    "octave-displacement": ("octave",), "revoiced-chords": ("octave", "note"),
    "written-out-ornament": ("written-out", "realisation"), "inserted-passage": ("note",), "cut": ("note",),
    "invented-ending": ("note",), "rewritten-passage": ("note",),
}
GRID = 48     # to the quarter: as exact as rounded durations are
LAYOUT = Fraction(1, 4)     # of a quarter note


def printed(root):
    """The score without notes that are not printed."""
    for part in root.iter("part"):
        for measure in part.findall("measure"):
            for note in measure.findall("note"):
                if note.get("print-object") != "no":
                    continue
                at = list(measure).index(note)
                measure.remove(note)
                if note.find("grace") is None and note.find("chord") is None and note.find("duration") is not None:
                    measure.insert(at, element("forward", children=[element("duration", text_of(note, "duration"))]))
    return root


def near(value):
    return str(Fraction(round(Fraction(value) * GRID), GRID))


def is_near(mark, other):
    (*said, at), (*same, there) = json.loads(mark), json.loads(other)
    return said == same and abs(Fraction(at) - Fraction(there)) < LAYOUT


def for_the_layout(mine, theirs, many):
    """Both without what is the same on both sides but for less than a quarter note: a copy keeps the edition's place of
    a sign that is moved for the look of it, and one place can be said by many offsets. Of `many` parts together two
    may say the same, and only one of them is moved."""
    lack, extra = theirs - mine, mine - theirs
    for mark in list(extra):
        for other in list(lack):
            while is_near(mark, other) and lack[other] > 0 and extra[mark] > 0:
                lack[other] -= 1
                extra[mark] -= 1
    extra, lack = +extra, +lack
    if many:
        for rest, other in ((extra, theirs), (lack, mine)):
            for mark in [m for m in rest if any(is_near(m, o) for o in other)]:
                del rest[mark]
    return extra, lack


def held(root, names, interval=None):
    """Notes and marks of some parts together, by bar; the interval is of each part."""
    bars = []
    for name in names:
        steps, semitones = (interval or {}).get(name, (0, 0))
        for part in content.content(root, steps, semitones, name)["parts"]:
            for at, bar in enumerate(part["bars"]):
                if at == len(bars):
                    bars.append({"notes": collections.Counter(), "marks": collections.Counter()})
                for note in bar["notes"]:
                    # A verse, a voice and a staff have no say in what is heard.
                    bars[at]["notes"][json.dumps([near(note[0])] + note[1:4] + [near(note[4]), note[5]])] += 1
                for category, kind, reading, offset, _ in bar["marks"]:
                    if category == "lyric":
                        reading = reading[1:]
                    if category == "grace":
                        reading = sorted(reading.split())
                    # Where two slurs of one number overlap, their ends are told by the staff; where they go on is layout.
                    if category != "signature" and (category, reading) not in (("slur", "stop"), ("slur", "continue")):
                        bars[at]["marks"][json.dumps([category, kind, reading, near(offset)])] += 1
    return bars


def lengths(root):
    """How long each bar of each part is by its notes and rests, in quarters."""
    out = []
    for part in root.findall("part"):
        divisions, bars = Fraction(1), []
        for measure in part.findall("measure"):
            furthest = Fraction(0)
            scale = divisions
            for item, _, after in lines.steps(measure):
                if item.tag == "attributes" and item.find("divisions") is not None:
                    divisions = scale = number(text_of(item, "divisions"))
                if item.tag == "note":
                    furthest = max(furthest, Fraction(near(after / scale)))
            bars.append(furthest)
        out.append((part.get("id"), bars))
    return out


def ragged(root):
    """Bars that are not equally long in all parts; a part that is silent has no say."""
    found = set()
    for at, row in enumerate(zip(*(bars for _, bars in lengths(root)))):
        if len({length for length in row if length}) > 1:
            found.add((at, tuple(row)))
    return found


def overlaps(root):
    """How often, in each part, a voice has two notes at once that are no chord."""
    out = collections.Counter()
    for part in root.findall("part"):
        for measure in part.findall("measure"):
            sounding = {}
            for item, onset, after in lines.steps(measure):
                if item.tag != "note" or item.find("chord") is not None or item.find("grace") is not None:
                    continue
                voice = text_of(item, "voice", "1"), text_of(item, "staff", "1")
                if item.find("cue") is None and after > onset:
                    if any(a < after and onset < b for a, b in sounding.get(voice, ())):
                        out[part.get("id")] += 1
                    sounding.setdefault(voice, []).append((onset, after))
    return out


def signs(root):
    """What signatures and clefs stand at the head of each part, and how often a signature stands in vain."""
    heads, vain = {}, 0
    for part in root.findall("part"):
        current = {}
        for at, measure in enumerate(part.findall("measure")):
            for attributes in measure.findall("attributes"):
                for child in attributes:
                    if child.tag not in ("key", "time", "clef"):
                        continue
                    name = child.tag, child.get("number", "1" if child.tag == "clef" else None)
                    said = " ".join(" ".join(child.itertext()).split())
                    vain += current.get(name) == said and child.tag != "clef"
                    current[name] = said
                    if at == 0:
                        heads.setdefault(part.get("id"), set()).add(name)
    return heads, vain


def unlike(mine, theirs):
    lack, extra = theirs - mine, mine - theirs
    return "%s instead of %s" % (list(extra.elements())[:2], list(lack.elements())[:2]) if lack or extra else None


def once(marks, all_once):
    out = collections.Counter()
    for mark, times in marks.items():
        out[mark] = 1 if all_once or json.loads(mark)[0] in FOR_ALL else times
    return out


def left_bars(told):
    return {entry["bar_index"] for entry in told.get("left", ())}


def look(program, pair, path):
    """What is wrong in the clean copy, and the bars that it names as left."""
    wrong, out = [], {"wrong": [], "left": []}
    copy = path("clean.musicxml")
    done = subprocess.run([program, "clean", path("edition.musicxml"), path("source.musicxml"), "-o", copy, "--format", "json"],
                          capture_output=True, timeout=300)
    if done.returncode == 2:        # not yet told so
        done = subprocess.run([program, "clean", path("edition.musicxml"), path("source.musicxml"), "-o", copy],
                              capture_output=True, timeout=300)
    if done.returncode:
        out["wrong"].append("cleaned: exit status %d: %s" % (done.returncode, done.stderr.decode("utf-8", "replace")[:300]))
        return out
    try:
        out["left"] = json.loads(done.stdout).get("left", [])
    except ValueError:
        pass
    edition, source, clean = (printed(files.load(path(n + ".musicxml"))[1]) for n in ("edition", "source", "clean"))
    wrong += compare(pair, edition, source, clean, left_bars(out))
    was, now = ragged(edition), ragged(clean)
    if len(now) > len(was):
        wrong.append("ragged: %s" % sorted((at, list(map(str, row))) for at, row in now)[:2])
    was, now = overlaps(edition), overlaps(clean)
    base = overlaps(source)
    for name, times in now.items():
        if times > was[name] and times > base[name]:
            wrong.append("overlap: %d in %s" % (times, name))
    (heads, vain), (source_heads, source_vain), (clean_heads, clean_vain) = signs(edition), signs(source), signs(clean)
    for name, found in heads.items():
        if found - clean_heads.get(name, set()):
            wrong.append("signs: %s lost %s" % (name, found - clean_heads.get(name, set())))
    if clean_vain > max(vain, source_vain * len(heads)):
        wrong.append("signs: %d signatures in vain" % clean_vain)
    was, now = cleaning.valid(path("edition.musicxml")), cleaning.valid(copy)
    if was[0] and not now[0]:
        wrong.append("valid: %s" % now[1])
    out["wrong"] = wrong
    return out


def compare(pair, edition, source, clean, left):
    """The copy's notes and marks against the source's, group by group."""
    out = []
    first, extra = pair.begin["edition"], pair.begin["source"]
    count = len(pair.source.find("part").findall("measure")) - pair.rest["source"]
    ours = {g: [n for n, h in pair.groups["edition"].items() if h == g and n not in pair.doubled]
            for g in set(pair.groups["edition"].values())}
    theirs = {g: [n for n, h in pair.groups["source"].items() if h == g] for g in set(pair.groups["source"].values())}
    interval = {}
    for mine, its, base in pair.beside:
        steps, semitones = pair.told.transposition[base]
        interval[its[0]] = (steps, semitones)
    spelled = all(steps is not None for steps, _ in interval.values())
    seen_for_all = {}
    for group, names in sorted(ours.items()):
        if not spelled:
            interval = {n: (0, 0) for n in interval}
        mine, its = held(clean, names), held(source, theirs[group], interval)[extra: extra + count]
        before = held(edition, names)
        after = pair.rest["edition"] - first
        if len(mine) != first + count + after:
            out.append("notes: %s has %d bars instead of %d" % (group, len(mine), first + count + after))
            continue
        for at, bar in enumerate(mine[:first] + mine[first + count:]):
            other = (before[:first] + before[len(before) - after:])[at]
            if bar["notes"] != other["notes"]:
                out.append("rest: %s, bar %d outside the scope: %s" % (group, at, unlike(bar["notes"], other["notes"])))
        # A pickup that was filled up has its music later.
        skipped = 1 if pair.told.pickup else 0
        many = len(names) + len(theirs[group]) > 2
        for at, (bar, other) in list(enumerate(zip(mine[first: first + count], its)))[skipped:]:
            if left and any(i in left for i in (at + first - 1, at + first, at + first + 1)):
                continue
            a, b = bar["notes"], other["notes"]
            if not spelled:
                a, b = (collections.Counter(sounding(c)) for c in (a, b))
                b = collections.Counter({json.dumps([json.loads(k)[0], json.loads(k)[1] + pair.told.transposition[
                    pair.beside[0][2]][1]] + json.loads(k)[2:]): v for k, v in b.items()})
            said = unlike(a, b)
            if said:
                out.append("notes: %s, bar %d: %s" % (group, at + first, said))
            for side, marks in enumerate((bar["marks"], other["marks"])):
                for mark in marks:
                    if json.loads(mark)[0] in FOR_ALL:
                        seen_for_all.setdefault(at, (collections.Counter(), collections.Counter()))[side][mark] = 1
            own = [collections.Counter({m: t for m, t in once(c["marks"], many).items() if json.loads(m)[0] not in FOR_ALL})
                   for c in (bar, other)]
            if not spelled:
                own = [collections.Counter({m: t for m, t in c.items() if json.loads(m)[0] not in (
                    "grace", "harmony", "accidental", "ornament")}) for c in own]
            said = unlike(*for_the_layout(*own, many))
            if said:
                out.append("marks: %s, bar %d: %s" % (group, at + first, said))
    for at, own in sorted(seen_for_all.items()):
        said = unlike(*for_the_layout(*own, True))
        if said and not left:
            out.append("marks: for all, bar %d: %s" % (at + first, said))
    for name in pair.alone["edition"]:
        was, now = ([b["notes"] for b in held(root, [name]) if b["notes"]] for root in (edition, clean))
        rest = iter(was)
        if not all(any(bar == other for other in rest) for bar in now):
            out.append("lonely: %s is not as it was" % name)
        elif not now and was:
            out.append("lonely: %s is gone" % name)
    return out


def sounding(notes):
    """Notes by what they sound, however they are spelled."""
    for note, times in notes.items():
        onset, step, alter, octave, length, grace = json.loads(note)
        if step == "unpitched":
            continue
        height = content.LETTERS[step] + Fraction(alter) + 12 * octave
        for _ in range(times):
            yield json.dumps([onset, int(height), length, grace])


# ---------------------------------------------------------------- critical notes

def in_the_notes(program, report, path):
    """Findings of the audit that the critical notes do not have."""
    notes = path("notes.csv")
    done = subprocess.run([program, "clean", path("edition.musicxml"), path("source.musicxml"), "-o", path("noted.musicxml"),
                           "--notes", notes], capture_output=True, timeout=300)
    if done.returncode:
        return ["cleaned: exit status %d" % done.returncode]
    with open(notes, encoding="utf-8-sig", newline="") as handle:
        rows = list(csv.DictReader(handle))
    # A row of a stretch names its first bar and its last.
    for row in rows:
        row["category"] = row["category"].replace("-", " ") if " " in row["category"] else row["category"]
    own = collections.Counter((row["category"], row["bar"].split("–")[0].split(" ")[0]) for row in rows)
    passages = {(row["category"], row[side].split("–")[0].split(" ")[0]) for row in rows for side in ("bar", "source_bar")}
    wanted = collections.Counter()
    for part in report["parts"]:
        for f in part["findings"]:
            passage = None if f["passage"] is None else part["passages"][f["passage"]]
            if passage and f["category"] in WITHIN.get(passage["kind"], ()):
                kind = passage["kind"].replace("-", " ")
                if any((kind, passage[end]["bar"]) in passages for end in ("from", "source_from") if passage.get(end)):
                    continue
            wanted[f["category"], f["source_bar"] if f["bar"] is None else f["bar"]] += 1
    return ["%s, bar %s: %d of %d" % (k + (own[k], times)) for k, times in sorted(wanted.items(), key=str) if own[k] < times]
