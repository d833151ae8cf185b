"""Charts: the numbers read back out of the drawing are those of the claims, positions and rulings."""

import re
from fractions import Fraction
from pathlib import Path

import pytest
from html_tree import Element, parse
from invented import NOTES, store_of

from trayconcord.generators.charts import range_chart, scale_of
from trayconcord.generators.pages import anchor, site_pages
from trayconcord.kb.model import comparable
from trayconcord.kb.store import Store
from trayconcord.kb.values import Interval
from trayconcord.shapes.check import Report, check
from trayconcord.shapes.plausible import is_plausible
from trayconcord.shapes.wording import letter, printed_text

SPACER = """source: {{id: invented-{number}, title: Invented {number}, kind: lecture-notes}}
claims:
  - {{parameter: wall-thickness, value: {value}, at: p. 1, obtained: read}}
"""


def share(text: str) -> float:
    """A horizontal place, in per cent of the plot."""
    assert text.endswith("%")
    return float(text[:-1])


def part(chart: Element, kind: str) -> Element:
    (found,) = (svg for svg in chart.all("svg") if svg.attributes.get("class") == kind)
    return found


def scale_in(chart: Element) -> tuple[float, float]:
    """Per cent of the plot per unit and the place of zero, by the first and last tick; those between must fit."""
    ticks = [(share(tick.attributes["x"]), number_in(tick.text)) for tick in part(chart, "axis").all("text")]
    (x0, v0), (x1, v1) = ticks[0], ticks[-1]
    assert (x0, x1) == (0, 100)
    per_unit = (x1 - x0) / (v1 - v0)
    for x, value in ticks:
        assert abs(x0 + (value - v0) * per_unit - x) < 0.2
    return per_unit, x0 - v0 * per_unit


def number_in(text: str) -> float:
    number = re.match(r"-?\d+(\.\d+)?", text)
    assert number is not None, text
    return float(number[0])


def ends_in(row: Element) -> tuple[float, float]:
    """The ends of what a row draws."""
    for mark in row.all("circle"):
        return (share(mark.attributes["cx"]),) * 2
    (bar,) = row.all("line")
    return share(bar.attributes["x1"]), share(bar.attributes["x2"])


def chart_of(store: Store, parameter: str) -> tuple[Element, str]:
    (topic,) = (t for t in check(store).comparison.topics if t.parameter.id == parameter)
    text = range_chart(topic, store, scale_of([topic], store))
    return parse(text), text


def test_a_range_that_the_course_adopts_is_drawn_from_end_to_end(tmp_path: Path) -> None:
    two = NOTES.replace("value: 3,", "value: 2-4,").replace("invented-notes", "invented-others")
    ruling = "rulings:\n  - {parameter: stop-count, value: 3-5, because: So, decided-on: 2026-01-01, decided-by: All}\n"
    chart, _ = chart_of(store_of(tmp_path, NOTES, two + ruling), "stop-count")
    per_unit, zero = scale_in(chart)
    (course,) = part(chart, "flag").all("rect")
    assert share(course.attributes["x"]) == pytest.approx(zero + 3 * per_unit, abs=0.1)
    assert share(course.attributes["width"]) == pytest.approx(2 * per_unit, abs=0.1)
    (flag,) = part(chart, "flag").all("svg")
    assert share(flag.attributes["x"]) == pytest.approx(zero + 4 * per_unit, abs=0.1)


def test_what_lies_outside_the_plausible_range_is_told_and_not_drawn(tmp_path: Path) -> None:
    forms = [SPACER.format(number=n, value=value) for n, value in enumerate(("2 mm", "2-3 mm", "12 mm"))]
    chart, _ = chart_of(store_of(tmp_path, *forms), "wall-thickness")
    assert [tick.text for tick in part(chart, "axis").all("text")][-1] == "3 mm"
    assert len([row for row in chart.all("svg") if row.attributes.get("class") == "row"]) == 2
    assert [text.text for text in part(chart, "letters").all("text")] == ["A"]
    (told,) = chart.classed("outside")
    assert told.text.startswith("Outside the plausible range of 0.5–6 mm, not drawn: B 12 mm (")


def test_a_topic_of_implausible_values_alone_has_no_plot(tmp_path: Path) -> None:
    chart, text = chart_of(store_of(tmp_path, SPACER.format(number=1, value="12 mm")), "wall-thickness")
    assert not list(chart.all("svg"))
    assert "not drawn: 12 mm (" in text


def test_charts_show_the_numbers_of_the_claims(ruled_report: Report) -> None:
    store = ruled_report.store
    topics = {anchor(topic): topic for topic in ruled_report.comparison.answered}
    drawn = opened = ruled = outside = 0
    for name, page in sorted(site_pages(ruled_report).items()):
        for article in parse(page.decode()).all("article") if name.startswith("question-") else ():
            for chart in article.classed("chart"):
                topic = topics[article.attributes["id"]]
                per_unit, zero = scale_in(chart)

                def place(end: Fraction | None, none: float, scale: tuple[float, float] = (per_unit, zero)) -> float:
                    return none if end is None else scale[1] + float(end) * scale[0]

                labels = [label.attributes["title"] for label in chart.classed("label")]
                rows = [svg for svg in chart.all("svg") if svg.attributes.get("class") == "row"]
                shown = [
                    (label.rpartition(": ")[2], ends_in(row), len(list(row.all("path"))))
                    for label, row in zip(labels, rows, strict=True)
                ]
                expected = []
                left_out = []
                for claim in topic.claims:
                    assert claim.value is not None
                    value = comparable(claim.value, topic.parameter, store.vocabulary)
                    assert isinstance(value, Interval)
                    stated = printed_text(claim, store.vocabulary).rpartition(": ")[2]
                    if not is_plausible(value, topic.parameter):
                        left_out.append(stated)
                        continue
                    open_ends = (value.low is None) + (value.high is None)
                    expected.append((stated, (place(value.low, 0), place(value.high, 100)), open_ends))
                    opened += open_ends
                assert len(shown) == len(expected)
                for (label, ends, arrows), (stated, wanted, open_ends) in zip(
                    sorted(shown), sorted(expected), strict=True
                ):
                    assert (label, arrows) == (stated, open_ends)
                    assert ends == pytest.approx(wanted, abs=0.1), label
                told = " ".join(note.text for note in chart.classed("outside"))
                assert all(stated in told for stated in left_out) and bool(told) == bool(left_out)
                outside += len(left_out)
                bands = [band for band in part(chart, "ground").all() if band.attributes["class"] == "band"]
                kept = [(n, p.value) for n, p in enumerate(topic.positions) if is_plausible(p.value, topic.parameter)]
                for band, (_, value) in zip(bands, kept, strict=True):
                    assert isinstance(value, Interval)
                    x, wide = (
                        band.attributes.get("x", band.attributes.get("x1", "")),
                        band.attributes.get("width", "0%"),
                    )
                    assert share(x) == pytest.approx(place(value.low, 0), abs=0.1)
                    assert share(wide) == pytest.approx(place(value.high, 100) - place(value.low, 0), abs=0.1)
                letters = [text.text for text in part(chart, "letters").all("text")]
                assert letters == ([letter(number) for number, _ in kept] if len(topic.positions) > 1 else [])
                flags = [svg for svg in chart.all("svg") if svg.attributes.get("class") == "flag"]
                assert bool(flags) == (topic.ruling is not None)
                if topic.ruling is not None and topic.ruling.value is not None:
                    value = comparable(topic.ruling.value, topic.parameter, store.vocabulary)
                    assert isinstance(value, Interval)
                    middle = (place(value.low, 0) + place(value.high, 100)) / 2
                    assert share(next(flags[0].all("svg")).attributes["x"]) == pytest.approx(middle, abs=0.1)
                    ruled += 1
                drawn += 1
    assert drawn > 50 and opened > 5 and ruled > 0 and outside > 0
