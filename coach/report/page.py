"""The report: one HTML file that needs nothing else and opens years later.

No script, no network, no font of its own: text, tables, SVG and one style sheet inside.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from functools import cache
from pathlib import Path
from statistics import median

import jinja2
from markupsafe import Markup

from coach.practice.summary import PULSE_ERROR_BPM
from coach.records.document import Document, Summary, who
from coach.records.people import own
from coach.records.series import day_of, hold_points
from coach.report.parts import UNKNOWN, Section, Table, length, rate
from coach.report.progress_part import progress_section, pulse_section
from coach.report.review import practised
from coach.report.sentences import FREE_KINDS, holds_of, pulse_at
from coach.report.session_part import day_text, of_one, person_label, session_section

HERE = Path(__file__).parent

CAUTIONS = (
    "This report is no medical advice, and no number in it is a safe time for anybody.",
    "Practice belongs on dry land, lying or seated, with somebody near. In water nobody holds "
    "the breath alone, and nothing here makes that safe.",
    "No fast or deep breathing before a hold: it takes away the warning, not the danger.",
    "Dizziness, tingling or feeling unwell ends a session. After a faint a doctor comes before "
    "the next hold.",
    "Nobody is compared with anybody else. A longer hold is not a better one.",
)
METHOD = (
    "Trend: the middle of all slopes (Sen), with Kendall's test; exact for up to forty results. "
    "At least five days of practice are needed; with four, chance alone could look the same. "
    "Hollander, Wolfe, Chicken, Nonparametric Statistical Methods, 2014.",
    "Usual variation: two typical errors of the difference between one result and the mean of "
    "those before it. Hopkins, Sports Medicine 2000;30(1):1-15.",
    f"Pulse: changes under {PULSE_ERROR_BPM:.0f} beats a minute are not called an effect.",
)


def report(
    rows: Sequence[Summary],
    made: Document | None,
    said: Sequence[str],
    today: date,
    person: str | None = None,
) -> str:
    """The page as HTML.

    `rows` are the summaries to look back on, oldest first; `made` is the session that is told
    in full (None without any); `said` is the spoken review. With `person` (a name as
    records.document.who gives it) it is theirs alone; without, a group gets a page for the
    instructor. Demonstrations are left out where somebody practised.
    """
    rows = practised(rows)
    sections = list(_sections(rows, made, said, person))
    title = "Breath-hold practice"
    if person:
        title += f": {person}"
    invented = any(row["invented"] for row in rows) or (made is not None and made["invented"])
    return _template().render(
        title=title, today=today.isoformat(), invented=invented, sections=sections
    )


def _sections(
    rows: Sequence[Summary], made: Document | None, said: Sequence[str], person: str | None
) -> Iterator[Section]:
    yield Section("in-short", "In short, as it is spoken", said)
    shown = of_one(made, person) if made is not None and person else made
    if shown is not None:
        yield session_section(shown, f"Session of {day_text(shown['started'])}")
    alone = person or (shown and _only(shown))
    if alone:
        yield from _own_sections(rows, alone)
    elif shown is not None:
        yield _group_section(rows, shown)
    yield Section("cautions", "Before the next practice", cautions=CAUTIONS)
    yield Section("method", "How the numbers were made", METHOD)


def _only(made: Document) -> str | None:
    people = made["participants"]
    return who(people[0]) if len(people) == 1 else None


def _own_sections(rows: Sequence[Summary], name: str, prefix: str = "") -> Iterator[Section]:
    yield progress_section(rows, name, prefix)
    pulse = pulse_section(rows, name, prefix)
    if pulse is not None:
        yield pulse


# --- the instructor's page ----------------------------------------------------------------


def _group_section(rows: Sequence[Summary], made: Document) -> Section:
    people = sorted(made["participants"], key=lambda person: int(person["number"]))
    row = next((row for row in rows if row["id"] == made["id"]), None)
    parts = [
        Section(
            f"person-{person['number']}",
            person_label(person),
            parts=list(_own_sections(rows, who(person), f"p{person['number']}-")),
            closed=True,
        )
        for person in people
    ]
    return Section(
        "group",
        "The group, by number",
        [
            "In the order of the numbers. Each person stands beside their own earlier sessions "
            "only; lengths of different people say nothing about each other."
        ],
        tables=[] if row is None else [_group_table(rows, row)],
        parts=parts,
    )


def _group_table(rows: Sequence[Summary], row: Summary) -> Table:
    people = sorted(row["participants"], key=lambda person: int(person["number"]))
    lines = []
    for person in people:
        number = person["number"]
        holds = holds_of(row, number)
        lines.append(
            (
                person_label(person),
                ", ".join(f"{h['kind']} {length(h['duration_s'])}" for h in holds) or "none",
                _own_median(rows, row, who(person)),
                ", ".join(h["check_in"] or "not asked" for h in holds) or "none",
                rate(pulse_at(row, number, "before")),
                rate(pulse_at(row, number, "relaxed")),
            )
        )
    heads = ("Person", "Holds", "Own earlier median", "Check-ins", "Pulse before", "Pulse after")
    return Table("Everybody in this session", heads, lines)


def _own_median(rows: Sequence[Summary], row: Summary, name: str) -> str:
    """The median of earlier first holds of the kinds of this session, of the same person."""
    today = day_of(row["started"])
    here = {hold["kind"] for item, number in own([row], name) for hold in holds_of(item, number)}
    found = []
    for kind in FREE_KINDS:
        earlier = [point.value for point in hold_points(rows, name, kind) if point.day < today]
        if kind in here and earlier:
            found.append(f"{kind} {length(median(earlier))}")
    return ", ".join(found) or UNKNOWN


@cache
def _template() -> jinja2.Template:
    found = jinja2.Environment(
        loader=jinja2.FileSystemLoader(HERE),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.globals["style"] = Markup((HERE / "page.css").read_text(encoding="utf-8"))
    return found.get_template("page.html.j2")
