"""The formats of manuscripts: each escapes what comes from the store in its own way."""

import re

import pytest
from html_tree import parse
from hypothesis import given
from hypothesis import strategies as st
from invented import store_of

from trayconcord.generators.manuscripts.formats import Html, Latex, Markdown, folder_for, format_of
from trayconcord.generators.manuscripts.rendering import render
from trayconcord.kb.store import Store

HOSTILE = r"""<script>alert(1)</script> \input{/etc/passwd} $x_1^2$ [a](javascript:b) *c* `d` {{ 7*7 }} %} & # ~ | !"""
FORM = f"""# Invented for a test.
source: {{id: hostile, title: '{HOSTILE}', authors: ["Nobody, Ann"], year: 2020, kind: textbook}}
claims:
  - {{parameter: border-clearance, value: 2 mm, at: 'p. <1> | \\x', obtained: read}}
"""
TEXT = '{{ both("border-clearance", single="say") }}\n{{ references() }}\n'


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return store_of(tmp_path_factory.mktemp("hostile"), FORM)


def filled(store: Store, ending: str) -> str:
    text = TEXT.replace("{{", "\\VAR{").replace("}}", "}") if ending == "tex" else TEXT
    return render(text, store, name=f"text.{ending}.j2").text


def test_a_hostile_title_is_text_in_html(store: Store) -> None:
    page = filled(store, "html")
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    assert "{{ 7*7 }}" in page  # it was data, so nothing has run it
    assert re.findall(r"<(\w+)", page) == ["a", "ol", "li"]


def test_a_hostile_title_is_text_in_markdown(store: Store) -> None:
    text = filled(store, "md")
    assert r"\<script\>alert(1)\</script\> \\input\{/etc/passwd\}" in text
    assert r"\[a\](javascript:b) \*c\* \`d\` \{\{ 7\*7 \}\} %\} \& \# \~ \| \!" in text
    assert r"Cited: p. \<1\> \| \\x." in text


def test_a_hostile_title_is_text_in_latex(store: Store) -> None:
    text = filled(store, "tex")
    assert r"\textless{}script\textgreater{}" in text
    assert r"\textbackslash{}input\{/etc/passwd\} \$x\_1\textasciicircum{}2\$ {[}a{]}" in text
    assert r"\{\{ 7*7 \}\} \%\} \& \# \textasciitilde{} | !" in text


def test_a_hostile_title_stays_as_it_is_in_plain_text(store: Store) -> None:
    assert HOSTILE in filled(store, "txt")


def test_a_title_cannot_break_a_line_or_mark_a_passage() -> None:
    for form in (Markdown(), Html(), Latex(), format_of("a.txt")):
        assert form.escape("a\n\n# b\ufdd00\ufdd1c\ufdd2") == form.escape("a # b0c")


@given(st.text(max_size=40))
def test_what_html_escapes_reads_back(words: str) -> None:
    text = Html().escape(words)
    assert "<" not in text and ">" not in text
    assert re.sub(r"&(amp|lt|gt|quot|#x27);", "", text).count("&") == 0


@given(st.text(alphabet='\\{}$&%#_^~[]<>"ab ', max_size=30))
def test_latex_leaves_no_sign_that_means_something(words: str) -> None:
    left = Latex().escape(words)
    for written in (r"\\text\w+\{\}", r"\\[&%$#_{}]", r"\{\[\}", r"\{\]\}"):
        left = re.sub(written, "", left)
    assert not set(left) & set('\\{}$&%#_^~[]<>"')


@pytest.mark.parametrize(
    ("name", "format_name"),
    [("a.md.j2", "md"), ("a.HTML.j2", "html"), ("a.tex", "tex"), ("a.rst.j2", "txt"), ("a.j2", "txt"), ("a", "txt"),
     ("a.markdown.j2", "md"), ("a.b.htm", "html")],
)  # fmt: skip
def test_the_ending_tells_the_format(name: str, format_name: str) -> None:
    assert format_of(name).name == format_name


@given(st.text(min_size=1, max_size=20))
def test_the_folder_of_figures_is_one_plain_name(name: str) -> None:
    folder = folder_for(name.replace("/", "") + ".md")
    assert re.fullmatch(r"[A-Za-z0-9.-]*-figures", folder)
    assert not folder.startswith(".")


def test_a_page_is_well_formed(ruled_report) -> None:
    text = (
        '<!doctype html><html lang="en"><body><p>{{ both("border-clearance", most=2) }}</p>'
        '{{ table("impression-material", ["spacer-thickness"], contested="positions", single="say", silent="say") }}'
        '{{ steps("upper-paste-wash", order="merged", only=["border-clearance"]) }}'
        '{{ figure("maxillary-outline", "upper-paste-wash") }}{{ cautions() }}{{ references() }}</body></html>'
    )
    page = render(text, ruled_report.store, ruled_report.comparison, name="page.html.j2").text
    tree = parse(page)
    ids = {element.attributes["id"] for element in tree.all() if "id" in element.attributes}
    links = {element.attributes["href"].removeprefix("#") for element in tree.all("a")}
    assert links and links <= ids
