"""What an editor does to the notes, and with marks that are there already.

Each deed works on the moved score in place and keeps away from the others by at
least a bar, so that what it did can be told without doubt. Places that would
make the truth doubtful (ties or slurs over the border of an edited bar, tuplets,
signs that other notes rely on) are left alone.
"""

import content
from bar_deeds import BarDeeds
from deed_places import Places
from mark_deeds import MarkDeeds
from note_deeds import NoteDeeds
from ornament_deeds import OrnamentDeeds
from parts import WORDY, Part
from repeat_deeds import RepeatDeeds
from sign_deeds import SignDeeds


class Deeds(Places, NoteDeeds, OrnamentDeeds, MarkDeeds, SignDeeds, RepeatDeeds, BarDeeds):
    STRUCTURES = ("written-out-repeat", "insertion", "cut", "ending", "rewrite")
    NAMES = STRUCTURES + (
        "realisations", "structures", "signatures", "octaves", "wrong-notes", "spelling", "rhythm", "notes", "ties", "omitted-marks", "altered-marks")
    TRIES = 80

    def __init__(self, root, rng):
        self.root, self.rng = root, rng
        self.all = list(map(Part, root.iter("part")))
        self.parts = [p for p in self.all if any(c.playable and c.head.find("pitch") is not None for c in p.chords)]
        self.places = {}          # measure -> (index, number) in the source
        for part in self.all:
            for bar in part.bars:
                self.places[bar.el] = (bar.index, bar.number)
        self.before = {p["id"]: p["bars"] for p in content.content(root)["parts"]}
        self.taken = {part.id: set() for part in self.all}
        self.marked = {part.id: set() for part in self.all}
        self.own = {}             # marks of each part, as they are wanted
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
            findings.append(told)
        passages = []
        for p in self.passages:
            told = {"part": p["part"], "kind": p["kind"], "octaves": p.get("octaves"), "notes": p.get("notes"),
                    "voice": p.get("voice")}
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
