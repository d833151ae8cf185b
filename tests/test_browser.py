"""The pages in a real browser: nothing fetched, nothing in the console, nothing wider than a phone."""

import os
import re
import shutil
import subprocess
from fractions import Fraction
from pathlib import Path

import pytest

from trayconcord.generators.build import build
from trayconcord.generators.marking_pages import feedback_page, marking_sheet
from trayconcord.kb.measured_file import Measurement, Tray
from trayconcord.kb.store import load
from trayconcord.kb.values import Interval
from trayconcord.shapes.check import check
from trayconcord.shapes.marking import mark

CHROMIUM = shutil.which("chromium")
PAGES = (
    "index.html", "reconciliation.html", "study-sheet-maxillary.html", "study-sheet-mandibular.html", "sources.html",
    "question-spacer-thickness.html", "study-sheet-mandibular-wall-and-handle.html", "glossary.html",
    "agenda.html", "items.html", "items/paper.html", "items/key.html", "oral-prompts.html",
    "marking-sheet.html", "marking-feedback.html",
)  # fmt: skip

LOWER = (("arch", "mandibular"), ("impression-material", "irreversible-hydrocolloid"))

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        CHROMIUM is None and os.environ.get("CI") != "true", reason="no Chromium here; continuous integration has one"
    ),
]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("site") / "site"
    report = check(load())
    build(report, out)
    found = Measurement("border-clearance", "labial-sulcus", Interval(Fraction(9, 2), Fraction(9, 2)), "4.5 mm")
    marks = mark(report.store, report.comparison, LOWER, [Tray("A-1", (found,), "An invented tray.")])
    (out / "marking-feedback.html").write_text(feedback_page(marks, report.store), encoding="utf-8")
    (out / "marking-sheet.html").write_text(marking_sheet(report.store, report.comparison, LOWER), encoding="utf-8")
    return out


def browse(page: Path, folder: Path, *options: str) -> subprocess.CompletedProcess[str]:
    assert CHROMIUM is not None, "Chromium must be installed here"
    return subprocess.run(
        [
            CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
            "--disable-background-networking", "--disable-component-update", "--disable-sync",
            "--enable-logging=stderr", "--v=0", f"--user-data-dir={folder / 'profile'}", *options, page.as_uri(),
        ],
        capture_output=True, text=True, timeout=120,
    )  # fmt: skip


@pytest.mark.parametrize("name", PAGES)
def test_a_page_renders_without_a_word_in_the_console(site: Path, tmp_path: Path, name: str) -> None:
    done = browse(site / name, tmp_path, "--dump-dom")
    assert "<h1>" in done.stdout and "</footer>" in done.stdout
    assert re.findall(r"CONSOLE.*", done.stderr) == []
    assert "ERR_" not in done.stderr


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_no_wider_than_a_phone(site: Path, tmp_path: Path, name: str) -> None:
    # A frame as wide as a small phone, measured from a page beside it: headless windows have a minimum width.
    probe = site.parent / f"probe-{name.replace('/', '-')}"
    probe.write_text(
        f'<iframe id="f" style="width:360px;height:700px;border:0" src="site/{name}"></iframe><p id="out">waiting</p>'
        "<script>document.getElementById('f').onload = e => { const d = e.target.contentDocument.documentElement;"
        " document.getElementById('out').textContent = 'width ' + d.scrollWidth }</script>"
    )
    done = browse(probe, tmp_path, "--allow-file-access-from-files", "--virtual-time-budget=5000", "--dump-dom")
    width = re.search(r"width (\d+)", done.stdout)
    assert width is not None, done.stdout[-500:]
    assert int(width[1]) <= 360


def test_a_study_sheet_prints_with_page_numbers_and_without_the_site_header(site: Path, tmp_path: Path) -> None:
    paper = tmp_path / "sheet.pdf"
    browse(site / "study-sheet-maxillary.html", tmp_path, f"--print-to-pdf={paper}", "--no-pdf-header-footer")
    assert paper.read_bytes().startswith(b"%PDF")
    assert 2 <= len(re.findall(rb"/Type\s*/Page\b", paper.read_bytes())) <= 40


@pytest.mark.parametrize("name", ["marking-sheet.html", "marking-feedback.html"])
def test_a_page_on_marking_prints_on_few_pages(site: Path, tmp_path: Path, name: str) -> None:
    paper = tmp_path / "marking.pdf"
    browse(site / name, tmp_path, f"--print-to-pdf={paper}", "--no-pdf-header-footer")
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", paper.read_bytes())) <= 4
