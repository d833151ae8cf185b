"""Invariants of the shipped vocabulary: complete entries, sound trees, and no term that nobody describes."""

import re
from collections import Counter
from importlib.resources import files
from pathlib import Path

import pytest
import toothnotation
from rdflib import Graph, URIRef, namespace

from trayconcord.kb import namespaces as ns
from trayconcord.kb.namespaces import QUDT, TC
from trayconcord.kb.store import shipped
from trayconcord.kb.turtle import read_turtle
from trayconcord.kb.vocabulary import Vocabulary

SKOS, RDF, RDFS = namespace.SKOS, namespace.RDF, namespace.RDFS

VALUE_KINDS = {"interval", "count", "choice", "set", "yes-no", "order"}

STARTING_PARAMETERS = """
spacer-thickness spacer-sheets wax-sheet-thickness spacer-design spacer-coverage spacer-material spacer-margin tray-fit
impression-thickness relief-thickness relief-areas stop-count stop-sites stop-length stop-width escape-hole-count
escape-hole-diameter escape-hole-spacing escape-hole-sites border-clearance posterior-extension retromolar-pad-coverage
wall-thickness border-thickness handle-count finger-rest-count finger-rest-site handle-site handle-length handle-width
handle-thickness handle-inclination polymer-monomer-ratio light-curing-time pressure-curing wait-before-use usable-for
tray-adhesive-drying flexural-strength block-out procedure disinfectant disinfection-time exposure-limit
primary-stress-bearing-areas secondary-stress-bearing-areas
"""
"""Ids that forms and exports have used from the start: they are public and stay."""

STARTING_AXES = """
arch dentition ridge-condition impression-technique impression-material consistency tray-material fabrication-method
region fit jurisdiction averaging-time
"""


@pytest.fixture(scope="module")
def graph(shipped_store):
    """The vocabulary as triples."""
    result = Graph(bind_namespaces="none")
    for path in sorted(shipped().glob("vocabulary/*.ttl")):
        read_turtle(path.read_bytes(), path.name, result)
    return result


# --- ids -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("parameter", STARTING_PARAMETERS.split())
def test_a_public_parameter_stays(vocabulary, parameter):
    assert parameter in vocabulary.parameters


@pytest.mark.parametrize("axis", STARTING_AXES.split())
def test_a_public_axis_stays(vocabulary, axis):
    assert axis in vocabulary.axes


def test_ids_are_small_letters_and_single_hyphens(vocabulary):
    for table in (
        vocabulary.parameters,
        vocabulary.axes,
        vocabulary.concepts,
        vocabulary.schemes,
        vocabulary.gauges,
        vocabulary.chapters,
        vocabulary.kinds,
        vocabulary.obtained,
    ):
        for identifier in table:
            assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", identifier), identifier


# --- complete entries ------------------------------------------------------------------------------------------------


def test_every_term_has_label_and_definition(vocabulary):
    for table in (
        vocabulary.parameters,
        vocabulary.axes,
        vocabulary.concepts,
        vocabulary.chapters,
        vocabulary.kinds,
        vocabulary.obtained,
        vocabulary.gauges,
    ):
        for term in table.values():
            assert term.label, term.id
            assert term.definition.endswith("."), term.id


def test_every_parameter_has_kind_chapter_and_question(vocabulary):
    for parameter in vocabulary.parameters.values():
        assert parameter.kind in VALUE_KINDS, parameter.id
        assert parameter.chapter in vocabulary.chapters, parameter.id
        assert parameter.question.endswith("?"), parameter.id


def test_every_axis_has_a_scheme_with_concepts_and_a_question(vocabulary):
    for axis in vocabulary.axes.values():
        assert axis.question.endswith("?"), axis.id
        assert len(list(vocabulary.in_scheme(axis.scheme))) >= 2, axis.id


def test_every_quantity_has_a_unit_and_a_plausible_range(vocabulary):
    for parameter in vocabulary.parameters.values():
        if parameter.kind in ("interval", "count"):
            assert parameter.unit in vocabulary.units, parameter.id
            low, high = parameter.plausible
            assert low < high, parameter.id
            assert 0 <= parameter.tolerance < high - low, parameter.id
            assert parameter.scheme is None, parameter.id
            if parameter.none_means is not None:
                assert low <= parameter.none_means <= high, parameter.id
        else:
            assert parameter.unit == "" and parameter.plausible is None, parameter.id
            assert parameter.tolerance == 0 and parameter.none_means is None, parameter.id


def test_counts_are_plain_numbers(vocabulary):
    for parameter in vocabulary.parameters.values():
        if parameter.kind == "count":
            assert parameter.unit == "UNITLESS", parameter.id
            assert parameter.tolerance == 0, parameter.id


def test_every_choice_set_and_order_takes_concepts_from_a_scheme(vocabulary):
    for parameter in vocabulary.parameters.values():
        if parameter.kind in ("choice", "set", "order"):
            assert parameter.scheme in vocabulary.schemes, parameter.id
            assert len(list(vocabulary.in_scheme(parameter.scheme))) >= 2, parameter.id
        elif parameter.kind == "yes-no":
            assert parameter.scheme is None, parameter.id


def test_what_a_value_depends_on_are_axes(vocabulary, graph):
    for parameter in vocabulary.parameters.values():
        named = set(graph.objects(URIRef(ns.PARAMETER + parameter.id), TC.dependsOn))
        assert {URIRef(ns.AXIS + axis) for axis in parameter.depends_on} == named
        assert set(parameter.depends_on) <= set(vocabulary.axes), parameter.id


def test_every_chapter_has_parameters(vocabulary):
    assert {parameter.chapter for parameter in vocabulary.parameters.values()} == set(vocabulary.chapters)


def test_every_scheme_is_used(vocabulary):
    used = {axis.scheme for axis in vocabulary.axes.values()}
    used |= {parameter.scheme for parameter in vocabulary.parameters.values()}
    assert set(vocabulary.schemes) == used - {None}


def test_ranks_make_one_order(vocabulary):
    """With equal ranks the order of pages and ids would hang on chance."""
    for table in (vocabulary.parameters, vocabulary.axes, vocabulary.concepts, vocabulary.chapters, vocabulary.kinds):
        ranks = Counter(term.order for term in table.values())
        assert [rank for rank, count in ranks.items() if count > 1] == []
        assert list(table.values()) == sorted(table.values(), key=lambda term: term.order)


STOPWORDS = {"a", "an", "and", "are", "as", "at", "by", "for", "from", "in", "is", "of", "on", "or", "the"}  # fmt: skip


def words(text):
    """The words that carry meaning, without endings."""
    found = re.findall(r"[a-z]+", text.casefold())
    return {re.sub(r"(ing|es|ed|s)$", "", word) for word in found} - STOPWORDS


def test_definitions_say_more_than_the_label(vocabulary):
    for table in (vocabulary.parameters, vocabulary.axes, vocabulary.concepts, vocabulary.chapters, vocabulary.kinds):
        for term in table.values():
            assert len(words(term.definition) - words(term.label)) >= 2, f"{term.id}: {term.definition}"


# --- trees -----------------------------------------------------------------------------------------------------------


def test_every_concept_has_at_most_one_parent(graph):
    parents = Counter(graph.subjects(SKOS.broader, None))
    assert [concept for concept, count in parents.items() if count > 1] == []


def test_no_concept_stands_above_itself(vocabulary):
    for concept in vocabulary.concepts.values():
        chain = [concept.id]
        while vocabulary.concepts[chain[-1]].broader:
            chain.append(vocabulary.concepts[chain[-1]].broader)
            assert chain[-1] not in chain[:-1], chain
        assert vocabulary.above[concept.id] == frozenset(chain)


def test_a_parent_is_a_concept_of_a_shared_scheme(vocabulary):
    for concept in vocabulary.concepts.values():
        assert concept.schemes, concept.id
        assert set(concept.schemes) <= set(vocabulary.schemes), concept.id
        if concept.broader:
            assert set(concept.schemes) & set(vocabulary.concepts[concept.broader].schemes), concept.id


def test_top_concepts_are_those_without_a_parent(vocabulary, graph):
    for concept in vocabulary.concepts.values():
        tops = {ns.local(str(s), ns.SCHEME) for s in graph.objects(URIRef(ns.CONCEPT + concept.id), SKOS.topConceptOf)}
        assert tops == (set() if concept.broader else set(concept.schemes)), concept.id


def test_above_and_below_mirror_each_other(vocabulary):
    for concept, above in vocabulary.above.items():
        for wider in above:
            assert concept in vocabulary.below[wider]
            assert vocabulary.covers(wider, concept)
    assert sum(map(len, vocabulary.above.values())) == sum(map(len, vocabulary.below.values()))


@pytest.mark.parametrize(
    ("wider", "narrower", "covered"),
    [
        ("elastomer", "addition-silicone", True),
        ("silicone", "addition-silicone", True),
        ("addition-silicone", "addition-silicone", True),
        ("addition-silicone", "silicone", False),
        ("hydrocolloid", "irreversible-hydrocolloid", True),
        ("polyether", "addition-silicone", False),
        ("border", "labial-frenum", True),
    ],
)
def test_a_concept_covers_what_lies_below_it(vocabulary, wider, narrower, covered):
    assert vocabulary.covers(wider, narrower) is covered


# --- labels ----------------------------------------------------------------------------------------------------------


def test_labels_are_unique_within_a_scheme(vocabulary):
    for scheme in vocabulary.schemes:
        labels = Counter(
            name.casefold()
            for concept in vocabulary.in_scheme(scheme)
            for name in {concept.label.casefold(), *(alt.casefold() for alt in concept.alt)}
        )
        assert [label for label, count in labels.items() if count > 1] == [], scheme


def test_labels_of_parameters_are_unique(vocabulary):
    labels = Counter(parameter.label.casefold() for parameter in vocabulary.parameters.values())
    assert [label for label, count in labels.items() if count > 1] == []


def test_another_name_is_another_name(vocabulary):
    for table in (vocabulary.parameters, vocabulary.concepts, vocabulary.axes):
        for term in table.values():
            names = [term.label.casefold(), *(alt.casefold() for alt in term.alt)]
            assert len(names) == len(set(names)), term.id


def test_the_label_properties_of_skos_are_disjoint(graph):
    """SKOS Reference, integrity condition S13."""
    kinds = (SKOS.prefLabel, SKOS.altLabel, SKOS.hiddenLabel)
    for subject in set(graph.subjects(SKOS.prefLabel, None)):
        labels = [label for kind in kinds for label in graph.objects(subject, kind)]
        assert len(labels) == len(set(labels)), subject


def test_there_is_one_preferred_label_per_language(graph):
    """SKOS Reference, integrity condition S14."""
    languages = Counter((subject, label.language) for subject, label in graph.subject_objects(SKOS.prefLabel))
    assert [pair for pair, count in languages.items() if count > 1] == []
    assert {language for _, language in languages} == {"en"}


def test_related_concepts_do_not_stand_above_each_other(graph):
    """SKOS Reference, integrity condition S27."""
    for subject, other in graph.subject_objects(SKOS.related):
        assert other not in set(graph.transitive_objects(subject, SKOS.broader))
        assert subject not in set(graph.transitive_objects(other, SKOS.broader))


@pytest.mark.parametrize(
    ("word", "concept"),
    # Common practice, no source: other names under which the trade asks for these materials.
    [
        ("alginate", "irreversible-hydrocolloid"),
        ("Alginate", "irreversible-hydrocolloid"),
        ("agar", "reversible-hydrocolloid"),
        ("PVS", "addition-silicone"),
        ("polyvinyl siloxane", "addition-silicone"),
        ("ZOE paste", "zinc-oxide-eugenol-paste"),
        ("zinc oxide eugenol paste", "zinc-oxide-eugenol-paste"),
        ("putty", "very-high-consistency"),
        ("light body", "low-consistency"),
        ("adition silicone", "addition-silicone"),
        ("irreversible_hydrocolloid", "irreversible-hydrocolloid"),
    ],
)
def test_the_nearest_term_is_found_by_any_of_its_names(vocabulary, word, concept):
    assert vocabulary.nearest(word, vocabulary.concepts) == concept


def test_nothing_is_offered_where_nothing_is_near(vocabulary):
    assert vocabulary.nearest("xyzzyxyzzyxyzzy", vocabulary.concepts) is None


def test_a_part_of_an_id_is_enough_where_only_one_has_it(vocabulary):
    assert vocabulary.nearest("ridge", vocabulary.axes) == "ridge-condition"
    assert vocabulary.nearest("method", vocabulary.axes) is None, "fabrication or disinfection"


# --- the ontology ----------------------------------------------------------------------------------------------------


def used_terms():
    """Every own class and property that stands in shipped Turtle, with a file that uses it."""
    rules = Path(str(files("trayconcord.shapes"))) / "rules"
    found = {}
    paths = [*shipped().glob("*/*.ttl"), *sorted(rules.glob("*.ttl"))]
    assert len(paths) > 50
    for path in paths:
        graph = Graph(bind_namespaces="none")
        read_turtle(path.read_bytes(), path.name, graph)
        defining = path.name == "ontology.ttl"
        for triple in graph:
            for term in triple[1:] if defining else triple:
                if isinstance(term, URIRef) and term.startswith(str(TC)):
                    found.setdefault(term, path.name)
    return found


def test_every_own_class_and_property_in_use_is_described(graph):
    described = {
        term
        for cls in (RDFS.Class, RDF.Property)
        for term in graph.subjects(RDF.type, cls)
        if graph.value(term, RDFS.label) and graph.value(term, RDFS.comment)
    }
    assert {term: file for term, file in used_terms().items() if term not in described} == {}


def test_every_described_term_is_used_somewhere(graph):
    """In data, in a shape, or by the code that computes it."""
    code = "".join(
        path.read_text(encoding="utf-8")
        for package in ("trayconcord.kb", "trayconcord.shapes", "trayconcord.generators")
        for path in Path(str(files(package))).glob("*.py")
    )
    used = used_terms()
    for term in graph.subjects(RDFS.isDefinedBy, None):
        name = ns.local(str(term), str(TC))
        assert term in used or re.search(rf"\bTC\.{name}\b", code), name


def test_properties_of_standard_vocabularies_are_not_reinvented(graph):
    """A property of one's own is only for what SKOS, Dublin Core, BIBO, PROV-O and QUDT do not say."""
    own = {ns.local(str(term), str(TC)) for term in graph.subjects(RDFS.isDefinedBy, None)}
    standard = {"broader", "prefLabel", "altLabel", "definition", "inScheme", "title", "creator", "doi", "isbn", "unit"}
    assert own & standard == set()
    assert set(graph.objects(None, QUDT.hasUnit)) <= set(graph.subjects(RDF.type, QUDT.Unit))


def test_tooth_sites_carry_the_codes_of_their_teeth_and_arches_those_of_their_areas(vocabulary: Vocabulary) -> None:
    # ISO 3950:2016: two digits; the first is the quadrant (1 and 2 upper, 3 and 4 lower), the second counts the teeth
    # from the midline, 1 and 2 incisors, 3 canine, 4 and 5 premolars, 6 to 8 molars; 01 and 02 are the upper and lower
    # areas (the area codes recalled from memory).
    teeth = {"incisor-region": "12", "canine-region": "3", "premolar-region": "45", "first-molar-region": "6",
             "second-molar-region": "7", "molar-region": "678"}  # fmt: skip
    for site, numbers in teeth.items():
        expected = {quadrant + number for quadrant in "1234" for number in numbers}
        assert set(vocabulary.concepts[site].notations) == expected
    assert vocabulary.concepts["maxillary"].notations == ("01",)
    assert vocabulary.concepts["mandibular"].notations == ("02",)


def test_the_codes_of_tooth_sites_are_those_of_a_general_notation_library(vocabulary: Vocabulary) -> None:
    """Held against toothnotation, a general-purpose converter of tooth notations, which names the tooth of a code."""
    sites = ("incisor", "canine", "premolar", "first-molar", "second-molar", "molar")
    words = {f"{site}-region": site.replace("-", " ") for site in sites}
    for site, word in words.items():
        for code in vocabulary.concepts[site].notations:
            tooth = toothnotation.parse(code, system="fdi")
            assert tooth.fdi_str == code and tooth.dentition == "permanent"
            assert word in tooth.name and ("premolar" in tooth.name) == (site == "premolar-region")
    named = {code for site in words for code in vocabulary.concepts[site].notations}
    assert len(named) == 32
