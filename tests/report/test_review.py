"""The spoken review against the same told by NumPy and SciPy, and what it must never say."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import coach.report
from coach.border import BadInput, data_path
from coach.practice.steward import QUESTIONS
from coach.practice.words import Command
from coach.records.document import Document, Summary, summary
from coach.report.review import Question, last_session, person_named, review
from coach.voice.lines import Lines, load_lines
from tests.report import independent
from tests.report.history import FIRST, Invented, group_of_eight, ten_years

ORDER = ("main", "relaxed", "comfort", "baseline")


@cache
def history() -> list[Document]:
    return ten_years()


@cache
def summaries() -> list[Summary]:
    return [summary(made) for made in history()]


@cache
def lines() -> Lines:
    return load_lines(data_path("config", "lines", "en.toml"))


def days_of_asking() -> list[date]:
    """Days spread over ten years, more of them at the beginning, on every day of the week."""
    return [FIRST.date() + timedelta(days=n) for n in (*range(0, 120, 10), *range(120, 3640, 97))]


def asked(question: Question, today: date) -> tuple[list[Document], dict[str, dict[str, Any]]]:
    """The documents until `today`, and what is said of them by line."""
    docs = independent.until(history(), today)
    said = review(summaries()[: len(docs)], question, today)
    assert len({line for line, _ in said}) == len(said)
    return docs, {line: dict(values) for line, values in said}


# --- an invented history of ten years ----------------------------------------------------


def days_of_practice(year: int) -> list[date]:
    """The days of every fourth session of a year; four and five plans have nothing in common."""
    mine = history()[year * 156 : (year + 1) * 156 : 4]
    return [date.fromisoformat(made["started"][:10]) for made in mine]


@pytest.mark.parametrize("year", range(10))
def test_last_session_is_compared_as_computed_independently(year: int) -> None:
    for today in days_of_practice(year):
        docs, said = asked(Question.LAST, today)
        check_last(docs, said)


def check_last(docs: list[Document], said: dict[str, dict[str, Any]]) -> None:
    here = docs[-1]
    kinds = [kind for kind in ORDER if any(hold["kind"] == kind for hold in here["holds"])]
    if not kinds:
        return
    row = independent.first_holds(docs, kinds[0])
    first = row.values[-1]
    told = said.get(f"rev_hold_{kinds[0]}") or said["rev_repeated"]
    assert told.get("held", told.get("first")) == pytest.approx(first)
    usual = independent.usual(row)
    verdicts = {"rev_first", "rev_few", "rev_usual", "rev_above", "rev_below"} & set(said)
    if usual is None:
        year = row.values[row.days >= row.days[-1] - 365.25]
        assert verdicts == ({"rev_few"} if len(year) > 1 else {"rev_first"})
        assert said.get("rev_few", {"more": 5})["more"] == 6 - len(year)
    elif abs(first - usual[0]) <= usual[1]:
        assert verdicts == {"rev_usual"}
        assert said["rev_usual"]["before"] == pytest.approx(usual[0])
    else:
        line = "rev_above" if first > usual[0] else "rev_below"
        assert verdicts == {line}
        assert said[line]["difference"] == pytest.approx(abs(first - usual[0]))
    longest = len(row.values) > 1 and first > row.values[:-1].max() and usual is not None
    assert ("rev_longest" in said) == longest
    way, change = independent.trend(row.of(row.days >= row.days[-1] - 84))
    assert ("rev_rising" in said) == (way == "rising")
    assert ("rev_falling" in said) == (way == "falling")
    if way in ("rising", "falling"):
        assert said[f"rev_{way}"]["change"] == pytest.approx(abs(change))


def test_ten_years_have_good_days_bad_days_and_trends_to_tell_of() -> None:
    """Without these the comparison above would compare little."""
    days = [day for year in range(10) for day in days_of_practice(year)]
    seen = {line for today in days for line in asked(Question.LAST, today)[1]}
    assert {"rev_usual", "rev_few", "rev_first", "rev_longest", "rev_repeated"} <= seen
    assert {"rev_above", "rev_below", "rev_rising"} <= seen


@pytest.mark.parametrize("today", days_of_asking(), ids=str)
def test_best_of_the_month_is_the_longest_hold_of_the_month(today: date) -> None:
    docs, said = asked(Question.MONTH, today)
    month = independent.from_day(docs, today.replace(day=1))
    assert said["rev_month"]["count"] == len(month)
    for kind in ORDER:
        lengths = [
            hold["end_s"] - hold["start_s"]
            for made in month
            for hold in made["holds"]
            if hold["kind"] == kind
        ]
        assert (f"rev_best_{kind}" in said) == bool(lengths)
        if lengths:
            assert said[f"rev_best_{kind}"]["held"] == pytest.approx(max(lengths), abs=1e-5)
    first = next((kind for kind in ORDER if f"rev_best_{kind}" in said), None)
    if first:
        ever = [
            hold["end_s"] - hold["start_s"]
            for made in docs
            for hold in made["holds"]
            if hold["kind"] == first
        ]
        longest = said[f"rev_best_{first}"]["held"] >= max(ever) - 1e-5
        assert ("rev_longest" in said) == (longest and len(docs) > len(month))


@pytest.mark.parametrize("today", days_of_asking(), ids=str)
def test_weeks_are_compared_like_with_like(today: date) -> None:
    docs, said = asked(Question.WEEK, today)
    monday = independent.monday(today)
    this = independent.from_day(docs, monday)
    before = independent.until(docs, monday - timedelta(days=1))
    last = independent.from_day(before, monday - timedelta(days=7))
    assert said["rev_week"] == {"this": len(this), "last": len(last)}
    compared = 0
    for kind in ORDER:
        now, then = (independent.first_holds(some, kind).values for some in (this, last))
        if not (len(now) and len(then)) or compared:
            assert f"rev_week_{kind}" not in said
            continue
        compared = 1
        told = said[f"rev_week_{kind}"]
        assert (told["this"], told["last"]) == pytest.approx((now.mean(), then.mean()))
        row = independent.first_holds(before, kind)
        year = row.of(row.days >= (monday - date(1970, 1, 1)).days - 365.25).values
        if len(year) < 5:
            assert "rev_week_few" in said
            continue
        typical = np.std(np.diff(year), ddof=1) / np.sqrt(2)
        limit = 2 * typical * np.sqrt(1 / len(now) + 1 / len(then))
        assert ("rev_week_usual" in said) == (abs(now.mean() - then.mean()) <= limit)
    assert ("rev_week_unlike" in said) == (not compared)


@pytest.mark.parametrize("today", days_of_asking(), ids=str)
def test_morning_pulse_is_told_as_computed_independently(today: date) -> None:
    docs, said = asked(Question.PULSE, today)
    row = independent.pulses(docs, "morning")
    if not len(row.values):
        assert "rev_morning" not in said
        return
    assert said["rev_morning"]["bpm"] == round(row.values[-1])
    usual = independent.usual(row)
    judged = {"rev_pulse_usual", "rev_pulse_raised", "rev_pulse_lowered"} & set(said)
    if usual is None:
        assert "rev_pulse_few" in said
        assert not judged
        return
    difference = row.values[-1] - usual[0]
    claimed = abs(difference) > usual[1] and abs(difference) >= 10
    assert (judged != {"rev_pulse_usual"}) == claimed


@pytest.mark.parametrize("years", [1, 3, 10])
def test_a_span_tells_count_best_and_trend(years: int) -> None:
    docs = history()[: years * 156]
    rows = summaries()[: years * 156]
    said = dict(review(rows, Question.SPAN, FIRST.date()))
    assert said["rev_span"]["count"] == len(docs)
    held = [h["end_s"] - h["start_s"] for d in docs for h in d["holds"] if h["kind"] == "main"]
    assert said["rev_best_main"]["held"] == pytest.approx(max(held), abs=1e-5)
    row = independent.first_holds(docs, "main")
    if years == 1:  # more are taken together by medians before the slope is taken
        way, change = independent.trend(row)
        assert way == "rising"
        assert said["rev_rising"]["change"] == pytest.approx(change)
    assert said["rev_rising"]["count"] == len(row.values)


# --- what may not be said ----------------------------------------------------------------


def sessions(
    lengths_s: Sequence[Sequence[float]], kind: str = "main", **more: Any
) -> list[Summary]:
    """A session a day, each with holds of these lengths."""
    rows = []
    for number, holds in enumerate(lengths_s):
        one = Invented(f"s{number:03d}", FIRST + timedelta(days=number), "three-holds")
        for length_s in holds:
            one.hold(kind, [length_s], **more)
        rows.append(summary(one.end()))
    return rows


def text_of(rows: Sequence[Summary], question: Question, person: str | None = None) -> str:
    today = datetime.fromisoformat(rows[-1]["started"]).date() if rows else FIRST.date()
    return " ".join(lines().text(*said) for said in review(rows, question, today, person))


def test_four_sessions_are_never_a_trend() -> None:
    """Two-sided p cannot fall below 0.083 with four points (enumerated)."""
    said = text_of(sessions([[60], [70], [80], [90]]), Question.SPAN)
    assert "five days of practice" in said
    assert "four" in said
    assert "grew" not in said


def test_five_rising_sessions_are_a_trend() -> None:
    assert "grew by about forty seconds" in text_of(
        sessions([[60], [70], [80], [90], [100]]), Question.SPAN
    )


def test_repeated_holds_of_one_session_are_no_progress() -> None:
    """95, 110, 127, 125, 126 s: level from the third (Bakovic et al. J Appl Physiol 2003)."""
    said = text_of(sessions([[95, 110, 127, 125, 126]]), Question.LAST)
    assert "the first ninety five seconds" in said
    assert "From the third on" in said
    assert "grew by" not in said
    assert "longer than usual" not in said


def test_a_usual_day_is_called_usual() -> None:
    said = text_of(sessions([[80], [86], [79], [84], [88], [81], [85]]), Question.LAST)
    assert "within your usual variation" in said
    assert "longer than" not in said


def test_kinds_are_not_mixed() -> None:
    """Six short holds without preparation do not make the first long one unusual."""
    rows = sessions([[40], [42], [41], [39], [40], [41]], kind="baseline")
    one = Invented("long", FIRST + timedelta(days=20), "first-lesson")
    one.hold("main", [120])
    assert "nothing to compare it with" in text_of([*rows, summary(one.end())], Question.LAST)


@pytest.mark.parametrize(
    ("beats", "claimed"),
    [((18, 16), False), ((20, 18), False), ((20, 17), True), ((16, 20), True)],
)
def test_a_small_change_of_the_pulse_is_not_called_an_effect(
    beats: tuple[int, int], claimed: bool
) -> None:
    """15 s counts in steps of 4 bpm: under 10 bpm is error (computed from real beats)."""
    one = Invented("p", FIRST, "first-lesson")
    one.pulse("before", beats[0])
    one.pulse("relaxed", beats[1])
    said = text_of([summary(one.end())], Question.LAST)
    assert ("error of the count" in said) != claimed
    assert ("a difference of" in said) == claimed


def mornings(beats: Sequence[int]) -> list[Summary]:
    """A morning each, counted over a minute."""
    rows = []
    for number, count in enumerate(beats):
        one = Invented(f"m{number}", FIRST + timedelta(days=number), "morning-pulse")
        one.pulse("morning", count, 60.0)
        rows.append(summary(one.end()))
    return rows


@pytest.mark.parametrize(
    ("beats", "words"),
    [
        ([76, 74, 71, 70, 66, 63, 60], "fell by about"),
        ([60, 63, 66, 70, 71, 74, 76], "rose by about"),
        ([66, 65, 64, 63, 62, 61, 60], "nothing changed beyond the error"),
        ([60, 61, 60, 62, 61, 60, 75], "above what is usual for you"),
        ([75, 76, 75, 77, 76, 75, 61], "below what is usual for you"),
        ([60, 61, 60, 62, 61, 60, 67], "within what is usual"),
    ],
)
def test_a_morning_pulse_is_called_changed_only_beyond_the_error(
    beats: list[int], words: str
) -> None:
    """Under 10 bpm two counts can differ without any cause, so nothing is claimed."""
    assert words in text_of(mornings(beats), Question.PULSE)


def test_a_table_shows_no_progress() -> None:
    rows = sessions([[40] * 8, [45] * 8, [50] * 8, [55] * 8, [60] * 8, [65] * 8], kind="co2")
    for question in Question:
        said = text_of(rows, question)
        assert "grew" not in said
        assert "longest relaxed" not in said


@pytest.mark.parametrize("answer", ["dizzy", "unwell", "tingling", "fainted"])
def test_after_a_bad_moment_the_warning_comes_first_and_no_praise(answer: str) -> None:
    rows = sessions([[60], [62], [61], [63], [60], [62]])
    one = Invented("bad", FIRST + timedelta(days=9), "three-holds")
    one.hold("main", [150], check_in=answer)
    said = review([*rows, summary(one.end())], Question.LAST, FIRST.date() + timedelta(days=9))
    names = [line for line, _ in said]
    assert names[1] == "rev_unwell"
    assert not {"rev_above", "rev_longest", "rev_rising"} & set(names)


def test_a_long_hold_is_not_praised_if_the_next_one_went_badly() -> None:
    rows = sessions([[60], [62], [61], [63], [60], [62]])
    one = Invented("bad", FIRST + timedelta(days=9), "three-holds")
    one.hold("main", [150])
    one.hold("main", [100], check_in="dizzy")
    said = text_of([*rows, summary(one.end())], Question.LAST)
    assert "you felt unwell" in said
    assert not re.search("longer|usual", said)


def test_a_hold_that_was_stopped_is_told_but_compared_with_nothing() -> None:
    rows = sessions([[60], [62], [61], [63], [60], [62]])
    one = Invented("stopped", FIRST + timedelta(days=9), "three-holds")
    one.hold("main", [12], ended_by="stop")
    said = text_of([*rows, summary(one.end())], Question.LAST)
    assert "you held twelve seconds" in said
    assert "usual" not in said


def test_an_alarm_is_told() -> None:
    one = Invented("alarm", FIRST, "three-holds")
    one.hold("main", [80], check_in="none")
    one.alarm(1, "main 1")
    assert "sounded the alarm" in text_of([summary(one.end())], Question.LAST)


def test_a_group_is_told_by_number_without_any_order_of_merit() -> None:
    one = Invented("g", FIRST, "first-lesson", ("Ula", "Bo", "Pia"))
    one.hold("main", [50, 90, 70])
    said = review([summary(one.end())], Question.LAST, FIRST.date())
    told = [values["participant"] for line, values in said if line == "rev_group_one"]
    assert told == [1, 2, 3]
    words = " ".join(lines().text(*each) for each in said)
    assert not re.search(r"best|first place|winner|longer than|most", words)


def test_one_of_a_group_hears_only_of_themselves() -> None:
    rows = [summary(group_of_eight(seed, FIRST + timedelta(days=seed))) for seed in range(7)]
    mine = text_of(rows, Question.LAST, "Pia")
    assert "group" not in mine
    assert "unwell" not in mine
    assert "unwell" in text_of(rows, Question.LAST, "Wim")


# --- form --------------------------------------------------------------------------------


@pytest.mark.parametrize("question", list(Question))
def test_one_to_six_sentences_in_words_that_can_be_spoken(question: Question) -> None:
    for today in days_of_asking():
        said = review(summaries()[: len(independent.until(history(), today))], question, today)
        texts = [lines().text(*each) for each in said]
        assert 1 <= len(texts) <= 6
        for text in texts:
            assert len(re.findall(r"[.?!]", text)) == 1
            assert not re.search(r"\d|_|\bnan\b|none", text)


@pytest.mark.parametrize("question", list(Question))
def test_nothing_kept_is_said_so(question: Question) -> None:
    assert text_of([], question) == "No practice is kept here yet."


@pytest.mark.parametrize(
    ("days", "words"),
    [
        (0, "today"), (1, "yesterday"), (13, "thirteen days ago"), (14, "two weeks ago"),
        (60, "nine weeks ago"), (61, "two months ago"), (365, "twelve months ago"),
        (731, "more than two years ago"), (-3, "today"),
    ],
)  # fmt: skip
def test_how_long_ago_is_said_as_people_say_it(days: int, words: str) -> None:
    row = sessions([[60]])[0]
    said = review([row], Question.LAST, FIRST.date() + timedelta(days=days))
    assert lines().text(*said[0]) == f"Your last practice was {words}."


def test_every_line_of_the_review_is_used_and_urges_nobody() -> None:
    names = [name for name in lines().names() if name.startswith("rev_")]
    texts = {name: lines().text(name, _any(lines(), name)) for name in names}
    for text in texts.values():
        assert not re.search(r"push|try harder|beat|record|great|well done|keep going", text)
    files = Path(coach.report.__file__).parent.glob("*.py")
    source = "".join(path.read_text(encoding="utf-8") for path in files)
    for name in names:
        stem = re.sub(
            r"_(main|relaxed|comfort|baseline|co2|o2|today|yesterday|days|weeks|months|years)$",
            "",
            name,
        )
        assert stem in source, f"{name} is never said"


def _any(some: Lines, name: str) -> dict[str, float]:
    return dict.fromkeys(some.values_of(name), 7)


def test_questions_are_the_commands_of_the_ear() -> None:
    assert {Command(q.value) for q in Question if q is not Question.SPAN} == set(QUESTIONS)


# --- who ---------------------------------------------------------------------------------


def test_people_are_found_by_name_or_number() -> None:
    rows = [summary(group_of_eight())]
    assert person_named(rows, "Pia") == "Pia"
    assert person_named(rows, "5") == "Pia"
    assert person_named(rows, "3") == "participant 3"
    with pytest.raises(BadInput, match="Nobody Here: nobody of that name or number here; known: "):
        person_named(rows, "Nobody Here")


def test_the_last_session_of_somebody_is_one_they_took_part_in() -> None:
    rows = [summary(group_of_eight()), *sessions([[60]])]
    assert last_session(rows, "Pia") == rows[0]["id"]
    assert last_session(rows, None) == rows[1]["id"]
    assert last_session(rows, "stranger") is None


def test_a_demonstration_is_left_out_as_soon_as_somebody_practises() -> None:
    demo = sessions([[100]])
    real = Invented("real", FIRST + timedelta(days=1), "three-holds", invented=False)
    real.hold("main", [50])
    both = [*demo, summary(real.end())]
    assert "fifty seconds" in text_of(both, Question.LAST)
    assert dict(review(both, Question.SPAN, FIRST.date()))["rev_span"] == {"count": 1}
