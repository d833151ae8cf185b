"""The QTI 3.0 package: its structure, its bytes, and what a reader and a player that others wrote make of it."""

import html
import importlib.util
import io
import json
import os
import re
import shutil
import subprocess
import zipfile
from dataclasses import replace
from pathlib import Path
from xml.etree.ElementTree import fromstring

import pytest
from qti_schema import ITEM, MANIFEST, PACKAGE, QTI, TEST, conforming

from trayconcord.generators.item_bank import item_bank
from trayconcord.generators.items import Item
from trayconcord.generators.qti import name_of_item, qti_package
from trayconcord.kb.store import Store
from trayconcord.shapes.compare import Comparison


@pytest.fixture(scope="module")
def bank(shipped_store: Store) -> list[Item]:
    return item_bank(shipped_store, Comparison(shipped_store))


@pytest.fixture(scope="module")
def package(bank: list[Item], shipped_store: Store) -> bytes:
    return qti_package(bank, shipped_store.vocabulary)


def files_of(package: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(package)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def test_every_item_keeps_to_the_subset_and_says_what_the_bank_says(bank: list[Item], package: bytes) -> None:
    files = files_of(package)
    for item in bank:
        root = conforming(files[f"items/{name_of_item(item)}.xml"], ITEM, QTI)
        assert root.get("identifier") == name_of_item(item)
        assert root.findtext(f".//{{{QTI}}}qti-correct-response/{{{QTI}}}qti-value") == item.letter
        assert root.findtext(f".//{{{QTI}}}qti-default-value/{{{QTI}}}qti-value") == "0"
        assert root.findtext(f".//{{{QTI}}}qti-prompt") == item.stem
        choices = {c.get("identifier"): c.text for c in root.iter(f"{{{QTI}}}qti-simple-choice")}
        assert choices == {letter: option.text for letter, option, _ in item.lettered}


def test_manifest_test_and_files_name_each_other_exactly(bank: list[Item], package: bytes) -> None:
    files = files_of(package)
    manifest = conforming(files["imsmanifest.xml"], MANIFEST, PACKAGE)
    test = conforming(files["test.xml"], TEST, QTI)
    hrefs = [resource.get("href") for resource in manifest.iter(f"{{{PACKAGE}}}resource")]
    assert sorted(hrefs) == sorted(set(files) - {"imsmanifest.xml"})
    assert hrefs == [file.get("href") for file in manifest.iter(f"{{{PACKAGE}}}file")]
    identifiers = [resource.get("identifier") for resource in manifest.iter(f"{{{PACKAGE}}}resource")]
    assert len(set(identifiers)) == len(identifiers)
    dependencies = [d.get("identifierref") for d in manifest.iter(f"{{{PACKAGE}}}dependency")]
    assert dependencies == [f"resource-{name_of_item(item)}" for item in bank]
    refs = [(ref.get("identifier"), ref.get("href")) for ref in test.iter(f"{{{QTI}}}qti-assessment-item-ref")]
    assert refs == [(name_of_item(item), f"items/{name_of_item(item)}.xml") for item in bank]


def test_identifiers_are_short_and_told_apart(bank: list[Item]) -> None:
    names = [name_of_item(item) for item in bank]
    assert len(set(names)) == len(names) and max(map(len, names)) <= 80
    assert all(name == f"item-{item.id}" for name, item in zip(names, bank, strict=True) if len(item.id) <= 75)


def test_equal_banks_give_equal_bytes_and_files_bear_no_time(
    bank: list[Item], package: bytes, shipped_store: Store
) -> None:
    assert qti_package(bank, shipped_store.vocabulary) == package
    with zipfile.ZipFile(io.BytesIO(package)) as archive:
        assert archive.testzip() is None
        assert archive.namelist() == sorted(archive.namelist())
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_signs_that_xml_reserves_or_forbids_do_no_harm(bank: list[Item], shipped_store: Store) -> None:
    option = replace(bank[0].options[0], text='<b>"2" & more</b>\x0b')
    item = replace(bank[0], options=(option, *bank[0].options[1:]), stem="Is 1 < 2?")
    files = files_of(qti_package([item], shipped_store.vocabulary))
    root = conforming(files[f"items/{name_of_item(item)}.xml"], ITEM, QTI)
    assert next(root.iter(f"{{{QTI}}}qti-simple-choice")).text == '<b>"2" & more</b>'


def test_the_schema_of_the_tests_notices_what_is_wrong(bank: list[Item], package: bytes) -> None:
    data = files_of(package)[f"items/{name_of_item(bank[0])}.xml"].decode()
    for before, after in (
        ('max-choices="1"', 'max-choices="2"'),
        ('imsqtiasi_v3p0" xmlns:xsi', 'imsqtiasi_v2p2" xmlns:xsi'),
        ("<qti-prompt>", "<p>x</p><qti-prompt>"),
        ("qti-value>0<", "qti-value> <"),
        ("qti-item-body", "qti-body"),
    ):
        assert before in data
        with pytest.raises(AssertionError):
            conforming(data.replace(before, after).encode(), ITEM, QTI)


@pytest.mark.schema
@pytest.mark.skipif(
    importlib.util.find_spec("qti_convert") is None and os.environ.get("CI") != "true",
    reason="no qti_convert here (PyPI: citolab-qti-convert); continuous integration installs it",
)
def test_another_library_reads_the_package(bank: list[Item], package: bytes) -> None:
    """citolab-qti-convert (PyPI) reads the package and writes the same questions and keys as QTI 2.1."""
    from qti_convert import downgrade_package, read_package  # type: ignore[import-not-found]

    assert set(read_package(package)) == set(files_of(package))
    converted = downgrade_package(package)
    assert not converted.warnings
    older = "{http://www.imsglobal.org/xsd/imsqti_v2p1}"
    for item in bank:
        root = fromstring(converted.files[f"items/{name_of_item(item)}.xml"])
        assert root.findtext(f".//{older}correctResponse/{older}value") == item.letter
        texts = [choice.text for choice in root.iter(f"{older}simpleChoice")]
        assert texts == [option.text for option in item.options]


CHROMIUM = shutil.which("chromium")
PLAYER = os.environ.get("TRAYCONCORD_QTI_PLAYER", "")
PAGE = """<!DOCTYPE html><meta charset="utf-8"><pre id="out">not played</pre>
<script src="player.js"></script>
<script>
const items = ITEMS;
(async () => {
  const found = {};
  for (const [name, xml] of Object.entries(items)) {
    const outer = document.createElement("qti-item"), inner = document.createElement("item-container");
    inner.itemXML = xml;
    outer.append(inner);
    document.body.append(outer);
    let item = null;
    for (let tries = 0; tries < 100 && !item; tries++) {
      await new Promise(done => setTimeout(done, 20));
      item = inner.shadowRoot && inner.shadowRoot.querySelector("qti-assessment-item");
    }
    await item.updateComplete;
    found[name] = {};
    for (const choice of item.querySelectorAll("qti-simple-choice")) {
      item.updateResponseVariable("RESPONSE", choice.getAttribute("identifier"));
      item.processResponse();
      found[name][choice.textContent.trim()] = Number(item.variables.find(v => v.identifier === "SCORE").value);
    }
    outer.remove();
  }
  document.getElementById("out").textContent = JSON.stringify(found);
})();
</script>
"""


@pytest.mark.browser
@pytest.mark.skipif(
    not (CHROMIUM and PLAYER) and os.environ.get("CI") != "true",
    reason="needs Chromium and, in TRAYCONCORD_QTI_PLAYER, cdn/index.global.js of npm's @citolab/qti-components",
)
def test_a_player_scores_the_key_and_nothing_else(bank: list[Item], package: bytes, tmp_path: Path) -> None:
    """Every item is played in @citolab/qti-components (npm), each option chosen in turn."""
    shutil.copy(PLAYER, tmp_path / "player.js")
    files = {name: data.decode() for name, data in files_of(package).items() if name.startswith("items/")}
    page = tmp_path / "play.html"
    page.write_text(PAGE.replace("ITEMS", json.dumps(files).replace("</", "<\\/")), encoding="utf-8")
    assert CHROMIUM is not None
    run = subprocess.run(
        [
            CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
            "--disable-background-networking", f"--user-data-dir={tmp_path / 'profile'}",
            "--virtual-time-budget=120000", "--dump-dom", page.as_uri(),
        ],
        capture_output=True, text=True, timeout=300, check=True,
    )  # fmt: skip
    dumped = re.search(r'<pre id="out">(.*?)</pre>', run.stdout, re.DOTALL)
    assert dumped is not None
    played = json.loads(html.unescape(dumped[1]))
    for item in bank:
        expected = {option.text: int(right) for _, option, right in item.lettered}
        assert played[f"items/{name_of_item(item)}.xml"] == expected
