"""What was kept, afterwards: spoken review, report, records, exports."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from contextlib import closing
from datetime import UTC, date, datetime, time
from pathlib import Path

from coach.app.equipment import SPEECH_GAP_S, Tell, write_speech
from coach.border import BadInput, data_path
from coach.plans import limits_of
from coach.practice.events import CueDone
from coach.practice.summary import Said
from coach.records.commands import (
    correct_record,
    delete_person,
    export_records,
    import_records,
    list_records,
    name_person,
    prefer,
    show_record,
)
from coach.records.document import Summary, who
from coach.records.exports import as_ics
from coach.records.library import Library
from coach.records.next_session import next_session
from coach.records.uses import USES
from coach.report.page import report
from coach.report.review import Question, last_session, person_named, review
from coach.room.live import LiveRoom
from coach.room.streams import choose_pair
from coach.settings import Settings, cache_folder, records_folder
from coach.voice.choose import open_voice
from coach.voice.lines import Lines, load_lines


def _today() -> date:
    return datetime.now(UTC).astimezone().date()


def _library(settings: Settings) -> Library:
    return Library(records_folder(settings), lambda line: print(line, file=sys.stderr))


def _lines(settings: Settings) -> Lines:
    return load_lines(data_path("config", "lines", f"{settings.voice.lines}.toml"))


class Review:
    """The spoken review of the last session, or of a span; or what to practise `next`.

    Raises BadInput.
    """

    def __init__(
        self,
        settings: Settings,
        since: date | None,
        until: date | None,
        person: str | None,
        *,
        what_next: bool = False,
    ) -> None:
        self._settings = settings
        library = _library(settings)
        self.rows: list[Summary] = library.summaries(since, until)
        self.person = person_named(self.rows, person) if person and self.rows else None
        question = Question.SPAN if since or until else Question.LAST
        lines = _lines(settings)
        if what_next:
            said = self._next(library)
        else:
            said = review(self.rows, question, _today(), self.person)
        self.texts = [lines.text(line, values) for line, values in said]
        self.library = library

    def _next(self, library: Library) -> list[Said]:
        """The proposal for the person who is asked for, or who practised last."""
        people = [person for row in reversed(self.rows) for person in row["participants"]]
        wanted = [p for p in people if self.person in (None, who(p))]
        number, name = (wanted[0]["number"], wanted[0]["name"]) if wanted else (1, None)
        limits = limits_of(self._settings.safety)
        return list(next_session(library, number, name, _today(), limits).lines)

    def print(self, tell: Tell) -> None:
        """One sentence a line."""
        for text in self.texts:
            tell(text)

    def write(self, path: Path) -> None:
        """Speak it into a sound file. Raises VoiceError, OSError."""
        voice = open_voice(self._settings.voice, cache_folder(self._settings))
        write_speech(voice, self.texts, self._settings.voice.speed, path)

    def speak(self) -> None:
        """Speak it through the loudspeaker. Raises BadInput, VoiceError."""
        choose_pair(self._settings.room)  # what is missing is told at once
        voice = open_voice(self._settings.voice, cache_folder(self._settings))
        voice.move_out()  # before there is sound that could break off
        with closing(voice), closing(LiveRoom(self._settings.room)) as room:
            start_s = room.now_s() + SPEECH_GAP_S
            for cue, text in enumerate(self.texts):
                clip = voice.speak(text, room.rate_hz, self._settings.voice.speed)
                start_s = room.mixer.play(cue, clip, max(start_s, room.now_s())) + clip.duration_s
                start_s += SPEECH_GAP_S
            for item in room.moments():
                if isinstance(item, CueDone) and item.cue == len(self.texts) - 1:
                    break

    def page(self) -> str:
        """The same to look at, as HTML."""
        session = last_session(self.rows, self.person)
        made = self.library.session(session) if session else None
        return report(self.rows, made, self.texts, _today(), self.person)


def records(settings: Settings, action: str, words: Sequence[str], tell: Tell) -> int:
    """`coach records`: what `USES` says. Raises BadInput."""
    library = _library(settings)
    match action, words:
        case "list", []:
            lines = list_records(library)
        case "show", [] | [_]:
            lines = show_record(library, words[0] if words else "last")
        case "correct", [session, key, change]:
            lines = correct_record(library, session, key, change, datetime.now(UTC).astimezone())
        case "name", [old, name]:
            lines = name_person(library, old, name)
        case "prefer", [person, *changes]:
            lines = prefer(library, person, changes)
        case "delete", [name]:
            lines = delete_person(library, name)
        case "import", [name]:
            lines = import_records(library, _read(Path(name)), name)
        case _:
            raise BadInput(f"records {action}: {USES.get(action, 'is not known')}")
    for line in lines:
        tell(line)
    return 0


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise BadInput(f"{path}: there is no such file") from None
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(f"{path}: cannot be read as text ({error})") from None


def export(
    settings: Settings, form: str, since: date | None, until: date | None, session: str
) -> str:
    """What `coach export` writes. Raises BadInput."""
    if form == "ics":
        return _reminders(settings)
    return export_records(_library(settings), form, since, until, session)


def _reminders(settings: Settings) -> str:
    """The practice days of the configuration as iCalendar."""
    wanted = settings.reminders
    if not wanted.days:
        raise BadInput("reminders.days: there are none; set them in coach.toml, such as ['MO']")
    try:
        at = time.fromisoformat(wanted.time)
    except ValueError:
        raise BadInput(f"reminders.time: {wanted.time!r} is no time; write such as 18:30") from None
    now = datetime.now(UTC)
    return as_ics(wanted.days, at, f"Breath-hold practice: {wanted.plan}", _today(), now)
