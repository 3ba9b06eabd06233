"""Where everything stands on the pages of a PDF, in millimetres, as JSON.

    python layout.py FILE...

Of each file a list of pages: `size`, `texts` (what is said and its box: left, top, right, bottom, by the outlines of
its letters), `drawn` (the box of all that is drawn) and `staves` (their heights).
"""

import io
import json
import re
import sys

from fontTools.pens.boundsPen import BoundsPen
from fontTools.ttLib import TTFont
from pypdf import PdfReader
from pypdf.generic import ContentStream

MM = 25.4 / 72
PLAIN = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
# Letters that stand nearer than this, in parts of their size, are of one text.
WITHIN_TEXT = 0.4
# In millimetres: a line over a bar is no shorter, but a ledger line is.
LEDGER = 5.0
# A staff line goes over at least so much of the page.
STAFF_LINE = 0.1


def product(inner, outer):
    a, b, c, d, e, f = inner
    g, h, i, j, k, l = outer
    return (a * g + b * i, a * h + b * j, c * g + d * i, c * h + d * j, e * g + f * i + k, e * h + f * j + l)


def at(matrix, x, y):
    a, b, c, d, e, f = matrix
    return a * x + c * y + e, b * x + d * y + f


def around(points):
    xs, ys = zip(*points)
    return [min(xs), min(ys), max(xs), max(ys)]


def union(one, other):
    return [min(one[0], other[0]), min(one[1], other[1]), max(one[2], other[2]), max(one[3], other[3])]


class Font:
    """The outlines and letters of a font in a PDF, by its glyphs."""

    def __init__(self, font):
        own = font["/DescendantFonts"][0].get_object()
        file = own["/FontDescriptor"].get_object()
        file = file.get("/FontFile2") or file.get("/FontFile3")
        self.font = TTFont(io.BytesIO(file.get_object().get_data()))
        self.order = self.font.getGlyphOrder()
        self.glyphs = self.font.getGlyphSet()
        self.em = self.font["head"].unitsPerEm
        said = font["/ToUnicode"].get_object().get_data().decode("latin-1")
        letters = re.findall(r"<([0-9A-Fa-f]{4})>\s*<([0-9A-Fa-f]+)>\s*$", said, re.MULTILINE)
        self.letters = {int(glyph, 16): bytes.fromhex(text).decode("utf-16-be") for glyph, text in letters}

    def glyph(self, number):
        glyph = self.glyphs[self.order[number]]
        pen = BoundsPen(self.glyphs)
        glyph.draw(pen)
        bounds = [n / self.em for n in pen.bounds] if pen.bounds else None
        return bounds, glyph.width / self.em, self.letters.get(number, "")


class Page:
    def __init__(self, page, reader):
        self.height = float(page.mediabox.height)
        self.width = float(page.mediabox.width)
        resources = page["/Resources"].get_object()
        self.fonts = {name: Font(font.get_object()) for name, font in resources["/Font"].items()}
        self.runs = []
        self.points = []
        self.lines = []
        self.read(ContentStream(page["/Contents"].get_object(), reader))

    def place(self, matrix, x, y):
        x, y = at(matrix, float(x), float(y))
        return x * MM, (self.height - y) * MM

    def read(self, stream):
        matrix, stack, path, font, size, text = PLAIN, [], [], None, 1.0, PLAIN
        for operands, operator in stream.operations:
            match operator:
                case b"q":
                    stack.append(matrix)
                case b"Q":
                    matrix = stack.pop()
                case b"cm":
                    matrix = product([float(n) for n in operands], matrix)
                case b"m" | b"l":
                    path.append(self.place(matrix, *operands))
                case b"c":
                    # A curve may stay well within its handles; where it ends is enough.
                    path.append(self.place(matrix, *operands[4:]))
                case b"S" | b"s" | b"f" | b"F" | b"f*" | b"B" | b"B*" | b"b" | b"b*":
                    self.points += path
                    if operator == b"S" and len(path) == 2 and abs(path[0][1] - path[1][1]) < 0.01:
                        self.lines.append(path)
                    path = []
                case b"n":
                    path = []
                case b"Tf":
                    font, size = self.fonts[operands[0]], float(operands[1])
                case b"Tm":
                    text = [float(n) for n in operands]
                case b"Tj":
                    text = self.show(operands[0], font, size, text, matrix)
                case b"TJ":
                    for one in operands[0]:
                        if isinstance(one, (int, float)):
                            text = product((1, 0, 0, 1, -float(one) / 1000 * size, 0), text)
                        else:
                            text = self.show(one, font, size, text, matrix)

    def show(self, said, font, size, text, matrix):
        data = said if isinstance(said, bytes) else said.original_bytes
        for place in range(0, len(data), 2):
            bounds, width, letter = font.glyph(int.from_bytes(data[place : place + 2], "big"))
            whole = product(product((size, 0, 0, size, 0, 0), text), matrix)
            start, end = self.place(whole, 0, 0), self.place(whole, width, 0)
            box = None
            if bounds is not None:
                left, bottom, right, top = bounds
                box = around([self.place(whole, x, y) for x in (left, right) for y in (bottom, top)])
            self.runs.append((letter, box, start, end, abs(whole[3]) * MM))
            text = product((1, 0, 0, 1, width * size, 0), text)
        return text

    def texts(self):
        out = []
        last = None
        for letter, box, start, end, size in self.runs:
            goes_on = last is not None and abs(last[1] - start[1]) < 0.05 and abs(start[0] - last[0]) < WITHIN_TEXT * size
            last = end
            if goes_on:
                said, all_of = out[-1]
                out[-1] = (said + letter, box if all_of is None else all_of if box is None else union(all_of, box))
            else:
                out.append((letter, box))
        return [{"said": said.strip(), "box": box} for said, box in out if box is not None and said.strip()]

    def staves(self):
        """Five lines, one below the other."""
        wide = []
        lengths = sorted((y, abs(to - x)) for (x, y), (to, _) in self.lines)
        for y, length in [line for line in lengths if line[1] > LEDGER]:
            if wide and y - wide[-1][0] < 0.05:
                wide[-1][1] += length
            else:
                wide.append([y, length])
        heights = [y for y, length in wide if length > STAFF_LINE * self.width * MM]
        return [[heights[n], heights[n + 4]] for n in range(0, len(heights) - 4, 5)]

    def told(self):
        texts = self.texts()
        boxes = [text["box"] for text in texts] + [around(self.points)]
        drawn = boxes[0]
        for box in boxes:
            drawn = union(drawn, box)
        return {"size": [self.width * MM, self.height * MM], "texts": texts, "drawn": drawn, "staves": self.staves()}


def main(files):
    told = []
    for file in files:
        reader = PdfReader(file)
        told.append([Page(page, reader).told() for page in reader.pages])
    json.dump(told, sys.stdout)


if __name__ == "__main__":
    main(sys.argv[1:])
