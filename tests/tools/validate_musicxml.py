#!/usr/bin/env python3
"""Holds scores against the published schema of MusicXML 4.0, for tests/line_musicxml.rs.

    validate_musicxml.py SCHEMA.xsd FILE...

The validator is libxml2's, by lxml (BSD licence, PyPI). Prints what is wrong and ends with code 1; with
code 3 where lxml is not installed.
"""
import sys

try:
    from lxml import etree
except ImportError:
    print("lxml is not installed (pip install lxml)", file=sys.stderr)
    sys.exit(3)

schema = etree.XMLSchema(etree.parse(sys.argv[1]))
wrong = 0
for path in sys.argv[2:]:
    parser = etree.XMLParser(load_dtd=False, no_network=True, resolve_entities=False)
    if not schema.validate(etree.parse(path, parser)):
        wrong += 1
        for error in list(schema.error_log)[:3]:
            print(f"{path}, line {error.line}: {error.message}")
print(f"{len(sys.argv) - 2 - wrong} of {len(sys.argv) - 2} files are valid")
sys.exit(1 if wrong else 0)
