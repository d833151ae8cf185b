"""Charts: the numbers read back out of the drawing are those of the claims, positions and rulings."""

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from invented import NOTES, store_of

from trayconcord.generators.charts import letter, range_chart, scale_of
from trayconcord.generators.pages import anchor, site_pages
from trayconcord.kb.model import comparable
from trayconcord.kb.values import Interval
from trayconcord.shapes.check import Report, check
from trayconcord.shapes.wording import stated_text


def scale_in(chart: ElementTree.Element) -> tuple[float, float]:
    """Pixels per unit and the pixel of zero, read from the first and the last tick; the ticks between must fit."""
    ticks = [(float(t.attrib["x"]), number_in(t.text or "")) for t in chart.iter() if t.attrib.get("class") == "tick"]
    (x0, v0), (x1, v1) = ticks[0], ticks[-1]
    per_unit = (x1 - x0) / (v1 - v0)
    for x, value in ticks:
        assert abs(x0 + (value - v0) * per_unit - x) < 0.5
    return per_unit, x0 - v0 * per_unit


def number_in(text: str) -> float:
    number = re.match(r"-?\d+(\.\d+)?", text)
    assert number is not None, text
    return float(number[0])


def foot_of_flag(chart: ElementTree.Element) -> float:
    """Where the flag at the course's value stands."""
    (flag,) = chart.findall("path[@class='course']")
    start = re.match(r"M(-?[\d.]+) ", flag.attrib["d"])
    assert start is not None
    return float(start[1])


def test_a_range_that_the_course_adopts_is_drawn_from_end_to_end(tmp_path: Path) -> None:
    two = NOTES.replace("value: 3,", "value: 2-4,").replace("invented-notes", "invented-others")
    ruling = "rulings:\n  - {parameter: stop-count, value: 3-5, because: So, decided-on: 2026-01-01, decided-by: All}\n"
    store = store_of(tmp_path, NOTES, two + ruling)
    (topic,) = (t for t in check(store).comparison.topics if t.parameter.id == "stop-count")
    chart = ElementTree.fromstring(
        range_chart(topic, store, scale_of([topic], store)).replace(' xmlns="http://www.w3.org/2000/svg"', "")
    )
    per_unit, zero = scale_in(chart)
    (course,) = chart.findall("rect[@class='course']")
    assert float(course.attrib["x"]) == pytest.approx(zero + 3 * per_unit, abs=0.5)
    assert float(course.attrib["width"]) == pytest.approx(2 * per_unit, abs=0.5)
    assert foot_of_flag(chart) == pytest.approx(zero + 4 * per_unit, abs=0.5)


def test_charts_show_the_numbers_of_the_claims(ruled_report: Report) -> None:
    store = ruled_report.store
    topics = {anchor(topic): topic for topic in ruled_report.comparison.answered}
    text = "".join(
        page.decode() for name, page in sorted(site_pages(ruled_report).items()) if name.startswith("question-")
    )
    drawn = opened = ruled = 0
    for identifier, body in re.findall(r'<article id="([^"]+)"[^>]*>(.*?)</article>', text, re.DOTALL):
        for svg in re.findall(r"<svg .*?</svg>", body, re.DOTALL):
            chart = ElementTree.fromstring(svg.replace(' xmlns="http://www.w3.org/2000/svg"', ""))
            topic = topics[identifier]
            per_unit, zero = scale_in(chart)
            left, right = (float(chart.findall("line[@class='grid']")[n].attrib["x1"]) for n in (0, -1))

            def place(value: Interval, per_unit: float = per_unit, zero: float = zero) -> tuple[float, float]:
                low = left if value.low is None else zero + float(value.low) * per_unit  # noqa: B023
                return low, right if value.high is None else zero + float(value.high) * per_unit  # noqa: B023

            shown = []
            for row in chart.findall("g"):
                dot, bar = row.find("circle"), row.find("line")
                if dot is not None:
                    ends = float(dot.attrib["cx"]), float(dot.attrib["cx"])
                else:
                    assert bar is not None
                    ends = float(bar.attrib["x1"]), float(bar.attrib["x2"])
                shown.append((row.findtext("title", ""), ends, len(row.findall("path"))))
            expected = []
            for claim in topic.claims:
                assert claim.value is not None
                value = comparable(claim.value, topic.parameter, store.vocabulary)
                assert isinstance(value, Interval)
                open_ends = (value.low is None) + (value.high is None)
                expected.append((stated_text(claim, store.vocabulary), place(value), open_ends))
                opened += open_ends
            assert len(shown) == len(expected)
            by_place = sorted(expected, key=lambda claim: (claim[1], claim[0]))
            for (title, ends, arrows), (stated, wanted, open_ends) in zip(
                sorted(shown, key=lambda row: (row[1], row[0].rpartition(": ")[2])), by_place, strict=True
            ):
                assert ends == pytest.approx(wanted, abs=0.5), title
                assert arrows == open_ends, title
                assert title.endswith(f": {stated}") or len(topic.claims) > 1
            bands = chart.findall("rect[@class='band']")
            assert len(bands) == len(topic.positions)
            for band, position in zip(bands, topic.positions, strict=True):
                assert isinstance(position.value, Interval)
                low, high = place(position.value)
                x, width = float(band.attrib["x"]), float(band.attrib["width"])
                assert x + width / 2 == pytest.approx((low + high) / 2, abs=0.5)
                assert width == pytest.approx(max(high - low, 6), abs=0.5)  # a single value is drawn 6 wide
            letters = [t.text for t in chart.iter("text") if t.attrib["class"] == "letter" and t.text != "course"]
            assert letters == ([letter(n) for n in range(len(bands))] if len(bands) > 1 else [])
            course = chart.find("rect[@class='course']")
            assert (course is not None) == (topic.ruling is not None)
            if course is not None and topic.ruling is not None and topic.ruling.value is not None:
                value = comparable(topic.ruling.value, topic.parameter, store.vocabulary)
                assert isinstance(value, Interval)
                assert float(course.attrib["x"]) == pytest.approx(place(value)[0], abs=0.5)
                assert foot_of_flag(chart) == pytest.approx(sum(place(value)) / 2, abs=0.5)
                ruled += 1
            drawn += 1
    assert drawn > 50 and opened > 5 and ruled > 0
