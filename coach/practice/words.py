"""The commands the core understands and the situations it listens in.

A command is the tag of a phrase in grammars/*.jsgf; a situation is the name of such a file.
A test holds both lists against the grammars, so no phrase is dead and no command orphaned.
"""

from __future__ import annotations

from enum import StrEnum


class Command(StrEnum):
    """What a phrase means."""

    # valid in every situation
    STOP = "stop"
    STOP_ALL = "stop-all"  # "stop everyone"
    UNWELL = "unwell"  # "not well", "i feel bad"
    DIZZY = "dizzy"
    TINGLING = "tingling"
    FAINTED = "fainted"
    # steering, valid in every situation but a hold
    PAUSE = "pause"
    GO_ON = "go-on"
    REPEAT = "repeat"
    SKIP = "skip"
    LOUDER = "louder"
    SOFTER = "softer"
    SLOWER = "slower"
    FASTER = "faster"
    HOW_LONG = "how-long"
    HELP = "help"
    # answers
    YES = "yes"
    NO = "no"  # alone, or with a number: "no, fifteen"
    NUMBER = "number"  # a number alone
    LOST_COUNT = "lost-count"
    START = "start"
    NOT_YET = "not-yet"
    OKAY = "okay"
    # in a hold
    DONE = "done"  # alone, or with a participant: "three, up", "number three, done"
    CONTRACTION = "contraction"
    # an instructor's, in a group
    AGAIN = "again"
    ADD_THIRTY = "add-thirty"
    WHO_HOLDS = "who-holds"
    # tables
    SHORTER = "shorter"
    LONGER = "longer"
    EASIER = "easier"
    # asleep: `coach listen`
    WAKE = "wake"  # the coach's name alone
    SLEEP = "sleep"
    FIRST_LESSON = "plan-first-lesson"
    GROUP_LESSON = "plan-group-lesson"
    CO2_TABLE = "plan-co2-table"
    O2_TABLE = "plan-o2-table"
    THREE_HOLDS = "plan-three-holds"
    RELAXATION = "plan-relaxation"
    PULSE_PRACTICE = "plan-pulse-practice"
    MORNING_PULSE = "plan-morning-pulse"
    EVENING_CALM = "plan-evening-calm"
    COMFORT_HOLD = "plan-comfort-hold"
    REMIND = "remind"
    REMIND_NEVER = "remind-never"
    KNOCKS_ON = "knocks-on"
    KNOCKS_OFF = "knocks-off"
    GROUP = "group"  # "a group of five", with the number
    # review
    HOW_WAS_IT = "how-was-it"
    BEST_MONTH = "best-month"
    COMPARE_WEEK = "compare-week"
    MY_PULSE = "my-pulse"
    NEXT_SESSION = "next-session"


class Situation(StrEnum):
    """What is listened for; each is a file grammars/<situation>.jsgf."""

    ANYTIME = "anytime"  # steering and stopping only: talk, relaxation, recovery, rest
    QUESTION = "question"  # yes or no
    READY = "ready"  # start, not yet
    HOLD = "hold"  # the end of one person's hold, contractions
    GROUP_HOLD = "group-hold"  # whose end it is
    NUMBER = "number"  # a count; also "no, fifteen", "yes"
    CHECK_IN = "check-in"  # okay, or what is wrong
    TABLE = "table"  # a table was read out: start, shorter, longer, easier
    ASLEEP = "asleep"  # only the name and what follows it
    AWAKE = "awake"  # which plan, which question
    WHO = "who"  # whose number, or how many in a group
