"""The site as a committee uses it, in a real browser: search, filter, decide, save, enter, build again."""

import json
import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from invented import enter_forms
from webdriver import CHROMIUM, DRIVER, Browser

from trayconcord.generators.build import build
from trayconcord.generators.cli import main
from trayconcord.kb.store import load
from trayconcord.shapes.check import Report, check

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        not (CHROMIUM and DRIVER) and os.environ.get("CI") != "true",
        reason="no Chromium with chromedriver here; continuous integration has them",
    ),
]

TOPIC = "spacer-thickness?arch=maxillary"
PLACE = "spacer-thickness--arch-maxillary"
HOSTILE = (
    "</textarea><script>alert(1)</script> \"quoted\" 'single' \\ back: slash # hash {{ 7 * 7 }} - [x] & *a !t %d @e `\n"
    "second line\u0007\u202e right to left \u200f\u2028 next \ufeff \U0001f9b7 " + "x" * 400
)


@pytest.fixture(scope="module")
def site(shipped_report: Report, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("site") / "site"
    build(shipped_report, out)
    return out


@pytest.fixture(scope="module")
def window(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    with Browser(tmp_path_factory.mktemp("browser")) as opened:
        yield opened


@pytest.fixture
def browser(window: Browser, site: Path) -> Iterator[Browser]:
    """A browser that has decided nothing; whatever a test does with it, it is silent and stays off the network."""
    window.show_as(1200, 900, dark=False)
    window.open(site / "index.html")
    window.run("localStorage.clear()")
    window.console(), window.requests()
    yield window
    assert window.console() == []
    asked = window.requests()
    assert asked and all(address.startswith(("file:", "data:", "blob:")) for address in asked)


def shown(browser: Browser) -> list[str]:
    return browser.texts("#results li > a")


def choose(browser: Browser, selector: str, value: str) -> None:
    script = (
        "const e = document.querySelector(arguments[0]); e.value = arguments[1];"
        " e.dispatchEvent(new Event('input', {bubbles: true})); return e.value"
    )
    assert browser.run(script, selector, value) == value


def stored(browser: Browser) -> list[dict[str, str]]:
    return list(browser.run("return Site.decisions()"))


def decide(browser: Browser, site: Path, **fields: str) -> None:
    """Decide on the spacer of a maxillary tray; fields that are not named keep what the form offers."""
    browser.open(site / "question-spacer-thickness.html", f"?decide#{PLACE}")
    browser.wait(lambda: browser.texts("dialog h2"))
    for name, text in fields.items():
        browser.fill(f"#{name}", text)
    browser.click("dialog button[type=submit]")


# --- search and filter ---


def test_words_narrow_the_topics_and_the_address_remembers_them(browser: Browser, site: Path) -> None:
    browser.open(site / "find.html")
    everything = len(shown(browser))
    assert everything == browser.run("return Site.data().topics.length")
    links = browser.run("return [...document.querySelectorAll('#results li > a')].map(a => a.getAttribute('href'))")
    assert links == browser.run("return Site.data().topics.map(topic => topic.href)")
    assert shown(browser) == browser.run("return Site.data().topics.map(topic => topic.case)")
    assert browser.text("#count") == f"{everything} of {everything} topics"
    browser.fill("#search", "  Spacer THICKNESS maxillary")
    some = shown(browser)
    assert 0 < len(some) < everything
    assert "maxillary" in some
    browser.wait(lambda: "#q=Spacer+THICKNESS+maxillary" in browser.address())
    browser.open(site / "find.html", "#q=spacer%20thickness&standing=contested")
    assert browser.run("return document.getElementById('search').value") == "spacer thickness"
    assert set(browser.texts("#results li .standing")) == {"contested"}
    browser.fill("#search", "zzz no such word")
    assert shown(browser) == []
    assert browser.text("#count").startswith("No topic answers")


def test_other_names_of_a_concept_are_found(browser: Browser, site: Path) -> None:
    browser.open(site / "find.html")
    browser.fill("#search", "alginate")  # an other name of irreversible hydrocolloid
    assert any("irreversible hydrocolloid" in text for text in shown(browser))


def test_a_filter_shows_what_lies_below_and_what_holds_for_any(browser: Browser, site: Path) -> None:
    browser.open(site / "find.html")
    choose(browser, "#filter-material", "elastomer")
    found = shown(browser)
    assert any("silicone" in text for text in found)
    assert "in general" in found
    assert not any("zinc oxide-eugenol" in text or "hydrocolloid" in text for text in found)
    browser.click("#filter-stated")
    stated = shown(browser)
    assert "in general" not in stated and any("silicone" in text for text in stated)
    assert set(stated) < set(found)


def test_standing_source_and_kind_filter(browser: Browser, site: Path, shipped_report: Report) -> None:
    topics = shipped_report.comparison.answered
    browser.open(site / "find.html")
    choose(browser, "#filter-standing", "agreed")
    assert len(shown(browser)) == sum(topic.standing == "agreed" for topic in topics)
    choose(browser, "#filter-standing", "")
    source = topics[0].claims[0].source
    choose(browser, "#filter-source", source)
    assert len(shown(browser)) == sum(source in {claim.source for claim in topic.claims} for topic in topics)
    choose(browser, "#filter-source", "")
    choose(browser, "#filter-kind", "textbook")
    sources = shipped_report.store.sources
    assert len(shown(browser)) == sum(
        any(claim.source in sources and sources[claim.source].kind == "textbook" for claim in topic.claims)
        for topic in topics
    )


def test_the_keyboard_leads_through_search_and_results(browser: Browser, site: Path) -> None:
    browser.open(site / "sources.html")
    browser.press("/")
    browser.wait(lambda: "find.html" in browser.address())
    focus = "return document.activeElement.id || document.activeElement.textContent"
    assert browser.run(focus) == "search"
    browser.press(*"paste")
    links = shown(browser)
    browser.press("ArrowDown")
    assert browser.run(focus) == links[0]
    browser.press("ArrowDown", "ArrowDown", "ArrowUp")
    assert browser.run(focus) == links[1]
    browser.press("ArrowUp", "ArrowUp")
    assert browser.run(focus) == "search"
    browser.press("Escape")
    assert len(shown(browser)) > len(links)
    browser.press(*"paste", "ArrowDown", "Enter")
    browser.wait(lambda: "question-" in browser.address())
    browser.open(site / "find.html")
    browser.click("#slash")
    browser.open(site / "sources.html")
    browser.press("/")
    assert "sources.html" in browser.address()


# --- decide, save, enter, build ---


def test_a_decision_is_saved_entered_and_shown_as_the_ruling(browser: Browser, tmp_path: Path, site: Path) -> None:
    browser.open(site / "question-spacer-thickness.html", f"#{PLACE}")
    browser.click(f"#{PLACE} p.decide button")
    browser.click("#position-1")
    value = browser.run("return document.getElementById('value').value")
    assert value == "1 mm"
    browser.click("dialog button[type=submit]")  # without a reason it is not taken
    assert browser.texts(".error") == ["Write the reason.", "Write who decided."]
    assert browser.run("return document.activeElement.id") == "because"
    browser.fill("#because", HOSTILE)
    browser.fill("#by", 'An invented committee: "all" #1')
    browser.fill("#on", "2026-05-12")
    browser.fill("#review", "2027-05-12")
    browser.click("dialog button[type=submit]")
    assert browser.texts("dialog") == []
    assert "1 mm" in browser.text(f"#{PLACE} .decided")

    # a second one on a narrower case that no source states; the body is remembered
    browser.run("document.querySelector('tr[data-topic] p.decide button').click()")
    assert browser.run("return document.getElementById('by').value") == 'An invented committee: "all" #1'
    browser.click("#position-0")
    browser.fill("#because", "no")
    browser.click("dialog button[type=submit]")
    assert browser.texts('header.site a[href="decisions.html"]') == ["Decisions (2)"]

    browser.open(site / "decisions.html")
    assert len(browser.texts("#decisions ol > li")) == 2
    assert browser.run("return document.querySelectorAll('#decisions script').length") == 0
    form = browser.run("return document.getElementById('form-text').value")
    browser.click("#save")
    saved = browser.downloads / "rulings.yaml"
    browser.wait(saved.is_file)
    browser.wait(lambda: saved.read_text(encoding="utf-8") == form)

    layer = tmp_path / "department"
    assert main(["add", "--kb", str(layer), str(saved)]) == 0
    store = load([layer])
    rulings = {ruling.id: ruling for ruling in store.rulings}
    assert len(rulings) == 2
    ruling = rulings[TOPIC]
    shown_text = " ".join(HOSTILE.replace("\u0007", " ").replace("\ufeff", " ").split())
    assert (ruling.printed, ruling.because) == ("1 mm", shown_text)
    assert (ruling.decided_on, ruling.review_by) == ("2026-05-12", "2027-05-12")
    assert ruling.decided_by == 'An invented committee: "all" #1'

    rebuilt = tmp_path / "site"
    build(check(store), rebuilt)
    browser.open(rebuilt / "question-spacer-thickness.html", f"#{PLACE}")
    assert "The course adopts 1 mm" in browser.text(f"#{PLACE} .ruling")
    assert browser.texts('header.site a[href="decisions.html"]') == ["Decisions"]  # another store, another sitting
    browser.open(rebuilt / "find.html", "#standing=ruled&q=spacer-thickness?arch=maxillary")
    assert "maxillary" in shown(browser)
    browser.open(rebuilt / "decisions.html")
    assert "2 decisions were collected on another state of the store" in browser.text("#decisions .caution")
    browser.click("#decisions .caution button")
    assert len(browser.texts("#decisions ol > li")) == 2
    saved.unlink()


def test_decisions_can_be_changed_removed_and_put_back(browser: Browser, site: Path) -> None:
    decide(browser, site, value="1 mm", because="First.", by="All")
    browser.open(site / "decisions.html")
    browser.click("#decisions li .buttons a")
    browser.wait(lambda: browser.texts("dialog h2"))
    assert browser.run("return document.getElementById('because').value") == "First."
    browser.fill("#because", "Second.")
    browser.click("dialog button[type=submit]")
    assert [decision["because"] for decision in stored(browser)] == ["Second."]
    browser.open(site / "decisions.html")
    browser.click("#decisions li .buttons button")
    assert stored(browser) == []
    browser.click("#decisions [role=status] button")
    assert [decision["because"] for decision in stored(browser)] == ["Second."]


def test_escape_leaves_the_form_and_the_focus_returns(browser: Browser, site: Path) -> None:
    browser.open(site / "question-spacer-thickness.html")
    browser.click(f"#{PLACE} p.decide button")
    browser.press("Escape")
    browser.wait(lambda: not browser.texts("dialog"))
    assert browser.run("return document.activeElement.textContent") == "Decide"
    assert stored(browser) == []


@pytest.mark.parametrize(
    ("value", "error", "needs_reason"),
    [
        ("1 mm", "", False),
        ("0.95 to 1.05 mm", "", False),
        ("0.1 cm", "", False),
        ("7 mm", "Write why the course adopts it without a source.", True),
        ("7", "Write the unit, as in 7 mm.", False),
        ("0,5 mm", "Write decimals with a point, as in 0.5.", False),
        ("", "Write the value that the course adopts.", False),
    ],
)
def test_a_value_that_no_source_supports_needs_a_reason(
    browser: Browser, site: Path, value: str, error: str, needs_reason: bool
) -> None:
    decide(browser, site, value=value, because="So.", by="All")
    assert browser.texts(".error") == ([error] if error else [])
    if needs_reason:
        browser.fill("#without", "The maker says so.")
        browser.click("dialog button[type=submit]")
        browser.open(site / "decisions.html")
        assert '    without-source: "The maker says so."' in browser.run(
            "return document.getElementById('form-text').value"
        ).split("\n")
    assert len(stored(browser)) == (1 if needs_reason or not error else 0)


def test_what_another_page_left_in_the_storage_is_not_trusted(browser: Browser, site: Path) -> None:
    key = "`trayconcord/decisions/${document.querySelector('meta[name=trayconcord-store]').content}`"
    for left in ("{", "7", '[null, {"topic": "a: b\\nrulings"}]', '[{"topic": 3}]'):
        browser.run(f"localStorage.setItem({key}, arguments[0])", left)
        browser.open(site / "decisions.html")
        assert browser.text("#decisions").startswith("Nothing has been decided")


def test_a_browser_that_keeps_nothing_shows_the_form_on_the_page(browser: Browser, site: Path) -> None:
    refusal = "Object.defineProperty(window, 'localStorage', {get() { throw new DOMException('refused') }})"
    added = browser.cdp("Page.addScriptToEvaluateOnNewDocument", source=refusal)
    try:
        decide(browser, site, value="1 mm", because="So.", by="All")
        assert 'value: "1 mm"' in browser.run("return document.getElementById('form-text').value")
    finally:
        browser.cdp("Page.removeScriptToEvaluateOnNewDocument", identifier=added["identifier"])
    browser.open(site / "index.html")
    assert stored(browser) == []


# --- text stays text, and pages stay quick ---


def test_whatever_a_form_says_is_shown_as_text_by_the_script_too(browser: Browser, tmp_path: Path) -> None:
    text = json.dumps("</script><img src=x onerror=alert(2)> \u202egnol\u202c " + "w" * 900)
    form = (
        "source: {{id: invented-{0}, title: {1}, authors: [{1}], kind: lecture-notes}}\n"
        "claims:\n  - {{parameter: spacer-thickness, value: {2} mm, at: {1}, obtained: read}}\n"
    )
    layer = enter_forms(tmp_path, form.format("one", text, 1), form.format("two", text, 5))
    build(check(load([layer], only=True)), tmp_path / "site")
    for name in ("find.html", "question-spacer-thickness.html", "sources.html", "index.html"):
        browser.open(tmp_path / "site" / name)
        assert browser.run("return document.querySelectorAll('img, main script').length") == 0
        browser.show_as(360, 800, dark=False)
        assert browser.run("return document.documentElement.scrollWidth") <= 360, name
    browser.open(tmp_path / "site" / "find.html")
    assert "<img src=x onerror=alert(2)>" in browser.run("return document.getElementById('filter-source').innerText")


def test_every_page_is_usable_within_a_second(browser: Browser, site: Path) -> None:
    heaviest = sorted(site.glob("*.html"), key=lambda page: -page.stat().st_size)[:3]
    for page in [*heaviest, site / "find.html", site / "question-spacer-thickness.html"]:
        browser.open(page)
        ready = browser.run("return performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd")
        assert ready < 1000, page.name
    browser.open(site / "find.html")
    took = browser.run(
        "const e = document.getElementById('search'), start = performance.now(); e.value = 'paste';"
        " e.dispatchEvent(new Event('input', {bubbles: true})); document.body.offsetHeight;"
        " return performance.now() - start"
    )
    assert took < 500
