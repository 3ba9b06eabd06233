#!/usr/bin/env python3
"""validate.py FILE...: checks scores against the MusicXML 4.0 schema.

Prints one line per file, `FILE: valid` or the first error with its line, and
exits 1 if any file is invalid. The schema is the one that the package
`musicxml` ships; nothing is fetched.
"""

import importlib.util
import os
import sys

from lxml import etree

import files

# The two schemas that the MusicXML schema imports are not in the package (its
# xml.xsd is a list of simple types, not the xml: attributes), so here is the
# little of them that MusicXML refers to.
STAND_INS = {
    "xml.xsd": """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
        targetNamespace="http://www.w3.org/XML/1998/namespace">
      <xs:attribute name="lang">
        <xs:simpleType><xs:union memberTypes="xs:language">
          <xs:simpleType><xs:restriction base="xs:string"><xs:enumeration value=""/></xs:restriction></xs:simpleType>
        </xs:union></xs:simpleType>
      </xs:attribute>
      <xs:attribute name="space">
        <xs:simpleType><xs:restriction base="xs:NCName">
          <xs:enumeration value="default"/><xs:enumeration value="preserve"/>
        </xs:restriction></xs:simpleType>
      </xs:attribute>
    </xs:schema>""",
    "xlink.xsd": """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
        targetNamespace="http://www.w3.org/1999/xlink">
      <xs:attribute name="href" type="xs:anyURI"/>
      <xs:attribute name="type">
        <xs:simpleType><xs:restriction base="xs:string"><xs:enumeration value="simple"/></xs:restriction></xs:simpleType>
      </xs:attribute>
      <xs:attribute name="role" type="xs:token"/>
      <xs:attribute name="title" type="xs:token"/>
      <xs:attribute name="show">
        <xs:simpleType><xs:restriction base="xs:token">
          <xs:enumeration value="new"/><xs:enumeration value="replace"/><xs:enumeration value="embed"/>
          <xs:enumeration value="other"/><xs:enumeration value="none"/>
        </xs:restriction></xs:simpleType>
      </xs:attribute>
      <xs:attribute name="actuate">
        <xs:simpleType><xs:restriction base="xs:token">
          <xs:enumeration value="onRequest"/><xs:enumeration value="onLoad"/>
          <xs:enumeration value="other"/><xs:enumeration value="none"/>
        </xs:restriction></xs:simpleType>
      </xs:attribute>
    </xs:schema>""",
}


class Local(etree.Resolver):
    """Answers the schema's imports from this file, anything else with nothing."""

    def resolve(self, url, public_id, context):
        name = (url or "").rsplit("/", 1)[-1]
        if name in STAND_INS:
            return self.resolve_string(STAND_INS[name], context)
        if name == "musicxml_4_0.xsd":
            return None
        return self.resolve_empty(context)


def schema():
    spec = importlib.util.find_spec("musicxml")
    if spec is None:
        sys.exit("validate.py: the package musicxml is missing: pip install -r requirements.txt")
    folder = list(spec.submodule_search_locations)[0]
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(Local())
    path = os.path.join(folder, "generate_classes", "musicxml_4_0.xsd")
    return etree.XMLSchema(etree.parse(path, parser))


def fault(rules, path):
    """What is wrong with a file, or None."""
    # A DOCTYPE names a DTD on the network: it is neither loaded nor looked at.
    parser = etree.XMLParser(no_network=True, load_dtd=False, dtd_validation=False, resolve_entities=False)
    try:
        tree = etree.fromstring(files.read_bytes(path), parser).getroottree()
        if rules.validate(tree):
            return None
        first = rules.error_log[0]
        return "line %d: %s" % (first.line, first.message)
    except etree.XMLSyntaxError as error:
        return "not well formed: %s" % error
    except (OSError, KeyError, StopIteration, ValueError) as error:
        return "cannot be read: %s" % (error or type(error).__name__)


def main():
    if len(sys.argv) < 2:
        sys.exit("usage: validate.py FILE...")
    rules = schema()
    faults = [fault(rules, path) for path in sys.argv[1:]]
    for path, problem in zip(sys.argv[1:], faults):
        print("%s: %s" % (path, problem or "valid"))
    sys.exit(1 if any(faults) else 0)


if __name__ == "__main__":
    main()
