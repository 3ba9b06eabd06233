"""Making MusicXML elements and putting them where they belong."""

import xml.etree.ElementTree as ET

NOTE_ORDER = [
    "grace", "cue", "chord", "pitch", "unpitched", "rest", "duration", "tie", "instrument", "footnote",
    "level", "voice", "type", "dot", "accidental", "time-modification", "stem", "notehead",
    "notehead-text", "staff", "beam", "notations", "lyric", "play", "listen",
]


def element(name, text=None, children=(), **attributes):
    made = ET.Element(name, {key.replace("_", "-"): value for key, value in attributes.items() if value is not None})
    made.text = text
    made.extend(children)
    return made


def insert(parent, place, child):
    """Puts a child in so that it stands on a line of its own where its siblings do."""
    siblings = list(parent)
    lead = parent.text if siblings and not (parent.text or "").strip() else None
    indent(child, lead)
    if place < len(siblings):
        child.tail = siblings[place - 1].tail if place else parent.text
        parent.insert(place, child)
    elif siblings:
        child.tail = siblings[-1].tail
        siblings[-1].tail = lead
        parent.append(child)
    else:
        parent.append(child)


def indent(el, lead):
    """Lays out a new element whose own line begins with `lead`."""
    if not lead or "\n" not in lead or not len(el):
        return
    deeper = lead + ("\t" if lead.endswith("\t") else "  ")
    el.text = deeper
    for child in el:
        indent(child, deeper)
        child.tail = deeper
    el[-1].tail = lead


def put_in_note(note, child):
    rank = NOTE_ORDER.index(child.tag)
    place = len(note)
    for at, sibling in enumerate(note):
        if sibling.tag in NOTE_ORDER and NOTE_ORDER.index(sibling.tag) > rank:
            place = at
            break
    insert(note, place, child)
