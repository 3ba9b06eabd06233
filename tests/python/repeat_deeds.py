"""A strain between repeat signs, which the editor writes twice instead."""

import copy
from fractions import Fraction

from building import element, insert


def repeat_signs(places, rng):
    """Puts repeat signs about some bars of a score, where nothing reaches over them; says whether it could."""
    parts = places.all
    if not places.same_bars() or len(parts[0].bars) < 12:
        return False
    total = len(parts[0].bars)
    for _ in range(40):
        first, count = rng.randint(1, total - 8), rng.randint(2, 6)
        last = first + count - 1
        if places.may_edit(first, last, parts) and not any(
                bar.el.find("barline") is not None for part in parts for bar in part.bars[first - 1: last + 2]):
            break
    else:
        return False
    for part in parts:
        begin, end = part.bars[first].el, part.bars[last].el
        insert(begin, 0, element("barline", children=[element("repeat", direction="forward")], location="left"))
        insert(end, len(end), element("barline", children=[
            element("bar-style", "light-heavy"), element("repeat", direction="backward")], location="right"))
    return True


class RepeatDeeds:
    def strain(self):
        """The bars between plain repeat signs in the middle of the piece, if there are any."""
        opened = None
        for bar in self.all[0].bars[1:]:
            for line in bar.el.findall("barline"):
                sign = line.find("repeat")
                if sign is None or line.find("ending") is not None or sign.get("times"):
                    return None
                if sign.get("direction") == "forward":
                    opened = bar.index
                elif opened is not None:
                    return opened, bar.index
        return None

    def written_out_repeat(self):
        found = self.strain() if self.same_bars() else None
        if found is None:
            return False
        first, last = found
        if last + 2 >= len(self.all[0].bars) or last - first > 12:
            return False
        for part in self.all:
            bars = part.bars[first: last + 1]
            lines = [line for bar in bars for line in bar.el.findall("barline")]
            if len(lines) != 2 or any(line.find("repeat") is None for line in lines):
                return False
            if first in self.shut[part.id] or last + 1 in self.shut[part.id]:
                return False
            if any(bar.el.find("attributes") is not None for bar in bars + part.bars[last + 1: last + 2]):
                return False
            notes = [bar["notes"] for bar in self.before[part.id]]
            # Where nothing is heard, or the same goes on, nobody can tell how often.
            if sum(len(n) for n in notes[first: last + 1]) < 4 or notes[first] in (notes[last + 1], []) or notes[
                    last] in (notes[first - 1], []):
                return False
        if not self.in_all(first, last):
            return False
        self.renumber(last + 1, last - first + 1)
        for part in self.all:
            bars = part.bars[first: last + 1]
            for bar in bars:
                for line in bar.el.findall("barline"):
                    bar.el.remove(line)
            place = list(part.el).index(bars[-1].el) + 1
            copies = [copy.deepcopy(bar.el) for bar in bars]
            for at, made in enumerate(copies):
                part.el.insert(place + at, made)
                if bars[at].number.isdigit():
                    made.set("number", str(int(bars[at].number) + last - first + 1))
                self.closed.add(made)
            self.tell(part, "structure", "omitted", "forward repeat", bars[0], Fraction(0))
            self.tell(part, "structure", "omitted", "backward repeat", bars[-1], bars[-1].length)
            struck = [c for c in part.chords if first <= c.bar.index <= last and not c.rest and not c.grace]
            ends = min(struck, key=lambda c: c.time), max(struck, key=lambda c: c.time)
            begin, end = ((copies[c.bar.index - first], c.onset) for c in ends)
            self.passages.append({"part": part.id, "kind": "written-out-repeat", "from": begin, "to": end})
        return True


