"""Literals that a service, or a query, might not keep as they are."""

from hypothesis import strategies as st
from rdflib import Literal, URIRef
from rdflib.namespace import XSD

from trayconcord.kb.signs import UNUSABLE

TEXTS = (
    st.text(st.characters(exclude_categories=["Cs"]), max_size=12) | st.text("\\uU0022'\"\n\r", max_size=12)
).filter(lambda text: not UNUSABLE.search(text))
LITERALS = st.one_of(
    st.builds(Literal, TEXTS),
    st.builds(Literal, TEXTS, lang=st.sampled_from(["de", "de-AT", "EN"])),
    st.builds(Literal, TEXTS, datatype=st.just(URIRef("urn:type"))),
    st.builds(Literal, st.from_regex(r"[+-]?[0-9]{1,9}(\.[0-9]{1,9})?", fullmatch=True), datatype=st.just(XSD.decimal)),
    st.builds(Literal, st.integers(), datatype=st.just(XSD.integer)),
    st.builds(Literal, st.sampled_from(["0", "1", "true", "false"]), datatype=st.just(XSD.boolean)),
    st.builds(Literal, st.sampled_from(["2026-05-12", "2026-05-12Z", "soon"]), datatype=st.just(XSD.date)),
)
