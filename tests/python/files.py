"""Opening and writing MusicXML files; shared by the test tools.

Only containers, encodings and the prolog are dealt with here: what the notes
and marks mean is worked out apart in each tool, so that one tool can check
another.
"""

import io
import re
import zipfile
import xml.etree.ElementTree as ET

XLINK = "http://www.w3.org/1999/xlink"
ET.register_namespace("xlink", XLINK)


def read_bytes(path):
    """The score's bytes; from an .mxl, those of the root file that its container names."""
    with open(path, "rb") as handle:
        data = handle.read()
    if not data.startswith(b"PK"):
        return data
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        container = ET.fromstring(archive.read("META-INF/container.xml"))
        # The first root file is the score; later ones are other renderings of it.
        root = next(el for el in container.iter() if local(el.tag) == "rootfile")
        return archive.read(root.get("full-path"))


def local(tag):
    return tag.rsplit("}", 1)[-1] if isinstance(tag, str) else None


def decode(data):
    """Bytes of an XML file to text, without a BOM and with plain line ends."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = data.decode("utf-16")
    else:
        declared = re.match(rb"(?:\xef\xbb\xbf)?\s*<\?xml[^>]*?encoding=[\"']([^\"']+)", data)
        encoding = declared.group(1).decode("ascii") if declared else "utf-8"
        text = data.decode("utf-8-sig" if encoding.lower() in ("utf-8", "utf8") else encoding)
    return text.lstrip("\ufeff").replace("\r\n", "\n").replace("\r", "\n")


def parse(text):
    """Text to a tree that still holds comments and processing instructions."""
    builder = ET.TreeBuilder(insert_comments=True, insert_pis=True)
    return ET.fromstring(text, parser=ET.XMLParser(target=builder))


def load(path):
    """(prolog, root): the prolog is all before the root element, as it stands."""
    text = decode(read_bytes(path))
    start = re.search(r"<(?:\w+:)?(?:score-partwise|score-timewise|opus)\b", text)
    return (text[: start.start()] if start else ""), parse(text)


def save(path, prolog, root):
    """Writes UTF-8 with the given prolog; zipped if the name ends in .mxl."""
    declaration = '<?xml version="1.0" encoding="UTF-8"?>'
    found = re.match(r"\s*<\?xml.*?\?>", prolog, re.S)
    if found:
        alone = re.search(r"standalone=[\"'](\w+)[\"']", found.group(0))
        if alone:
            declaration = declaration[:-2] + ' standalone="%s"?>' % alone.group(1)
        prolog = prolog[found.end():]
    else:
        prolog = "\n" + prolog
    data = (declaration + prolog + ET.tostring(root, encoding="unicode").rstrip() + "\n").encode("utf-8")
    if str(path).endswith(".mxl"):
        container = (
            '<?xml version="1.0" encoding="UTF-8"?>\n<container><rootfiles>'
            '<rootfile full-path="score.musicxml" media-type="application/vnd.recordare.musicxml+xml"/>'
            "</rootfiles></container>\n"
        )
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("META-INF/container.xml", container)
            archive.writestr("score.musicxml", data)
    else:
        with open(path, "wb") as handle:
            handle.write(data)


def elements(parent):
    """The child elements, without comments and processing instructions."""
    return [child for child in parent if isinstance(child.tag, str)]


def text_of(parent, name, default=None):
    found = parent.find(name)
    return default if found is None or found.text is None else found.text.strip()
