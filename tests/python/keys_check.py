"""`obelus keys` against music21: signatures and compass in every key looked at.

    python keys_check.py PROGRAM CASES

CASES is JSON: {"scores": [paths], "semitones": [numbers]}. Every part of every
score is tried on an instrument that sounds as written and on one that sounds a
tone lower. For each transposition music21 moves all the part's pitches and
signatures by the same interval; compared are the signatures in order, and the
lowest and highest note with their spelling, written and sounding. Prints JSON:
{"scores", "parts", "compared", "differences": [...]}.
"""

import json
import subprocess
import sys
import warnings
import xml.etree.ElementTree as ET

import files
from intervals import between, moved
from music21 import chord, harmony, key, note, stream
from survey_notes import Importer, partwise

# What each sounds above what it reads: letters and semitones.
INSTRUMENTS = {"alto recorder": (0, 0), "clarinet in B flat": (-1, -2)}


def name(one):
    return one.nameWithOctave.replace("-", "b")


def read(path):
    """(part's id, its sounding pitches, its sounding signatures by bar)"""
    importer = Importer()
    importer.read = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        importer.xmlRootToScore(partwise(ET.fromstring(files.read_bytes(path))), importer.stream)
        for _, part in importer.read:
            part.toSoundingPitch(inPlace=True)
    return [(name, *content(part)) for name, part in importer.read]


def content(part):
    pitches, signatures = {}, []
    for measure in part.getElementsByClass(stream.Measure):
        own = [k for k in measure.recurse().getElementsByClass(key.KeySignature) if k.offset == 0]
        signatures.append(own[0].sharps if own else (signatures[-1] if signatures else 0))
    for one in part.recurse().notes:
        if isinstance(one, harmony.Harmony) or one.style.noteSize == "cue":
            continue
        for member in one.notes if isinstance(one, chord.ChordBase) else [one]:
            if isinstance(member, note.Note):
                pitches[member.pitch.nameWithOctave] = member.pitch
    return list(pitches.values()), signatures


def runs(values):
    return [v for at, v in enumerate(values) if at == 0 or values[at - 1] != v]


def limits(pitches):
    """Of notes that sound alike any spelling may be told."""
    low, high = min(p.ps for p in pitches), max(p.ps for p in pitches)
    return [{name(p) for p in pitches if p.ps == end} for end in (low, high)]


def compare_key(told, pitches, signatures, transposition):
    by = told["transposition"]
    # The player reads the transposed part as much higher as the instrument sounds lower.
    up = between(by["steps"], by["semitones"])
    reads = between(by["steps"] - transposition[0], by["semitones"] - transposition[1])
    wrong = []
    wanted = runs([key.KeySignature(s).transpose(reads).sharps for s in signatures])
    if [s["fifths"] for s in told["signatures"]] != wanted:
        wrong.append("signatures %s, music21 %s" % ([s["fifths"] for s in told["signatures"]], wanted))
    for what, way in (("written", reads), ("sounding", up)):
        ends = limits([moved(p, way) for p in pitches])
        ours = [told[what][end] for end in ("lowest", "highest")]
        ours = [one["pitch"] if isinstance(one, dict) else one for one in ours]
        for our, their in zip(ours, ends):
            if our not in their:
                wrong.append("%s %s, music21 %s" % (what, our, " or ".join(sorted(their))))
    return wrong


def compare(program, path, semitones):
    """(number of parts, number of keys compared, what differs)"""
    asked = [option for instrument in INSTRUMENTS for option in ("--instrument", instrument)]
    run = subprocess.run([program, "keys", path, "--sounding", "--format", "json"] + asked, capture_output=True, text=True)
    if run.returncode:
        return 0, 0, [run.stderr.strip()]
    parts, compared, wrong = 0, 0, []
    ours = json.loads(run.stdout)["parts"]
    for (key_of, pitches, signatures), told in zip(read(path), ours, strict=True):
        if not pitches:
            continue
        parts += 1
        for on in told["instruments"]:
            for one in on["transpositions"]:
                if one["transposition"]["semitones"] not in semitones:
                    continue
                compared += 1
                for fault in compare_key(one, pitches, signatures, INSTRUMENTS[on["instrument"]]):
                    wrong.append("%s, part %s, %s, %s: %s" % (
                        path, key_of, on["instrument"], one["transposition"]["name"], fault))
    return parts, compared, wrong


def main(program, cases):
    with open(cases, encoding="utf-8") as handle:
        cases = json.load(handle)
    total = {"scores": 0, "parts": 0, "compared": 0, "differences": []}
    for path in cases["scores"]:
        parts, compared, wrong = compare(program, path, set(cases["semitones"]))
        total["scores"] += 1
        total["parts"] += parts
        total["compared"] += compared
        total["differences"] += wrong
    print(json.dumps(total))


if __name__ == "__main__":
    main(*sys.argv[1:])
