"""From a step of the plan to the acts it is played from.

Called when the step is reached, so it can depend on what was kept before it.
"""

from __future__ import annotations

from dataclasses import replace

from coach.practice import plan as steps
from coach.practice.acts.act import Act
from coach.practice.acts.check_in import check_ins
from coach.practice.acts.counting import Counting
from coach.practice.acts.hold import MARK_AFTER_S, Holding
from coach.practice.acts.offer import Offer
from coach.practice.acts.own_results import OwnResults
from coach.practice.acts.question import EVERYBODY, ComeBack, Question, Ready
from coach.practice.acts.script import Beat, Script, closing, talk
from coach.practice.acts.whose import Twice, Whose
from coach.practice.events import Rank
from coach.practice.phases import Phase
from coach.practice.safety import HEALTH_QUESTIONS, PLACE_QUESTIONS, hold_limit_s
from coach.practice.stage import Stage
from coach.practice.summary import summary_lines
from coach.practice.tables import O2_REST_S, co2_table, o2_table
from coach.practice.words import Situation

SPOKEN_BREATHS = 3  # the words "in" and "out" before tones take over
BREATHE_UP_INTRO_S = 6.0
NEARLY_S = 0.001  # a rest is not made up for the rounding of a sum
ANY_OF_THESE = "any-of-these"  # of the conditions that were read out to the group
COUNTS_THROUGH_S = 1.5  # for each who says a number
IN_A_GROUP = {"safety_words": "safety_words_group"}  # where a number goes with the word, no knocks
LEADS_IN_S = 10.0  # before the mark: the last out-breath and in-breath


def acts_of(step: steps.PlainStep, stage: Stage) -> tuple[Act, ...]:
    """The acts of one step."""
    match step:
        case steps.Talk():
            return (_talk(step, stage),)
        case steps.Clearing():
            return _clearing(step, stage)
        case steps.PulseCount():
            return _pulse_count(step, stage)
        case steps.Relaxation():
            return (_timed(step.lines, step.duration_s, f"relaxation:{step.label}"),)
        case steps.BreatheUp():
            return (_breathe_up(step, stage),)
        case steps.Hold():
            return _hold(step, stage)
        case steps.Recovery():
            return _recovery(step, stage)
        case steps.Rest():
            return (_rest(step, stage),)
        case steps.Table():
            return _table(step, stage)
    return _comparison(stage)


def _talk(step: steps.Talk, stage: Stage) -> Script:
    lines = [IN_A_GROUP.get(line, line) if stage.group else line for line in step.lines]
    return talk(*lines, pause_s=step.pause_s)


def _timed(lines: tuple[steps.Spoken, ...], duration_s: float, moment: str) -> Script:
    beats = [Beat(spoken.line, at_s=spoken.at_s) for spoken in lines]
    if beats:
        beats[0] = replace(beats[0], moment=moment)
    return Script(tuple(beats), duration_s)


def _clearing(step: steps.Clearing, stage: Stage) -> tuple[Act, ...]:
    """Everybody's questions; alone, "unchanged" becomes the full list for who is not cleared."""
    place = [q for q in step.questions if q in PLACE_QUESTIONS]
    others = [q for q in step.questions if q not in PLACE_QUESTIONS]
    if stage.group:
        numbers = len(stage.people)
        count = Beat("group_numbers", {"people": numbers}, pause_s=COUNTS_THROUGH_S * numbers)
        counted = Script((count,), may_skip=False)
        asked = [Question(q, EVERYBODY) for q in place]
        roll = [Question(ANY_OF_THESE, person.number, comes_back=True) for person in stage.people]
        read_out = talk("clear_list_intro", "clear_list")
        read_out.may_skip = False
        return (counted, talk("clear_one_answers"), *asked, read_out, *roll, ComeBack(ANY_OF_THESE))
    person = stage.people[0]
    if "unchanged" in others and not person.cleared:
        others = [q for q in HEALTH_QUESTIONS if q not in others] + [
            q for q in others if q != "unchanged"
        ]
    return tuple(
        Question(q, EVERYBODY if q in PLACE_QUESTIONS else person.number) for q in (*place, *others)
    )


def _pulse_count(step: steps.PulseCount, stage: Stage) -> tuple[Act, ...]:
    if stage.group:  # taps of several people can not be told apart
        step = replace(step, by="count")
    line = "pulse_find_tap" if step.by == "tap" else "pulse_find"
    return (talk(line, window=step.window_s), Counting(step))


def _breathe_up(step: steps.BreatheUp, stage: Stage) -> Script:
    """Breaths at the step's pace: a few with words, then soft tones; full breaths at the end."""
    pace_s = step.in_s + step.out_s
    beats = [Beat("breathe_up", moment=f"breathe-up:{step.label}")]
    breaths = int((step.duration_s - BREATHE_UP_INTRO_S) // pace_s)
    full = min(step.full_breaths, stage.limits.full_breaths, breaths)
    for number in range(breaths):
        at_s = BREATHE_UP_INTRO_S + number * pace_s
        if number >= breaths - full:
            beats.append(Beat("full_breath_in", at_s=at_s, rank=Rank.TIMING, once=True))
            beats.append(Beat("full_breath_out", at_s=at_s + step.in_s, rank=Rank.TIMING))
        elif number < SPOKEN_BREATHS:
            beats.append(Beat("breathe_in", at_s=at_s, rank=Rank.TIMING))
            beats.append(Beat("breathe_out", at_s=at_s + step.in_s, rank=Rank.TIMING))
        else:
            beats.append(Beat(tone="breathe-in", at_s=at_s, rank=Rank.GUIDANCE))
            beats.append(Beat(tone="breathe-out", at_s=at_s + step.in_s, rank=Rank.GUIDANCE))
    return Script(tuple(beats), step.duration_s)


def _hold(step: steps.Hold, stage: Stage) -> tuple[Act, ...]:
    cap_s = min(
        [step.cap_s] + [hold_limit_s(p, stage.limits, alone=stage.alone) for p in stage.people]
    )
    number = max((hold.number for hold in stage.ledger.holds), default=0) + 1
    acts: list[Act] = []
    short_s = stage.limits.rest_floor_s - _since_hold_s(stage) - MARK_AFTER_S
    if stage.ledger.holds and short_s > NEARLY_S:  # whatever the plan, or a voice that skips, says
        acts.append(Script((Beat("rest_start", {"length": short_s}),), short_s, may_skip=False))
    if step.wait_for_start:
        acts.append(Ready(step.label, "ready_group" if stage.group else "ready"))
    if step.lead_in:
        acts.append(talk(step.lead_in, pause_s=0.0))
    return (*acts, Holding(step, number, cap_s))


def _since_hold_s(stage: Stage) -> float:
    """How long everybody has been breathing since the last hold; 0 before the first."""
    holds = stage.ledger.last_holds
    ends_s = [stage.over_s if hold.end_s is None else hold.end_s for hold in holds]
    return stage.now_s - max(ends_s, default=stage.now_s)


def _recovery(step: steps.Recovery, stage: Stage) -> tuple[Act, ...]:
    """Watched for the whole time, whatever the plan or a voice wishes; then the check-in.

    Ends that were nobody's are asked about when everybody is known to be well.
    """
    holds = stage.ledger.last_holds
    label = holds[0].label if holds else "start"
    script = _timed(step.lines, max(step.watch_s, stage.limits.watch_s), "")
    line = "recovery_start_group" if stage.group else "recovery_start"
    first = Beat(line, rank=Rank.SAFETY, moment=f"recovery:{label}")
    script.beats = (first, *script.beats)
    script.may_skip, script.phase = False, Phase.CHECKING
    script.situation = Situation.CHECK_IN  # where "help" is no question
    twice = [
        Twice(hold, stage.repeats[hold.participant])
        for hold in holds
        if hold.participant in stage.repeats and hold.ended_by == "word"
    ]
    open_ends = [hold for hold in holds if hold.ended_by == "unknown"]
    whose = [Whose(hold, stage.over_s, stage.over_by) for hold in open_ends]
    return (script, *check_ins(label, stage.numbers), *twice, *whose)


def _rest(step: steps.Rest, stage: Stage) -> Script:
    """Rest that is never shorter than the floor; a hold's mark falls on its end.

    However late it is, the words that lead into that hold are said. A hold with an unknown end
    may have lasted as long as anybody's.
    """
    lengths_s = [
        stage.over_s - hold.start_s if hold.duration_s is None else hold.duration_s
        for hold in stage.ledger.last_holds
    ]
    length_s = step.duration_s
    if step.times_last_hold is not None and lengths_s:
        length_s = step.times_last_hold * max(lengths_s)
    length_s = max(length_s, stage.limits.rest_floor_s)
    gone_s = _since_hold_s(stage) if step.counted_from == "hold end" else 0.0
    left_s = max(length_s - gone_s - MARK_AFTER_S, LEADS_IN_S if stage.leads_in else 0.0)
    beats = [Beat("rest_start", {"length": length_s})] if gone_s < 1 else []
    for mark_s in (60, 30):
        if left_s > mark_s + 12:
            beats.append(Beat("rest_left", {"left": mark_s}, at_s=left_s - mark_s))
    if stage.leads_in:
        beats.append(Beat("rest_ending", at_s=left_s - LEADS_IN_S))
    situation = Situation.TABLE if stage.in_table else Situation.ANYTIME
    return Script(tuple(beats), left_s, may_skip=False, situation=situation)


def _table(step: steps.Table, stage: Stage) -> tuple[Act, ...]:
    """One person's table, or a kind no."""
    person = stage.people[0]
    if person.tables_today >= stage.limits.tables_per_day:
        return (closing(1, "table refused", "table_one_a_day"),)
    floor_s = stage.limits.rest_floor_s
    if step.table == "co2":
        rounds = co2_table(person.best_s, floor_s)
    else:
        rounds = o2_table(person.best_s, max(O2_REST_S, floor_s))
    if not rounds:
        return (closing(1, "table refused", "table_needs_best"),)
    return (Offer(step, rounds),)


def _comparison(stage: Stage) -> tuple[Act, ...]:
    held = {hold.participant for hold in stage.ledger.holds}  # who sits out now as well
    numbers = tuple(sorted(held | {*stage.numbers}))
    said = summary_lines(stage.ledger, numbers, stage.group)
    beats = [Beat(line, values, pause_s=0.6) for line, values in said]
    beats[0] = replace(beats[0], moment="comparison")
    told = Script(tuple(beats))
    return (told, OwnResults(numbers)) if stage.group else (told,)
