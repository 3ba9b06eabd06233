"""What an editor does with repeats, double bars and signatures."""

from building import element, insert, put_in_note
from deed_places import pitch_of
from files import text_of
from moving import GLYPHS

OTHER_TIMES = {("4", "4"): ("2", "2"), ("2", "2"): ("4", "4"), ("3", "4"): ("6", "8"), ("6", "8"): ("3", "4"),
               ("2", "4"): ("4", "8"), ("3", "2"): ("6", "4"), ("12", "8"): ("6", "4")}


class SignDeeds:
    # -- barlines

    def barlines_about(self, at):
        """All barlines on the line after bar `at`, in all parts."""
        found = []
        for part in self.all:
            if at + 1 >= len(part.bars) and part.bars[at].el.find("barline") is None:
                continue
            here = [b for b in part.bars[at].el.findall("barline") if b.get("location", "right") == "right"]
            after = part.bars[at + 1].el.findall("barline") if at + 1 < len(part.bars) else []
            found += [(part, part.bars[at], b) for b in here]
            found += [(part, part.bars[at + 1], b) for b in after if b.get("location") == "left"]
        return found

    def structures(self):
        if not self.same_bars():
            return False
        total = len(self.all[0].bars)
        at = self.rng.randint(1, total - 1)
        there = self.barlines_about(at)
        if len({bar.index for _, bar, _ in there}) > 1 or len(there) not in (0, len(self.all)):
            return False
        if any(child.tag not in ("bar-style", "repeat") for _, _, b in there for child in b):
            return False
        if len({(text_of(b, "bar-style"), b.find("repeat") is None) for _, _, b in there}) > 1:
            return False
        repeat = bool(there) and there[0][2].find("repeat") is not None
        # Of other lines it is not sure that they mean something, least of all at the end.
        if there and not repeat and (text_of(there[0][2], "bar-style") != "light-light" or at == total - 1):
            return False
        if not there and at == total - 1 or not self.in_all(at, at):
            return False
        new = element("repeat", direction="backward")
        if there:
            altered = repeat and at < total - 1 and there[0][2].get("location", "right") == "right" \
                and self.rng.random() < 0.4
            for part, bar, line in there:
                if altered:
                    line.remove(line.find("repeat"))
                    for style in line.findall("bar-style"):
                        style.text = "light-light"
                    if line.find("bar-style") is None:
                        line.insert(0, element("bar-style", "light-light"))
                else:
                    bar.el.remove(line)
                left = line.get("location") == "left"
                self.tell(part, "structure", "altered" if altered else "omitted", "barline", bar,
                          0 if left else bar.length)
            return True
        style = self.rng.choice(["light-light", "light-heavy"])
        for part in self.all:
            bar = part.bars[at]
            children = [element("bar-style", style)] + ([element(new.tag, **new.attrib)] if style == "light-heavy" else [])
            insert(bar.el, len(bar.el), element("barline", children=children, location="right"))
            self.tell(part, "structure", "added", style, bar, bar.length)
        return True

    # -- signatures

    def signatures(self):
        # One is enough: a second change would be read against the first.
        if any(f["category"] == "signature" for f in self.findings):
            return False
        return self.other_time() if self.rng.random() < 0.5 else self.other_key()

    def other_time(self):
        found = []
        for part in self.all:
            times = part.bars[0].el.findall("attributes/time")
            if len(times) != 1 or len(times[0].findall("beats")) != 1 or times[0].find("senza-misura") is not None:
                return False
            found.append((part, times[0]))
        old = {(text_of(t, "beats"), text_of(t, "beat-type")) for _, t in found}
        if len(old) != 1 or old & set(OTHER_TIMES) != old or not self.in_all(0, 0):
            return False
        beats, unit = OTHER_TIMES[old.pop()]
        for part, time in found:
            time.attrib.pop("symbol", None)
            time.find("beats").text, time.find("beat-type").text = beats, unit
            self.tell(part, "signature", "altered", "%s/%s" % (beats, unit), part.bars[0], 0)
        return True

    def other_key(self):
        """A key of two or three accidentals more or less; the notes stay, with signs where they want them."""
        found = []
        for part in self.all:
            keys = list(part.el.iter("key"))
            own = part.bars[0].el.findall("attributes/key")
            if len(keys) != 1 or len(own) != 1 or own[0].find("fifths") is None or own[0].get("number"):
                return False
            found.append((part, own[0]))
        by = self.rng.choice([-3, -2, 2, 3])
        if any(abs(int(text_of(k, "fifths")) + by) > 4 for _, k in found) or not self.in_all(0, 0):
            return False
        for part, key in found:
            key.find("fifths").text = str(int(text_of(key, "fifths")) + by)
            for tag in ("cancel", "mode"):
                for child in key.findall(tag):
                    key.remove(child)
            for note in part.el.iter("note"):
                pitch = pitch_of(note)
                if pitch and note.find("accidental") is None and pitch[1] in GLYPHS and self.rng.random() < 0.5:
                    put_in_note(note, element("accidental", GLYPHS[pitch[1]]))
            self.tell(part, "signature", "altered", "key", part.bars[0], 0)
        return True
