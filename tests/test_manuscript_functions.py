"""What a manuscript may ask, and what it gets; the departments here are invented."""

import inspect
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import store_of

from trayconcord.generators.manuscripts.functions import NAMES, Functions
from trayconcord.generators.manuscripts.rendering import Rendered, render
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.store import Store
from trayconcord.shapes.check import Report
from trayconcord.shapes.compare import Comparison

BOOK = """# Invented for a test.
source: {id: book-%s, title: Book %s, authors: ["Nobody, Ann %s"], year: 2020, kind: textbook}
claims:
"""
ONE = (
    BOOK % ("one", "one", "One")
    + """
  - {parameter: border-clearance, value: 2 mm, at: p. 1, obtained: read}
  - {parameter: wall-thickness, value: 2 mm, at: p. 2, obtained: read}
  - {parameter: stop-count, value: 3, at: p. 3, obtained: read}
  - {parameter: spacer-thickness, when: {impression-material: polyether}, value: 2-3 mm, at: p. 4, obtained: read}
  - {parameter: tray-fit, when: {impression-material: polyether}, value: spaced, at: p. 4, obtained: read}
  - {parameter: handle-length, value: 8 mm, at: p. 5, obtained: read}
"""
)
TWO = (
    BOOK % ("two", "two", "Two")
    + """
  - {parameter: border-clearance, value: 1-2 mm, at: p. 1, obtained: read}
  - {parameter: wall-thickness, value: 3 mm, at: p. 2, obtained: read}
  - {parameter: stop-count, value: 4, at: p. 3, obtained: recalled}
  - {parameter: spacer-thickness, when: {impression-material: polyether}, value: 3-4 mm, at: p. 4, obtained: read}
"""
)
COURSE = """
rulings:
  - {parameter: stop-count, value: 3, because: Three find their place by themselves., decided-on: 2026-05-12,
     decided-by: Nobody's group (invented)}
cases:
  - {id: lower-polyether, label: Lower tray for polyether, when: {arch: mandibular, impression-material: polyether},
     asks: [spacer-thickness]}
"""


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """Two books and a course that has ruled on the number of stops."""
    return store_of(tmp_path_factory.mktemp("store"), ONE, TWO, COURSE)


@pytest.fixture(scope="module")
def comparison(store: Store) -> Comparison:
    return Comparison(store)


@pytest.fixture
def filled(store: Store, comparison: Comparison):
    """A function that renders a text and gives what it comes to."""

    def fill(text: str, name: str = "text.md.j2") -> str:
        return render(text, store, comparison, name=name).text

    return fill


@pytest.fixture
def refused(store: Store, comparison: Comparison):
    """A function that renders a text which is refused, and gives what is said of it."""

    def refuse(text: str, name: str = "text.md.j2") -> str:
        with pytest.raises(UnusableInput) as error:
            render(text, store, comparison, name=name)
        return "\n".join(map(str, error.value.complaints))

    return refuse


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ('{{ value("border-clearance") }}', "2 mm"),
        ('{{ value("stop-count") }}', "3"),
        ('{{ both("border-clearance") }}', r"2 mm \[1, 2\]"),
        ('{{ cite("border-clearance", most=1) }}', r"\[1 and 1 more\]"),
        ('{{ both("stop-count") }}', r"3 \[1, 2\]"),
        ('{{ value("wall-thickness", contested="positions") }}', r"2 mm \[1\] or 3 mm \[2\] (sources differ)"),
        ('{{ value("wall-thickness", contested="span") }}', "2–3 mm (sources differ)"),
        ('{{ value("handle-length", single="say") }}', "8 mm (one source only)"),
        ('{{ both("handle-length", single="say") }}', r"8 mm \[1\] (one source only)"),
        ('{{ value("handle-width", silent="say") }}', "(no source says)"),
        ('{{ lowest("spacer-thickness", "lower-polyether") }}', "3 mm"),
        ('{{ lowest("wall-thickness", contested="span") }}', "2 mm"),
        ('{{ highest("wall-thickness", contested="span") }}', "3 mm"),
        ('{{ range_of("stop-count") }}', "3–4"),
        ('{{ range_of("border-clearance", most=9) }}', r"1–2 mm \[1, 2\]"),
        ('{{ reason("stop-count") }}', "Three find their place by themselves."),
        ('{{ value("spacer-thickness", impression_material="polyether") }}', "3 mm"),
        ('{{ value("spacer-thickness", {"impression-material": "polyether"}) }}', "3 mm"),
        ('{{ value("spacer-thickness", "lower-polyether", arch="maxillary") }}', "3 mm"),
        ('{{ term("alginate") }} {{ term("Tray spacing") }}', "irreversible hydrocolloid spacer thickness"),
    ],
)  # fmt: skip
def test_a_function_prints_what_the_rules_say(filled, text: str, printed: str) -> None:
    assert filled(text) == printed


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('\n{{ value("wall-thickness") }}', ["text.md.j2:2: value: wall thickness: 2 positions of 2 voices",
         "\n    2 mm: One 2020", "\n    3 mm: Nobody 2020, p. 2", 'contested="positions" or contested="span"']),
        ('{{ value("tray-fit", impression_material="polyether") }}', ["one voice only", 'single="say"']),
        ('{{ value("spacer-thickness") }}', ["no source speaks of this case", "impression_material= polyether"]),
        ('{{ value("wall-thicknes") }}', ["no parameter is called 'wall-thicknes'", "did you mean wall-thickness?"]),
        ('{{ value("stop-count", arsh="maxillary") }}', ["no axis is called 'arsh'", "did you mean arch?"]),
        ('{{ value("stop-count", arch="upper") }}', ["no arch is called 'upper'", "did you mean maxillary?"]),
        ('{{ value("stop-count", "lower-poliether") }}', ["no case is called", "did you mean lower-polyether?"]),
        ('{{ value("stop-count", contested="span ") }}', ["contested cannot be 'span '", "contested='positions'"]),
        ('{{ value("stop-count", most=0) }}', ["most cannot be 0"]),
        ('{{ value() }}', ["missing 1 required", "parameter", "trayconcord render --functions"]),
        ('{{ valu("stop-count") }}', ["text.md.j2:1: valu is not defined", "did you mean value?"]),
        ('{{ reason("wall-thickness") }}', ["has not ruled on it"]),
        ('{{ lowest("tray-fit", single="say", impression_material="polyether") }}', ["is no quantity", "use value()"]),
        ('{{ lowest("wall-thickness", contested="positions") }}', ['write contested="span"']),
        ('{{ value("spacer-thickness", tray_material="light-cured-resin", fabrication_method="sprinkle-on") }}',
         ["does not go with", "it goes with: autopolymerising resin"]),
        ('{{ figure("maxillary-outlin") }}', ["no figure is called", "did you mean maxillary-outline?"]),
        ('{{ table("impression-material", "tray-fit") }}', ["parameters must be a list of names"]),
        ('{{ table("arch", ["handle-width"], silent="say") }}', ["no source names", "name rows=[…]"]),
        ('{{ cautions("monomer-vapor") }}', ["did you mean monomer-vapour?"]),
        ('{{ term("zzzzz") }}', ["no term is called 'zzzzz'"]),
        ('{{ steps(order="any") }}', ['write order="merged"']),
        ("{{ value({'a': 1}.b) }}", ["'dict object' has no attribute 'b'"]),
        ("{{ value(range) }}", ["function cannot be an argument"]),
    ],
)  # fmt: skip
def test_what_cannot_be_answered_is_told_at_its_line(refused, text: str, told: list[str]) -> None:
    found = refused(text).replace("Nobody 2020, p. 2\n", "One 2020\n", 1)
    for words in told:
        assert words in found
    assert "fix: " in found


def test_every_mistake_is_told_at_once(refused) -> None:
    text = '{{ value("wall-thickness") }}\n{% for n in [1, 2] %}\n{{ value("handle-length") }}\n{% endfor %}\n'
    text += '{{ term("zzzz") }}'
    found = refused(text)
    assert [line.partition(": ")[0] for line in found.splitlines() if line.startswith("text")] == [
        "text.md.j2:1", "text.md.j2:3", "text.md.j2:5",
    ]  # fmt: skip


def test_a_ruling_is_cited_before_the_sources_that_support_it(filled) -> None:
    text = filled('{{ both("stop-count") }}\n{{ references() }}')
    ruling, book = text.splitlines()[1:]
    assert ruling == "1. Nobody's group (invented). Ruling on number of stops, in general, 2026-05-12."
    assert book == "2. Nobody AO. Book one. 2020. Cited: p. 3."


def test_references_are_numbered_by_first_use_wherever_the_list_stands(filled) -> None:
    text = filled('{{ references() }}\n{{ cite("handle-length") }} {{ cite("border-clearance") }}')
    assert text.splitlines() == [
        "1. Nobody AO. Book one. 2020. Cited: p. 1; p. 5.",
        "2. Nobody AT. Book two. 2020. Cited: p. 1.",
        r"\[1\] \[1, 2\]",
    ]


def test_cautions_at_the_front_are_cited_first(ruled_report: Report) -> None:
    text = '{{ cautions() }}\n{{ both("border-clearance", "upper-paste-wash", most=1) }}\n{{ references() }}'
    done = render(text, ruled_report.store, ruled_report.comparison)
    listed = [int(number) for number in re.findall(r"^(\d+)\. ", done.text, re.MULTILINE)]
    assert listed == list(range(1, len(listed) + 1))
    assert done.text.index(r"\[1") < done.text.index("2 mm")


def test_the_notes_name_missing_references_and_cautions(ruled_report: Report) -> None:
    def notes(text: str) -> tuple[str, ...]:
        return render(text, ruled_report.store, ruled_report.comparison).notes

    asked = '{{ both("border-clearance", "upper-paste-wash") }}'
    assert [note.partition(":")[0][:30] for note in notes(asked)] == [
        "it cites and has no reference ", "what it uses calls for caution",
    ]  # fmt: skip
    assert notes(asked + "{{ cautions() }}{{ references() }}") == ()
    assert "monomer vapour" in notes(asked)[1]
    assert "curing light" not in notes(asked)[1]  # no light cures the resin of this case


def test_a_table_has_the_rows_that_are_named_or_that_sources_name(filled) -> None:
    shown = 'contested="positions", single="say", silent="say"'
    text = filled(f'{{{{ table("impression-material", ["spacer-thickness", "tray-fit"], {shown}) }}}}')
    assert text.splitlines() == [
        "| impression material | spacer thickness | fit of the tray |",
        "| --- | --- | --- |",
        r"| polyether | 3 mm \[1, 2\] | spaced \[1\] (one source only) |",
    ]
    named = filled(f'{{{{ table("impression-material", ["tray-fit"], rows=["impression-plaster"], {shown}) }}}}')
    assert named.splitlines()[2:] == ["| impression plaster | – |"]


def test_steps_keep_what_the_author_wants_of_them(ruled_report: Report) -> None:
    def steps(more: str) -> str:
        text = f'{{{{ steps("upper-paste-wash", order="merged", {more}) }}}}'
        return render(text, ruled_report.store, ruled_report.comparison).text

    whole = steps('contested="positions", single="say"')
    assert whole.startswith("1. Examine the primary cast\n")
    assert "Adapt the spacer" not in whole, "the course has ruled that there is none"
    assert "Block out the undercuts" in whole
    assert "   - **Stop**: Show the outline to your supervisor" in whole
    short = steps('only=["border-clearance"], leave_out=["block-out-undercuts"]')
    assert "Block out the undercuts" not in short
    assert "   - border clearance: 2 mm" in short
    assert "sources differ)" not in short


def test_an_order_that_is_contested_has_to_be_asked_for(ruled_report: Report) -> None:
    with pytest.raises(UnusableInput, match="positions of"):
        render('{{ steps("upper-paste-wash") }}', ruled_report.store, ruled_report.comparison)


def test_a_figure_is_a_file_beside_the_text_or_stands_in_it(ruled_report: Report) -> None:
    def done(name: str) -> Rendered:
        text = '{{ figure("maxillary-outline", {"arch": "maxillary"}) }}'.replace("{{", "\\VAR{").replace("}}", "}")
        text = text if name.endswith("tex.j2") else '{{ figure("maxillary-outline", {"arch": "maxillary"}) }}'
        return render(text, ruled_report.store, ruled_report.comparison, name=name)

    markdown, page, latex, plain = (done(f"my manual.{ending}.j2") for ending in ("md", "html", "tex", "txt"))
    assert list(markdown.figures) == list(latex.figures) == ["my-manual-figures/maxillary-outline.svg"]
    assert "](my-manual-figures/maxillary-outline.svg)" in markdown.text
    assert r"\includesvg[width=0.8\linewidth]{my-manual-figures/maxillary-outline.svg}" in latex.text
    assert page.figures == plain.figures == {}
    assert page.text.count("<svg") == 1
    assert "<svg" not in plain.text
    assert next(iter(markdown.figures.values())).startswith(b"<svg")


def test_the_case_of_the_command_holds_where_the_manuscript_names_none(store: Store, comparison: Comparison) -> None:
    case = (("impression-material", "polyether"),)
    assert render('{{ value("spacer-thickness") }}', store, comparison, case).text == "3 mm"


@pytest.mark.parametrize("name", NAMES)
def test_the_example_of_a_function_runs(name: str, ruled_report: Report) -> None:
    told, _, example = inspect.cleandoc(getattr(Functions, name).__doc__).partition("\n\n")
    assert told.endswith(".")
    assert f"{{{{ {name}(" in example
    done = render(example, ruled_report.store, ruled_report.comparison)
    assert done.text.strip() and "{{" not in done.text
    assert any(query.function == name for query in done.record.queries) or name == "store_hash"


def test_the_same_manuscript_gives_the_same_text(ruled_report: Report) -> None:
    text = '{{ both("border-clearance") }} {{ cautions("eugenol") }} {{ references() }} {{ store_hash() }}'
    one = render(text, ruled_report.store, ruled_report.comparison)
    other = render(text, ruled_report.store, Comparison(ruled_report.store))
    assert one == other
    assert ruled_report.store.hash in one.text


WILD = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.text(max_size=8)
    | st.sampled_from(["border-clearance", "polyether"]),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=5), inner, max_size=2),
    max_leaves=4,
)


@given(
    st.sampled_from(NAMES),
    st.lists(WILD, max_size=3),
    st.dictionaries(
        st.sampled_from(["case", "contested", "single", "most", "rows", "arch", "order", "only", "leave_out", "self"]),
        WILD,
        max_size=2,
    ),
)
@settings(max_examples=80)
def test_no_arguments_raise_anything_but_unusable_input(name: str, arguments: list, keywords: dict) -> None:
    given_words = [repr(argument) for argument in arguments] + [f"{key}={value!r}" for key, value in keywords.items()]
    try:
        render(f"{{{{ {name}({', '.join(given_words)}) }}}}", SHIPPED[0], SHIPPED[1])
    except UnusableInput as refused:
        assert all(complaint.fix for complaint in refused.complaints)


SHIPPED: list = []


@pytest.fixture(scope="module", autouse=True)
def _shipped(store: Store, comparison: Comparison) -> None:
    SHIPPED[:] = [store, comparison]


@given(st.text(alphabet=st.characters(blacklist_categories=("Cs",)), max_size=60))
@settings(max_examples=60)
def test_the_text_around_stays_as_it_is(words: str) -> None:
    around = re.sub(r"[{}\ufdd0-\ufdd5\r]", "", words)
    text = f"{around}\n{{{{ value('border-clearance') }}}}{around}."
    done = render(text, SHIPPED[0], SHIPPED[1])
    assert done.text == f"{around}\n2 mm{around}."
    (passage,) = done.passages
    assert done.text[passage.start : passage.end] == "2 mm"
