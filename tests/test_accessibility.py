"""Every kind of page under an accessibility engine: WCAG 2.2, levels A and AA, without a violation.

The engine is axe-core from the npm registry; continuous integration brings it and names its file in TRAYCONCORD_AXE.
"""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from webdriver import CHROMIUM, DRIVER, Browser

from trayconcord.generators.build import build
from trayconcord.shapes.check import Report

AXE = os.environ.get("TRAYCONCORD_AXE", "")
LEVELS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
PAGES = (
    "index.html", "find.html", "reconciliation.html", "decisions.html", "coverage.html", "sources.html",
    "study-sheet-maxillary.html", "question-spacer-thickness.html", "question-procedure.html",
    "question-stop-sites.html", "question-tray-fit.html", "agenda.html", "glossary.html",
    "study-sheet-mandibular-wall-and-handle.html", "items.html", "items/paper.html", "items/key.html",
    "oral-prompts.html",
)  # fmt: skip
ASK = """
const done = arguments[arguments.length - 1];
axe.run(document, {runOnly: {type: "tag", values: arguments[0]}, resultTypes: ["violations"]}).then(
  (found) => done(found.violations.map((v) => [v.id, v.help, v.nodes.slice(0, 5).map((n) => n.html.slice(0, 200))])),
  (error) => done([["error", String(error), []]]),
);
"""

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        not (CHROMIUM and DRIVER and AXE) and os.environ.get("CI") != "true",
        reason="no Chromium, chromedriver or axe-core (TRAYCONCORD_AXE) here; continuous integration has them",
    ),
]


@pytest.fixture(scope="module")
def site(ruled_report: Report, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("site") / "site"
    build(ruled_report, out)
    return out


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    with Browser(tmp_path_factory.mktemp("browser")) as opened:
        yield opened


def violations(browser: Browser) -> list[Any]:
    browser.run(f"{Path(AXE).read_text(encoding='utf-8')}; window.axe = axe")
    return list(browser.run_later(ASK, LEVELS))


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width", [1200, 360], ids=["desktop", "phone"])
@pytest.mark.parametrize("name", PAGES)
def test_a_page_meets_the_guidelines(browser: Browser, site: Path, name: str, width: int, dark: bool) -> None:
    browser.show_as(width, 800, dark)
    browser.open(site / name)
    assert violations(browser) == []


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width", [1200, 360], ids=["desktop", "phone"])
def test_the_form_of_a_decision_and_the_list_meet_them_too(
    browser: Browser, site: Path, width: int, dark: bool
) -> None:
    browser.show_as(width, 800, dark)
    browser.open(site / "question-spacer-thickness.html", "?decide#spacer-thickness--arch-maxillary")
    browser.click("dialog button[type=submit]")  # with its complaints
    assert browser.texts(".error")
    assert violations(browser) == []
    browser.fill("#value", "9 mm")
    for field in ("without", "because", "by"):
        browser.fill(f"#{field}", "So.")
    browser.click("dialog button[type=submit]")
    browser.open(site / "decisions.html")
    assert browser.texts("#decisions ol > li")
    assert violations(browser) == []
    browser.run("localStorage.clear()")


def test_the_engine_finds_what_is_wrong(browser: Browser, site: Path) -> None:
    browser.open(site / "index.html")
    browser.run("document.querySelector('main').append(document.createElement('img'))")
    assert [rule for rule, *_ in violations(browser)] == ["image-alt"]
