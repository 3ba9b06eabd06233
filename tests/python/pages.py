"""A PDF as a reader finds it: the size of its pages, then its text.

    python pages.py FILE

Fails when a font is not embedded, or when pages differ in size.
"""

import sys

from pypdf import PdfReader


def fonts(page):
    """Every font of a page, with the pages drawn into it."""
    pending = [page.get("/Resources", {})]
    while pending:
        resources = pending.pop().get_object()
        yield from (font.get_object() for font in resources.get("/Font", {}).values())
        for drawn in resources.get("/XObject", {}).values():
            pending.append(drawn.get_object().get("/Resources", {}))


def is_embedded(font):
    descendants = font.get("/DescendantFonts", [])
    descriptors = [own.get_object().get("/FontDescriptor") for own in [font, *descendants]]
    files = ("/FontFile", "/FontFile2", "/FontFile3")
    return any(d is not None and any(f in d.get_object() for f in files) for d in descriptors)


def main(file):
    reader = PdfReader(file)
    sizes = {(float(page.mediabox.width), float(page.mediabox.height)) for page in reader.pages}
    assert len(sizes) == 1, sizes
    found = [font for page in reader.pages for font in fonts(page)]
    assert found, "no page has a font"
    loose = [str(font.get("/BaseFont")) for font in found if not is_embedded(font)]
    assert not loose, f"not embedded: {loose}"
    width, height = sizes.pop()
    print(f"{int(width * 100) / 100} {int(height * 100) / 100}")
    for page in reader.pages:
        print(page.extract_text())


if __name__ == "__main__":
    main(sys.argv[1])
