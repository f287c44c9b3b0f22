"""The report read back: its numbers, its structure, and that it needs nothing from elsewhere."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, timedelta
from functools import cache
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree as ET

import html5lib  # type: ignore[import-untyped]
import pytest

from coach.border import data_path
from coach.records.document import Document, summary
from coach.report.page import report
from coach.report.review import Question, review
from coach.voice.lines import load_lines
from tests.report import independent
from tests.report.history import FIRST, Invented, group_of_eight, ten_years

HTML = "{http://www.w3.org/1999/xhtml}"
SVG = "{http://www.w3.org/2000/svg}"


@cache
def ten() -> list[Document]:
    return ten_years()


@cache
def groups() -> list[Document]:
    return [group_of_eight(seed, FIRST + timedelta(days=7 * seed)) for seed in range(7)]


def written(docs: Sequence[Document], person: str | None = None) -> str:
    """The report of these sessions, of which the last is told in full."""
    lines = load_lines(data_path("config", "lines", "en.toml"))
    rows = [summary(made) for made in docs]
    today = date.fromisoformat(docs[-1]["started"][:10]) if docs else FIRST.date()
    said = [lines.text(*each) for each in review(rows, Question.LAST, today, person)]
    return report(rows, docs[-1] if docs else None, said, today, person)


@cache
def page(name: str) -> str:
    """One of the reports that the tests look at."""
    lesson = [made for made in ten() if made["plan"] == "first-lesson"]
    docs: dict[str, tuple[list[Document], str | None]] = {
        "empty": ([], None),
        "one": (lesson[:1], None),
        "ten years": ([*ten(), lesson[-1]], None),
        "group": (groups(), None),
        "one of the group": (groups(), "Wim"),
    }
    return written(*docs[name])


PAGES = ("empty", "one", "ten years", "group", "one of the group")


def parsed(text: str) -> Any:
    """Parsed as HTML, strictly: a mistake in the markup is an error."""
    return html5lib.HTMLParser(strict=True).parse(text)


def texts(element: Any) -> str:
    return " ".join("".join(element.itertext()).split())


def tables(root: Any, caption: str) -> list[list[str]]:
    """The rows of the first table whose caption begins like this."""
    for table in root.iter(f"{HTML}table"):
        if texts(table.find(f"{HTML}caption")).startswith(caption):
            rows = table.find(f"{HTML}tbody").iter(f"{HTML}tr")
            return [[texts(cell) for cell in row] for row in rows]
    raise AssertionError(f"no table {caption!r}")


def seconds(text: str) -> float:
    """Reads "1:13.4" and "42.0 s" back."""
    if text.endswith(" s"):
        return float(text.removesuffix(" s"))
    minutes, rest = text.split(":")
    return 60 * int(minutes) + float(rest)


# --- nothing from elsewhere --------------------------------------------------------------


@pytest.mark.parametrize("name", PAGES)
def test_nothing_is_fetched_and_nothing_runs(name: str) -> None:
    text = page(name)
    for element in parsed(text).iter():
        tag = str(element.tag).rpartition("}")[2]
        assert tag not in {"script", "iframe", "link", "img", "object", "embed", "base", "form"}
        for key, value in element.attrib.items():
            if str(key).rpartition("}")[2] in {"src", "href", "data", "action", "srcset"}:
                assert value.startswith("#"), value
            assert not str(key).startswith("on")
    style = text[text.index("<style>") : text.index("</style>")]
    assert not re.search(r"url\(|@import|@font-face", style)


@pytest.mark.parametrize("name", PAGES)
def test_markup_is_valid_and_every_link_leads_somewhere(name: str) -> None:
    root = parsed(page(name))
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    links = [a.get("href") for a in root.iter(f"{HTML}a")]
    assert links
    assert all(link.removeprefix("#") in ids for link in links)
    for element in root.iter():
        for key in ("aria-labelledby", "aria-describedby"):
            assert set((element.get(key) or "").split()) <= set(ids)


def test_five_hundred_sessions_weigh_less_than_a_megabyte() -> None:
    assert len(written(ten()[:500]).encode()) < 1_000_000


def test_ten_years_weigh_less_than_a_megabyte_too() -> None:
    assert len(page("ten years").encode()) < 1_000_000


# --- structure ---------------------------------------------------------------------------


@pytest.mark.parametrize("name", PAGES)
def test_structure_for_those_who_listen_to_the_page(name: str) -> None:
    root = parsed(page(name))
    assert root.get("lang") == "en"
    body = root.find(f"{HTML}body")
    assert texts(body[0]) == "Go to the content"  # the first stop of the Tab key
    assert [len(list(root.iter(f"{HTML}{tag}"))) for tag in ("main", "h1")] == [1, 1]
    levels = [int(str(e.tag)[-1]) for e in root.iter() if re.fullmatch(r".*\}h[1-6]", str(e.tag))]
    assert all(after - before <= 1 for before, after in pairwise(levels))
    for table in root.iter(f"{HTML}table"):
        assert texts(table.find(f"{HTML}caption"))
        heads = table.find(f"{HTML}thead").iter(f"{HTML}th")
        assert all(head.get("scope") == "col" for head in heads)
        for row in table.find(f"{HTML}tbody"):
            assert row[0].get("scope") == "row"


@pytest.mark.parametrize("name", ["ten years", "group"])
def test_every_picture_has_words_and_numbers(name: str) -> None:
    root = parsed(page(name))
    figures = list(root.iter(f"{HTML}figure"))
    assert figures
    for figure in figures:
        for svg in figure.iter(f"{SVG}svg"):
            assert svg.get("role") == "img"
            assert len(texts(svg.find(f"{SVG}title"))) > 4
            assert len(texts(svg.find(f"{SVG}desc"))) > 30
        table = figure.find(f"{HTML}details").find(f".//{HTML}table")
        assert len(list(table.find(f"{HTML}tbody"))) >= 1


def test_invented_practice_is_marked_and_real_practice_is_not() -> None:
    assert "Invented." in page("one")
    one = Invented("real", FIRST, "three-holds", invented=False)
    one.hold("main", [60.0])
    assert "Invented." not in written([one.end()])


def test_an_empty_store_gives_a_page_that_says_so() -> None:
    assert "No practice is kept here yet." in texts(parsed(page("empty")))


@pytest.mark.parametrize("name", PAGES)
def test_cautions_stand_in_every_report(name: str) -> None:
    text = texts(parsed(page(name)))
    assert "no medical advice" in text
    assert "In water nobody holds the breath alone" in text
    assert "No fast or deep breathing before a hold" in text


# --- numbers -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "caption"),
    [
        ("main", "Holds after the relaxation"),
        ("relaxed", "Relaxed holds"),
        ("comfort", "Holds to the first urge to breathe"),
        ("baseline", "Holds without preparation"),
    ],
)
def test_tables_of_holds_equal_the_documents(kind: str, caption: str) -> None:
    row = independent.first_holds(ten(), kind)
    shown = tables(parsed(written(ten())), caption)
    assert len(shown) == len(row.values)
    for cells, day, value in zip(shown, row.days, row.values, strict=True):
        assert cells[0] == (date(1970, 1, 1) + timedelta(days=int(day))).isoformat()
        assert seconds(cells[1]) == pytest.approx(value, abs=0.0501)


def test_table_of_the_pulse_equals_the_documents() -> None:
    root = parsed(written(ten()))
    before, after = (independent.pulses(ten(), place) for place in ("before", "relaxed"))
    shown = tables(root, "Pulse before and after")
    assert [int(cells[1]) for cells in shown] == [round(value) for value in before.values]
    assert [int(cells[2]) for cells in shown] == [round(value) for value in after.values]
    differences = [round(b - a) for a, b in zip(before.values, after.values, strict=True)]
    assert [int(cells[3]) for cells in shown] == differences
    middle = sorted(differences)[len(differences) // 2]
    assert f"The median difference is {middle:+d} beats a minute." in texts(root)
    mornings = tables(root, "Morning pulse")
    expected = [round(value) for value in independent.pulses(ten(), "morning").values]
    assert [int(cells[1]) for cells in mornings] == expected


def test_words_of_a_chart_equal_an_independent_trend() -> None:
    """Few enough results that nothing is taken together by medians."""
    docs = ten()[:150]
    way, change = independent.trend(independent.first_holds(docs, "main"))
    assert way == "rising"
    assert f"Rising over the whole time by {change:.0f} seconds" in written(docs)


def test_dots_of_a_chart_lie_where_the_numbers_are() -> None:
    """Heights of the dots are a straight line of the lengths, with the sign of the axis."""
    one, two, three = (
        Invented(f"s{n}", FIRST + timedelta(days=n), "three-holds") for n in range(3)
    )
    for some, length_s in ((one, 60.0), (two, 90.0), (three, 100.0)):
        some.hold("main", [length_s])
    root = parsed(written([one.end(), two.end(), three.end()]))
    figure = next(f for f in root.iter(f"{HTML}figure") if f.get("id") == "hold-main")
    dots = [(float(c.get("cx")), float(c.get("cy"))) for c in figure.iter(f"{SVG}circle")]
    (x1, y1), (x2, y2), (x3, y3) = dots
    assert y1 > y2 > y3  # SVG counts downwards
    assert x2 - x1 == pytest.approx(x3 - x2, abs=0.2)
    assert (y1 - y2) / (y2 - y3) == pytest.approx(30 / 10, rel=0.03)


def test_line_of_a_trend_goes_where_the_trend_goes() -> None:
    """Through the medians, with Sen's slope: 60, 70, ... 110 s lie on it exactly."""
    docs = []
    for number in range(6):
        one = Invented(f"s{number}", FIRST + timedelta(days=number), "three-holds")
        one.hold("main", [60.0 + 10 * number])
        docs.append(one.end())
    root = parsed(written(docs))
    svg = next(s for s in root.iter(f"{SVG}svg") if s.get("aria-labelledby") == "hold-main-title")
    parts = {g.get("class"): g for g in svg.iter(f"{SVG}g") if g.get("class")}
    dots = [(float(c.get("cx")), float(c.get("cy"))) for c in parts["dots"]]
    line = [tuple(map(float, at.split(","))) for at in parts["middle"][0].get("points").split()]
    assert line[0] == pytest.approx(dots[0], abs=0.2)
    assert line[-1] == pytest.approx(dots[-1], abs=0.2)


def test_timeline_tells_holds_contractions_calls_and_words() -> None:
    one = Invented("s", FIRST, "first-lesson")
    one.hold("main", [42.04], contractions_s=[31.5, 38.2])
    one.pulse("before", 17)
    root = parsed(written([one.end()]))
    (cells,) = tables(root, "Holds; contractions")
    assert cells == [
        "main 1", "main", "42.0 s", "a word", "31.5, 38.2", "10.0, 20.0, 30.0, 40.0", "okay",
    ]  # fmt: skip
    assert tables(root, "Pulse counts") == [
        ["before", "before the relaxation", "15 s", "17", "68", "1.6", "no"]
    ]
    words = [row[2] for row in tables(root, "Everything that was said and heard")]
    assert "Are you okay?" in words
    assert "okay" in words
    svg = next(iter(root.iter(f"{SVG}svg")))
    counts = {g.get("class"): len(g) for g in svg.iter(f"{SVG}g") if g.get("class")}
    assert (counts["hold"], counts["contraction"], counts["call"], counts["count"]) == (1, 2, 4, 1)


def test_calls_belong_to_the_hold_in_which_they_were_heard() -> None:
    """In a group the calls go on for the others after somebody came up."""
    one = Invented("g", FIRST, "first-lesson", ("Ula", "Bo"))
    one.hold("main", [25.0, 45.0])
    shown = tables(parsed(written([one.end()])), "Holds; contractions")
    assert [row[5] for row in shown] == ["10.0, 20.0", "10.0, 20.0, 30.0, 40.0"]


def test_demonstrations_are_left_out_where_somebody_practised() -> None:
    real = Invented("real", FIRST + timedelta(days=1), "three-holds", invented=False)
    real.hold("main", [60.0])
    text = written([ten()[1], real.end()])
    assert len(tables(parsed(text), "Holds after the relaxation")) == 1
    assert "Invented." not in text


def test_a_hold_without_an_end_is_told_and_not_counted() -> None:
    one = Invented("s", FIRST, "three-holds")
    one.hold("main", [None])
    root = parsed(written([one.end()]))
    assert tables(root, "Holds; contractions")[0][2] == "not known"
    assert "The end of a hold is not known: main 1." in texts(root)
    assert "No hold that could be compared is kept yet." in texts(root)


def test_no_answer_after_a_hold_is_a_caution() -> None:
    one = Invented("s", FIRST, "three-holds")
    one.hold("main", [60.0], check_in="none")
    assert "after “main 1”: no answer to the check-in." in texts(parsed(written([one.end()])))


def test_holds_at_the_limit_of_the_plan_are_drawn_and_told_apart() -> None:
    docs = []
    for number, by in enumerate(["word", "cap", "cap"]):
        one = Invented(f"s{number}", FIRST + timedelta(days=number), "three-holds")
        one.hold("main", [60.0 + number], ended_by=by)
        docs.append(one.end())
    root = parsed(written(docs))
    svg = next(s for s in root.iter(f"{SVG}svg") if s.get("aria-labelledby") == "hold-main-title")
    drawn = {g.get("class"): len(g) for g in svg.iter(f"{SVG}g")}
    assert (drawn["dots"], drawn["rings"]) == (1, 2)
    ends = [row[3] for row in tables(root, "Holds after the relaxation")]
    assert ends == ["the person", "limit", "limit"]


def test_somebody_who_missed_the_last_session_still_has_their_own_page() -> None:
    one = Invented("last", FIRST + timedelta(days=99), "three-holds")
    one.hold("main", [60.0])
    root = parsed(written([*groups(), one.end()], "Pia"))
    assert len(tables(root, "Holds after the relaxation")) == 7
    assert "Session of" not in texts(root)


def test_an_early_correction_can_be_seen() -> None:
    root = parsed(page("group"))
    assert ["check-in:4:main 2", "answer okay", "voice"] in tables(root, "Values that were")


# --- a group -----------------------------------------------------------------------------


def test_group_stands_in_the_order_of_its_numbers_without_ranks() -> None:
    root = parsed(page("group"))
    people = [row[0] for row in tables(root, "Everybody in this session")]
    assert [int(re.findall(r"\d+", one)[0]) for one in people] == [1, 2, 3, 4, 5, 6, 7, 8]
    everything = texts(root)
    assert not re.search(r"rank|winner|place \d|first place|best of", everything)
    assert "says nothing about" in everything or "say nothing about each other" in everything


def test_somebody_in_the_group_stands_beside_their_own_earlier_median() -> None:
    shown = tables(parsed(page("group")), "Everybody in this session")
    held = [
        next(h for h in made["holds"] if (h["participant"], h["kind"]) == (2, "baseline"))
        for made in groups()[:-1]
    ]
    lengths = sorted(hold["duration_s"] for hold in held)
    middle = (lengths[2] + lengths[3]) / 2
    baseline = next(part for part in shown[1][2].split(", ") if part.startswith("baseline"))
    assert seconds(baseline.removeprefix("baseline ")) == pytest.approx(middle, abs=0.0501)


def test_a_bad_moment_stands_before_the_numbers() -> None:
    text = texts(parsed(page("group")))
    assert "Number 4, Wim, after “main 2”: answered “dizzy”" in text
    assert text.index("answered “dizzy”") < text.index("Timeline of the session")
    assert "alarm (Number 6, Oda, main 2)" in text


def test_own_report_of_one_from_a_group_shows_nobody_else() -> None:
    text = texts(parsed(page("one of the group")))
    assert "Breath-hold practice: Wim" in text
    for other in ("Ula", "Pia", "Oda", "Jon", "Number 5", "participant 5"):
        assert other not in text
    others = {
        f"{hold['duration_s']:.1f} s" for hold in groups()[-1]["holds"]
        if hold["participant"] != 4 and hold["duration_s"] is not None and hold["duration_s"] < 60
    }  # fmt: skip
    own = {h["duration_s"] for made in groups() for h in made["holds"] if h["participant"] == 4}
    others -= {f"{value:.1f} s" for value in own}
    assert others
    assert not [value for value in others if value in text]


# --- hostile and odd input ---------------------------------------------------------------


def test_a_name_is_text_and_never_markup() -> None:
    evil = '<img src=x onerror="alert(1)">&amp;</title>'
    one = Invented("s", FIRST, "three-holds", (evil,))
    one.say("", "<b>okay</b>", 1.0, who=evil)
    one.hold("main", [60.0], label="<i>main</i>")
    root = parsed(written([one.end()]))
    assert not list(root.iter(f"{HTML}img"))
    assert not list(root.iter(f"{HTML}i"))
    assert evil in texts(root)


def test_charts_are_well_formed_without_an_html_parser() -> None:
    for svg in re.findall(r"<svg.*?</svg>", page("ten years"), re.S):
        ET.fromstring(svg)


def test_two_sessions_on_one_day_and_equal_values_make_a_chart() -> None:
    docs = []
    for number in range(2):
        one = Invented(f"s{number}", FIRST + timedelta(hours=number), "three-holds")
        one.hold("main", [60.0])
        one.pulse("morning", 60, 60.0)
        docs.append(one.end())
    root = parsed(written(docs))
    assert len(tables(root, "Holds after the relaxation")) == 2
