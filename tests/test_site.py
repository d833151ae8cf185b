"""The site: links that lead somewhere, nothing from the network, numbers with their claims, text that stays text."""

import json
import re
from pathlib import Path

import pytest
from html_tree import Element, Pages
from invented import NOTES, enter_forms, store_of

from trayconcord.generators.build import build
from trayconcord.generators.pages import anchor
from trayconcord.kb.store import load
from trayconcord.shapes.check import Report, check
from trayconcord.shapes.compare import Topic
from trayconcord.shapes.wording import printed_text

CHAPTERS = (
    "materials", "outline-and-borders", "spacer-and-relief", "stops-and-holes", "wall-and-handle", "methods", "safety",
    "comparisons",
)  # fmt: skip
SHEET_NAMES = {
    f"study-sheet-{arch}{part}"
    for arch in ("maxillary", "mandibular")
    for part in ("", *(f"-{chapter}" for chapter in CHAPTERS))
}
PAGES = {
    "index.html", "find.html", "reconciliation.html", "agenda.html", "decisions.html", "coverage.html", "sources.html",
    "glossary.html", "items.html", "oral-prompts.html",
} | {f"{name}.html" for name in SHEET_NAMES}  # fmt: skip
SCRIPTS = {"site.js", "site-data.js", "find.js", "rulings.js", "decide.js", "decisions.js"}
SHEETS = ("study-sheet-mandibular.html", "study-sheet-maxillary.html")

HOSTILE = {
    "markup": "</title></p><script>alert(1)</script><img src=x onerror=alert(2)>",
    "quotes": "\"' onmouseover='alert(3)\" {{ 7 * 7 }} {% raw %} &lt; &amp; ]]> <!--",
    "right to left": "\u202egnol\u202c \u200fשלום\u200e \u2067x\u2069",
    "a long word": "x" * 1500,
}
FORM = """
source:
  {{id: invented-hostile, title: {title}, authors: [{author}], container: {title}, kind: lecture-notes, note: {title}}}
claims:
  - {{parameter: spacer-thickness, value: 2-3 mm, at: {title}, obtained: read, note: {title}}}
  - {{parameter: spacer-thickness, when: {{arch: maxillary}}, value: 1 mm, at: {title}, obtained: read}}
"""
OTHER = """source: {{id: invented-nameless, title: {title}, kind: lecture-notes}}
claims:
  - {{parameter: spacer-thickness, value: 5 mm, at: p. 1, obtained: read}}
rulings:
  - {{parameter: spacer-thickness, value: 2 mm, because: {title}, decided-on: 2026-01-01, decided-by: {title}}}
"""


@pytest.fixture(scope="module")
def shipped_site(shipped_report: Report, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("site") / "site"
    build(shipped_report, out)
    return out


@pytest.fixture(scope="module")
def ruled_site(ruled_report: Report, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("site") / "site"
    build(ruled_report, out)
    return out


@pytest.fixture(params=[pytest.param("shipped_site", marks=pytest.mark.slow), "ruled_site"])
def site(request: pytest.FixtureRequest) -> Path:
    found: Path = request.getfixturevalue(request.param)
    return found


def question_pages(report: Report) -> set[str]:
    return {f"question-{topic.parameter.id}.html" for topic in report.comparison.answered}


# --- the pages ---


@pytest.mark.parametrize("kind", [pytest.param("shipped", marks=pytest.mark.slow), "ruled"])
def test_the_site_is_these_files(kind: str, request: pytest.FixtureRequest) -> None:
    site: Path = request.getfixturevalue(f"{kind}_site")
    expected = PAGES | question_pages(request.getfixturevalue(f"{kind}_report"))
    assert {path.name for path in site.glob("*.html")} == expected
    figures = {f"figures/{path.name}" for path in site.glob("figures/*.svg")}
    assert len(figures) > 20
    others = figures | {f"{name}.md" for name in SHEET_NAMES}
    assert {
        str(path.relative_to(site)) for path in site.rglob("*") if path.is_file()
    } == expected | SCRIPTS | others | {
        "style.css",
        *(f"export/{path.name}" for path in site.glob("export/*")),
        "items/items.csv",
        "items/items.json",
        "items/key.html",
        "items/paper.css",
        "items/paper.html",
        "items/qti.zip",
        ".built-by-trayconcord",
    }


def test_every_link_and_fragment_leads_somewhere(site: Path) -> None:
    pages = Pages(site)
    ids = {name: {element.attributes.get("id") for element in page.all()} for name, page in pages.items()}
    followed = 0
    for name, page in pages.items():
        for element in page.all():
            for attribute in ("href", "src"):
                address = element.attributes.get(attribute)
                if address is None or address == "data:,":
                    continue
                file, _, fragment = address.partition("#")
                assert (site / (file or name)).is_file(), f"{name}: {address}"
                if fragment:
                    assert fragment in ids[file or name], f"{name}: {address}"
                followed += 1
    assert followed > 1000


def test_an_id_stands_once_on_its_page(site: Path) -> None:
    for name, page in Pages(site).items():
        ids = [element.attributes["id"] for element in page.all() if "id" in element.attributes]
        assert len(ids) == len(set(ids)), name
        assert all(ids) and not any(re.search(r"\s", identifier) for identifier in ids)


def test_nothing_comes_from_the_network_and_no_page_holds_a_program(site: Path) -> None:
    for name, page in Pages(site).items():
        (policy,) = (m for m in page.all("meta") if m.attributes.get("http-equiv") == "Content-Security-Policy")
        assert policy.attributes["content"].startswith("default-src 'none'; script-src 'self'; style-src 'self';")
        for element in page.all():
            assert element.tag not in ("iframe", "object", "embed", "form", "img", "base", "style"), name
            if element.tag == "script":
                assert element.attributes["src"] in SCRIPTS and not element.text
            assert "style" not in element.attributes
            for attribute, value in element.attributes.items():
                assert not attribute.startswith("on"), name
                assert attribute == "xmlns" or not re.search(r"//|\bjavascript:", value) or attribute == "title", value
    style = (site / "style.css").read_text(encoding="utf-8")
    assert not re.search(r"url\(|@import|//[a-z]", style)


def test_every_page_has_a_language_a_title_and_one_heading_of_the_first_rank(site: Path) -> None:
    titles = set()
    for page in Pages(site).values():
        (html,) = page.all("html")
        assert html.attributes["lang"] == "en"
        (title,) = (title for head in page.all("head") for title in head.all("title"))
        titles.add(title.text)
        assert len(list(page.all("h1"))) == 1
        for heading in page.all("h1", "h2", "h3", "h4", "summary", "caption", "figcaption"):
            assert heading.text
        for link in page.all("a"):
            assert link.text
        plots = page.classed("plot")
        assert all(plot.attributes["role"] == "img" and plot.attributes["aria-label"] for plot in plots)
        within = {id(part) for plot in plots for part in plot.all("svg")}
        for chart in page.all("svg"):
            if id(chart) in within or chart.attributes.get("aria-hidden") == "true":  # the numbers stand beside it
                continue
            assert chart.attributes["role"] == "img"
            assert next(chart.all("title")).text
            assert next(chart.all("desc")).text
    assert len(titles) == len(list(site.glob("*.html")))


@pytest.mark.slow
def test_no_page_is_larger_than_half_a_megabyte(shipped_site: Path) -> None:
    for page in shipped_site.glob("*.html"):
        assert page.stat().st_size < 500_000, page.name


@pytest.mark.slow
def test_the_overview_counts_the_topics(shipped_site: Path, shipped_report: Report) -> None:
    page = Pages(shipped_site)["index.html"]
    counts = {"contested": 0, "agreed": 0, "one voice": 0}
    for cell in page.all("td"):
        head = cell.attributes.get("data-head")
        if head in counts and cell.text != "–":
            counts[head] += int(cell.text)
    standings = [topic.standing for topic in shipped_report.comparison.topics]
    assert counts == {
        "contested": standings.count("contested"),
        "agreed": standings.count("agreed"),
        "one voice": standings.count("single"),
    }


# --- every number leads to its claims ---


def test_every_row_of_a_question_leads_to_its_claim(ruled_site: Path, ruled_report: Report) -> None:
    store = ruled_report.store
    claims = {claim.id: claim for claim in store.claims}
    topics = {anchor(topic): topic for topic in ruled_report.comparison.answered}
    pages = [page for name, page in Pages(ruled_site).items() if name in question_pages(ruled_report)]
    seen = set()
    for article in (article for page in pages for article in page.all("article")):
        topic = topics[article.attributes["id"]]
        seen.add(topic.id)
        tables = list(article.all("table"))
        assert len(tables) == bool(topic.claims), "a ruling may do without a source"
        rows = [row for table in tables for body in table.all("tbody") for row in body.all("tr")]
        linked = []
        for row in rows:
            (link,) = row.all("a")
            page_name, _, claim = link.attributes["href"].partition("#")
            assert page_name == "sources.html"
            linked.append(claim)
            stated = " ".join(printed_text(claims[claim], store.vocabulary).split())
            assert stated in row.text
        assert sorted(linked) == [claim.id for claim in topic.claims]
    for row in (row for page in pages for row in page.all("tr") if "id" in row.attributes):
        topic = topics[row.attributes["id"]]
        seen.add(topic.id)
        case, *linked = [link.attributes["href"].removeprefix("sources.html#") for link in row.all("a")]
        assert case == f"#{anchor(topic)}"
        assert linked == [
            claim.id
            for position in topic.positions
            for claim in sorted(position.claims, key=lambda claim: (membership(topic, claim.id), claim.id))
        ]
    assert seen == {topic.id for topic in ruled_report.comparison.answered}


def test_the_reconciliation_page_holds_the_contested_topics_that_sources_or_rulings_state(
    ruled_site: Path, ruled_report: Report
) -> None:
    records = (*ruled_report.store.claims, *ruled_report.store.rulings)
    stated = {(record.parameter, record.when) for record in records}
    contested = [
        t for t in ruled_report.comparison.answered if t.standing == "contested" and (t.parameter.id, t.when) in stated
    ]
    shown = [article.attributes["id"] for article in Pages(ruled_site)["reconciliation.html"].all("article")]
    assert sorted(shown) == sorted(anchor(topic) for topic in contested)


def test_a_ruling_on_a_case_that_no_claim_states_is_shown_and_exported(tmp_path: Path) -> None:
    notes = """
source: {id: invented-notes, title: Invented notes, kind: lecture-notes}
claims:
  - {parameter: stop-count, value: 3, at: p. 1, obtained: read}
rulings:
  - parameter: stop-count
    when: {tray-material: shellac}
    value: 5
    because: Shellac bends.
    decided-on: 2026-01-01
    decided-by: An invented committee
"""
    build(check(store_of(tmp_path, notes)), tmp_path / "site")
    page = (tmp_path / "site" / "question-stop-count.html").read_text(encoding="utf-8")
    assert "Shellac bends." in page and 'id="stop-count--tray-material-shellac"' in page
    rules = json.loads((tmp_path / "site" / "export" / "rules.json").read_text(encoding="utf-8"))["rules"]
    (rule,) = (rule for rule in rules if rule["when"] == {"tray-material": "shellac"})
    assert (rule["basis"], rule["value"]["min"]) == ("ruling", "5.0")


def membership(topic: Topic, claim: str) -> list[int]:
    """The numbers of the positions that a claim belongs to."""
    return [n for n, position in enumerate(topic.positions) if claim in {member.id for member in position.claims}]


def test_the_sources_page_records_every_claim_with_its_place(ruled_site: Path, ruled_report: Report) -> None:
    store = ruled_report.store
    rows = {row.attributes["id"]: row for row in Pages(ruled_site)["sources.html"].all("tr") if "id" in row.attributes}
    assert set(rows) == {claim.id for claim in store.claims}
    for claim in store.claims:
        assert str(store.place_of_claim(claim.id)) in rows[claim.id].text
        assert " ".join(printed_text(claim, store.vocabulary).split()) in rows[claim.id].text
        assert claim.at in rows[claim.id].text


def rows_of(table: Element) -> list[Element]:
    return [row for body in table.all("tbody") for row in body.all("tr")]


@pytest.mark.parametrize("name", SHEETS)
def test_what_a_study_sheet_says_leads_to_references(name: str, ruled_site: Path) -> None:
    page = Pages(ruled_site)[name]
    answers = [cells[-1] for table in page.classed("answers") for row in rows_of(table) if (cells := [*row.all("td")])]
    cells = [cell for table in page.classed("grid") for row in rows_of(table) for cell in row.all("td")]
    answers += [cell for cell in cells if cell.text != "–"]
    assert len(answers) > 20
    for answer in answers:
        links = [link.attributes["href"] for link in answer.all("a")]
        # a ruling may stand where no source speaks
        assert links or "by decision of the course" in answer.text
        assert all(re.fullmatch(r"#reference-\d+", link) for link in links)
    references = [item for item in page.all("li") if item.attributes.get("id", "").startswith("reference-")]
    assert [item.attributes["id"] for item in references] == [f"reference-{n + 1}" for n in range(len(references))]
    assert all(next(item.all("a")).attributes["href"].startswith("sources.html#") for item in references)


def test_a_study_sheet_gives_every_ruling_that_bears_on_its_arch(tmp_path: Path) -> None:
    said = "because: So, decided-on: 2026-01-01, decided-by: All"
    rulings = f"""rulings:
  - {{parameter: stop-count, value: 3, {said}}}
  - {{parameter: stop-count, when: {{tray-material: shellac}}, value: 5, {said}}}
  - {{parameter: stop-count, when: {{arch: mandibular}}, value: 4, {said}}}
  - {{parameter: soak-cast, when: {{tray-material: shellac}}, value: yes, {said}}}
"""
    build(check(store_of(tmp_path, NOTES + rulings)), tmp_path / "site")
    pages = Pages(tmp_path / "site")
    adopted = {}
    for name in SHEETS:
        rows = [row for table in pages[name].classed("answers") for row in rows_of(table)]
        told = [
            ([part.text for part in row.classed("case")], [*row.all("td")][-1].text)
            for row in rows
            if any(row.all("td"))
        ]
        adopted[name] = [
            (case[0] if case else "in general", text.split(",")[0])
            for case, text in told
            if "by decision of the course" in text
        ]
    assert adopted["study-sheet-maxillary.html"] == [("in general", "3"), ("shellac", "5"), ("shellac", "yes")]
    assert adopted["study-sheet-mandibular.html"] == [("in general", "4"), ("shellac", "yes")]


def test_a_study_sheet_gives_a_contested_value_only_as_one_of_several(ruled_site: Path) -> None:
    differing = 0
    for name in SHEETS:
        for cell in Pages(ruled_site)[name].all("td"):
            bold = [element.text for element in cell.all("b")]
            if "the sources differ" in cell.text:
                differing += 1
                if "before" in cell.text or "As in general" in cell.text:  # an order: bold is what a case adds to it
                    continue
                assert "; or " in cell.text
                assert bold == []
    assert differing > 10


@pytest.mark.parametrize("name", SHEETS)
def test_the_cautions_stand_on_every_study_sheet(name: str, site: Path) -> None:
    (caution,) = Pages(site)[name].classed("caution")
    text = caution.text.casefold()
    for hazard in (
        "monomer", "eugenol", "sensitise", "dust", "burs", "wax", "compound", "curing light", "disinfectants",
    ):  # fmt: skip
        assert hazard in text
    for authority in ("local codes", "the maker’s instructions", "licensed"):
        assert authority in text


# --- text stays text ---


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_whatever_a_form_says_is_shown_as_text(text: str, tmp_path: Path) -> None:
    quoted = {
        "title": json.dumps(text, ensure_ascii=False),
        "author": json.dumps(f"{text[:40]}, Ann", ensure_ascii=False),
    }
    store = store_of(tmp_path, FORM.format(**quoted), OTHER.format(**quoted))
    build(check(store), tmp_path / "site")
    pages = Pages(tmp_path / "site")
    plain = " ".join(text.split())
    for name, page in pages.items():
        for element in page.all():
            assert element.tag != "img"
            assert element.tag != "script" or (element.attributes["src"] in SCRIPTS and not element.text)
            assert not [attribute for attribute in element.attributes if attribute.startswith("on")]
        if name.startswith(("question", "reconciliation", "sources", "study")):  # others name a source in short
            assert plain in page.text, name
    assert json.loads((tmp_path / "site" / "export" / "rules.json").read_text(encoding="utf-8"))["rules"]


def test_sources_without_a_record_can_be_followed_too(tmp_path: Path) -> None:
    orphan = NOTES.replace("kind:", "compiled-from: [nowhere-1], edition-of: nowhere-2, kind:")
    layer = enter_forms(tmp_path, orphan)
    entered = (layer / "sources" / "invented-notes.ttl").read_text(encoding="utf-8")
    ghost = re.sub(r"source:invented-notes a .*?\.\n\n", "", entered, flags=re.DOTALL)
    ghost = ghost.replace("source:invented-notes", "source:ghost").replace("/invented-notes/", "/ghost/")
    unnamed = re.sub(r".*dcterms:source .*\n", "", ghost).replace("/ghost/", "/unnamed/")
    for name, text in (("ghost", ghost), ("unnamed", unnamed)):
        (layer / "sources" / f"{name}.ttl").write_text(text, encoding="utf-8")
    report = check(load([layer], only=True))
    assert {claim.source for claim in report.store.claims} == {"invented-notes", "ghost", ""}
    build(report, tmp_path / "site")
    pages = Pages(tmp_path / "site")
    ids = {element.attributes.get("id") for element in pages["sources.html"].all()}
    links = {link.attributes["href"] for page in pages.values() for link in page.all("a")}
    wanted = {link.removeprefix("sources.html#") for link in links if link.startswith("sources.html#")}
    wanted |= {link.removeprefix("#") for link in links if link.startswith("#nowhere")}
    assert {"ghost", "ghost/stop-count", "unnamed/stop-count", "nowhere-1", "nowhere-2"} <= wanted
    assert wanted <= ids
    assert "" not in ids
