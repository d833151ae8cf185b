"""The part of QTI 3.0 that the package uses, as a small schema: attributes, and content models as regular expressions.

After the example items of 1EdTech (repository 1EdTech/qti-examples, QTI 3.0): namespaces, element and attribute names,
and the manifest's resource types. The XSDs themselves are not on any registry.
"""

import re
from xml.etree.ElementTree import Element, fromstring

QTI = "http://www.imsglobal.org/xsd/imsqtiasi_v3p0"
PACKAGE = "http://www.imsglobal.org/xsd/qti/qtiv3p0/imscp_v1p1"
XSI, XML = "http://www.w3.org/2001/XMLSchema-instance", "http://www.w3.org/XML/1998/namespace"
NAME = r"[A-Za-z_][A-Za-z0-9_.-]*"
TEXT = None

Rule = tuple[dict[str, str], str | None]
"""Attributes with patterns for their values (one whose name ends in ? may be missing), and a pattern of the children's
names, each followed by a comma; or text."""

ROOT = {f"{{{XSI}}}schemaLocation": rf"{QTI} https://\S+\.xsd", "title": ".+", "identifier": NAME}
ITEM: dict[str, Rule] = {
    "qti-assessment-item": (
        {**ROOT, "label?": ".+", "adaptive": "false", "time-dependent": "false", f"{{{XML}}}lang": "en"},
        "qti-response-declaration,qti-outcome-declaration,qti-item-body,qti-response-processing,",
    ),
    "qti-response-declaration": (
        {"identifier": "RESPONSE", "cardinality": "single", "base-type": "identifier"}, "qti-correct-response,",
    ),
    "qti-correct-response": ({}, "qti-value,"),
    "qti-value": ({}, TEXT),
    "qti-outcome-declaration": (
        {"identifier": "SCORE", "cardinality": "single", "base-type": "float"}, "qti-default-value,",
    ),
    "qti-default-value": ({}, "qti-value,"),
    "qti-item-body": ({}, "(p,)?qti-choice-interaction,"),
    "p": ({}, TEXT),
    "qti-choice-interaction": (
        {"response-identifier": "RESPONSE", "shuffle": "false", "max-choices": "1", "min-choices": "1"},
        "qti-prompt,(qti-simple-choice,){3,4}",
    ),
    "qti-prompt": ({}, TEXT),
    "qti-simple-choice": ({"identifier": "[A-D]"}, TEXT),
    "qti-response-processing": ({"template": r"https://\S+/rptemplates/match_correct\.xml"}, ""),
}  # fmt: skip
TEST: dict[str, Rule] = {
    "qti-assessment-test": (ROOT, "qti-test-part,"),
    "qti-test-part": (
        {"identifier": NAME, "navigation-mode": "nonlinear|linear", "submission-mode": "simultaneous|individual"},
        "(qti-assessment-section,)+",
    ),
    "qti-assessment-section": ({"identifier": NAME, "title": ".+", "visible": "true"}, "(qti-assessment-item-ref,)+"),
    "qti-assessment-item-ref": ({"identifier": NAME, "href": r"items/\S+\.xml"}, ""),
}
MANIFEST: dict[str, Rule] = {
    "manifest": ({"identifier": NAME}, "metadata,organizations,resources,"),
    "metadata": ({}, "schema,schemaversion,"),
    "schema": ({}, TEXT),
    "schemaversion": ({}, TEXT),
    "organizations": ({}, ""),
    "resources": ({}, "(resource,)+"),
    "resource": (
        {"identifier": NAME, "type": "imsqti_(item|test)_xmlv3p0", "href": r"\S+\.xml"},
        "file,(dependency,)*",
    ),
    "file": ({"href": r"\S+\.xml"}, ""),
    "dependency": ({"identifierref": NAME}, ""),
}


def conforming(data: bytes, rules: dict[str, Rule], namespace: str) -> Element:
    """The root of a document that keeps to the rules; an assertion says where it does not."""
    root = fromstring(data)
    assert root.tag == f"{{{namespace}}}{next(iter(rules))}"
    for element in root.iter():
        name = element.tag.removeprefix(f"{{{namespace}}}")
        assert name in rules, f"{element.tag} is not in the subset"
        attributes, content = rules[name]
        wanted = {key.removesuffix("?"): pattern for key, pattern in attributes.items()}
        assert set(element.attrib) <= set(wanted), f"{name}: {set(element.attrib) - set(wanted)}"
        for key, pattern in attributes.items():
            value = element.get(key.removesuffix("?"))
            assert (value is None and key.endswith("?")) or re.fullmatch(pattern, value or ""), f"{name} {key}={value}"
        children = "".join(f"{child.tag.removeprefix(f'{{{namespace}}}')}," for child in element)
        if content is None:
            assert not children and (element.text or "").strip(), f"{name} has no text"
        else:
            assert re.fullmatch(content, children), f"{name} holds {children}"
            assert not (element.text or "").strip(), f"{name} holds text"
    return root
