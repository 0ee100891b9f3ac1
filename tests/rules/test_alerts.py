"""rules/alerts.py: who is told of what, in which words, and how an alert lives.

The states and moves are those of ISA-18.2 / IEC 62682, from memory, to be verified:
normal -activate-> unacknowledged -acknowledge-> acknowledged -clear-> normal, and
unacknowledged -clear-> returned to normal, unacknowledged -acknowledge-> normal.
"""

import itertools

import pytest

from rules.alerts import (
    ACKNOWLEDGE,
    ACKNOWLEDGED,
    CALLING,
    CLEAR,
    NEXT,
    NORMAL,
    NOTED,
    OFF_DELAY_MS,
    RETURNED,
    SAME,
    UNACKNOWLEDGED,
    WHEN,
    WORSE,
    AlertRule,
    AlertState,
    Condition,
    Outcome,
    Severity,
    Signal,
    Telling,
    Tried,
    back_off_ms,
    closing,
    due_ms,
    failures,
    follow,
    severity,
    tellings,
    wanted,
    words,
)
from rules.facts import Event, Standing, Subject

MIN_MS = 60_000
SENT, FAILED, NO_MATCH = Outcome


def limit(
    now: str, at_ms: int = 0, was: str = "within", channel: str = "core-1"
) -> Event:
    return Event(at_ms, Subject.LIMIT, "come-up", channel, was, now, "It is slow.")


def rule(*when: str, tell: str = "operator", **more: object) -> AlertRule:
    return AlertRule(tell, frozenset(when), **{"again_ms": 0, **more})  # type: ignore[arg-type]


def test_every_state_has_an_answer_to_every_signal() -> None:
    assert set(NEXT) == set(itertools.product(AlertState, Signal))


MOVES = [
    (NORMAL, WORSE, UNACKNOWLEDGED),
    (NORMAL, SAME, ACKNOWLEDGED),
    (NORMAL, CLEAR, NORMAL),
    (NORMAL, ACKNOWLEDGE, NORMAL),
    (NORMAL, NOTED, NORMAL),
    (UNACKNOWLEDGED, WORSE, UNACKNOWLEDGED),
    (UNACKNOWLEDGED, SAME, UNACKNOWLEDGED),
    (UNACKNOWLEDGED, CLEAR, RETURNED),
    (UNACKNOWLEDGED, ACKNOWLEDGE, ACKNOWLEDGED),
    (UNACKNOWLEDGED, NOTED, UNACKNOWLEDGED),
    (ACKNOWLEDGED, WORSE, UNACKNOWLEDGED),
    (ACKNOWLEDGED, SAME, ACKNOWLEDGED),
    (ACKNOWLEDGED, CLEAR, NORMAL),
    (ACKNOWLEDGED, ACKNOWLEDGE, ACKNOWLEDGED),
    (ACKNOWLEDGED, NOTED, ACKNOWLEDGED),
    (RETURNED, WORSE, UNACKNOWLEDGED),
    (RETURNED, SAME, UNACKNOWLEDGED),
    (RETURNED, CLEAR, RETURNED),
    (RETURNED, ACKNOWLEDGE, NORMAL),
    (RETURNED, NOTED, RETURNED),
]


@pytest.mark.parametrize(("state", "signal", "after"), MOVES)
def test_each_move(state: AlertState, signal: Signal, after: AlertState) -> None:
    assert NEXT[state, signal] is after


def test_only_an_answer_ends_the_call_for_one() -> None:
    for (state, signal), after in NEXT.items():
        if state in CALLING and after not in CALLING:
            assert signal is ACKNOWLEDGE


@pytest.mark.parametrize(
    ("when", "standings"),
    [
        ("at risk", {"at risk"}),
        # Alerts go by the least favourable truth: what may be a deviation counts.
        ("deviation", {"deviation", "missed", "unproven"}),
        ("missed", {"missed"}),
        ("unproven", {"unproven"}),
        ("met", {"met"}),
        ("probe fault", set()),
        ("stage", set()),
    ],
)
def test_the_standings_that_a_word_asks_for(when: str, standings: set[str]) -> None:
    asked = {now for now in Standing if wanted(rule(when), limit(now))}
    assert asked == standings


@pytest.mark.parametrize(
    ("subject", "now", "when"),
    [
        (Subject.CHANNEL, "quiet", {"probe fault"}),
        (Subject.CHANNEL, "any new word", {"probe fault"}),
        (Subject.CHANNEL, "reporting", set()),
        (Subject.STAGE, "begun", {"stage"}),
        (Subject.COOK, "over", {"stage"}),
        (Subject.SIGN, "dying fire", {"at risk"}),
        (Subject.SIGN, "warming bath", {"at risk"}),
        (Subject.SIGN, "opened door", {"stage"}),
        (Subject.SIGN, "stall", {"stage"}),
        (Subject.SIGN, "stall over", set()),
        (Subject.SIGN, "dying fire over", set()),
    ],
)
def test_the_words_that_ask_for_what_is_no_limit(
    subject: Subject, now: str, when: set[str]
) -> None:
    event = Event(0, subject, "core-1", "", "", now, "")
    assert {word for word in WHEN if wanted(rule(word), event)} == when


def test_severities_stand_in_order() -> None:
    told = [Standing.AT_RISK, Standing.UNPROVEN, Standing.DEVIATION, Standing.MISSED]
    rising = [severity(Subject.LIMIT, now) for now in told]
    assert rising == sorted(set(rising))
    assert severity(Subject.LIMIT, "met") is Severity.NORMAL
    assert severity(Subject.CHANNEL, "quiet") is Severity.TROUBLE
    assert severity(Subject.STAGE, "begun") is Severity.NORMAL
    assert severity(Subject.SIGN, "dying fire") is Severity.AT_RISK
    assert severity(Subject.SIGN, "dying fire over") is Severity.NORMAL


def signals(*events: Event, asked: bool = True) -> list[Signal | None]:
    condition = Condition()
    answers = []
    for event in events:
        condition, signal = follow(condition, event, asked=asked)
        answers.append(signal)
    return answers


def test_what_hovers_around_a_limit_is_new_once() -> None:
    """Field case: 169.8 and 170.2 degF in turn, a minute apart, for 30 min."""
    hovering = [
        limit("at risk", minute * MIN_MS, "within")
        if minute % 2
        else limit("within", minute * MIN_MS, "at risk")
        for minute in range(1, 31)
    ]
    assert signals(*hovering) == [WORSE, CLEAR] + [SAME, CLEAR] * 14


@pytest.mark.parametrize(
    ("away_ms", "signal"), [(OFF_DELAY_MS, SAME), (OFF_DELAY_MS + 1, WORSE)]
)
def test_what_was_away_for_long_is_new(away_ms: int, signal: Signal) -> None:
    back = limit("at risk", 1_000 + away_ms)
    events = [limit("at risk"), limit("within", 1_000, "at risk"), back]
    assert signals(*events) == [WORSE, CLEAR, signal]


def test_a_second_deviation_after_a_long_while_at_risk_is_told() -> None:
    late_ms = 1_000 + OFF_DELAY_MS + 1
    assert signals(
        limit("deviation"),
        limit("at risk", 1_000, "deviation"),
        limit("deviation", late_ms, "at risk"),
    ) == [WORSE, SAME, WORSE]


def test_what_happens_below_the_worst_does_not_make_it_last() -> None:
    left_ms = 1_000
    assert signals(
        limit("deviation"),
        limit("at risk", left_ms, "deviation"),
        limit("within", left_ms + OFF_DELAY_MS, "at risk"),
        limit("deviation", left_ms + OFF_DELAY_MS + 1, "within"),
    ) == [WORSE, SAME, CLEAR, WORSE]


def test_a_worse_standing_is_new_at_once() -> None:
    assert signals(
        limit("at risk", 0, "within"),
        limit("unproven", 1, "at risk"),
        limit("missed", 2, "unproven"),
    ) == [WORSE, WORSE, WORSE]


def test_a_limit_is_normal_when_none_of_its_channels_is_abnormal() -> None:
    assert signals(
        limit("at risk", 0, "within", "core-1"),
        limit("within", 1, "waiting", "core-2"),
        limit("at risk", 2, "within", "core-2"),
        limit("within", 3, "at risk", "core-1"),
        limit("met", 4, "at risk", "core-2"),
    ) == [WORSE, None, SAME, None, CLEAR]


def test_a_limit_told_by_whichever_channel_decides_is_followed_too() -> None:
    assert signals(
        limit("at risk", 0, "within", "core-1"),
        limit("within", 1, "at risk", "core-2"),
    ) == [WORSE, CLEAR]


def test_what_nobody_asked_for_changes_nothing() -> None:
    assert signals(limit("at risk"), limit("missed", 1), asked=False) == [None, None]


RULE = rule("at risk", again_ms=10 * MIN_MS, then_ms=20 * MIN_MS, then_tell="backup")


def test_the_first_is_told_now_and_the_second_later() -> None:
    assert tellings([RULE], limit("at risk"), 1_000, []) == [
        Telling("operator", 1_000, 10 * MIN_MS),
        Telling("backup", 1_000 + 20 * MIN_MS, 10 * MIN_MS),
    ]


def test_a_worse_standing_does_not_put_off_the_second() -> None:
    earlier = tellings([RULE], limit("at risk"), 1_000, [])
    assert tellings([RULE], limit("at risk"), 5_000, earlier) == [
        Telling("operator", 5_000, 10 * MIN_MS),
        Telling("backup", 1_000 + 20 * MIN_MS, 10 * MIN_MS),
    ]


def test_good_news_calls_nobody_else() -> None:
    news = rule("met", then_ms=1, then_tell="backup")
    assert tellings([news], limit("met"), 0, []) == [Telling("operator", 0, 0)]


def test_a_contact_of_two_rules_is_told_once_and_by_the_stricter() -> None:
    rules = [RULE, rule("at risk", tell="backup", again_ms=5 * MIN_MS), rule("met")]
    assert tellings(rules, limit("at risk"), 0, []) == [
        Telling("operator", 0, 10 * MIN_MS),
        Telling("backup", 0, 5 * MIN_MS),
    ]


def test_the_back_off_doubles_up_to_five_minutes() -> None:
    waits_s = [back_off_ms(failed) // 1_000 for failed in range(1, 9)]
    assert waits_s == [10, 20, 40, 80, 160, 300, 300, 300]
    assert back_off_ms(10**6) == 300_000


@pytest.mark.parametrize(
    ("tried", "repeats", "due"),
    [
        ([], True, 100),
        ([], False, 100),
        ([(200, SENT)], True, 1_200),
        ([(200, SENT)], False, None),
        ([(200, FAILED)], True, 10_200),
        ([(200, NO_MATCH)], False, 10_200),
        ([(200, FAILED), (300, NO_MATCH)], True, 20_300),
        ([(200, FAILED), (300, SENT)], True, 1_300),
        ([(200, SENT), (300, FAILED)], True, 10_300),
    ],
)
def test_when_a_contact_is_told_next(
    tried: list[tuple[int, Outcome]], repeats: bool, due: int | None
) -> None:
    attempts = [Tried(*one) for one in tried]
    assert due_ms(Telling("operator", 100, 1_000), attempts, repeats=repeats) == due


def test_who_is_to_be_told_once_is_not_told_again() -> None:
    assert due_ms(Telling("operator", 0, 0), [Tried(9, SENT)], repeats=True) is None


def test_failures_are_counted_from_the_last_success() -> None:
    assert failures([Tried(1, FAILED), Tried(2, SENT), Tried(3, NO_MATCH)]) == 1


@pytest.mark.parametrize(
    ("event", "where", "remedies", "title", "body"),
    [
        pytest.param(
            limit("at risk"),
            ("J-12", "north"),
            ("hold the lot apart", "ask a process authority"),
            "come-up at risk: lot J-12, smokehouse north",
            "It is slow.\n"
            "If it is missed: hold the lot apart; ask a process authority.",
            id="at risk",
        ),
        pytest.param(
            limit("missed"),
            ("J-12", ""),
            ("hold the lot apart",),
            "come-up missed: lot J-12",
            "It is slow.\nNow: hold the lot apart.",
            id="missed",
        ),
        pytest.param(
            limit("met"),
            ("J-12", "north"),
            ("hold the lot apart",),
            "come-up met: lot J-12, smokehouse north",
            "It is slow.",
            id="met, nothing to do",
        ),
        pytest.param(
            Event(0, Subject.CHANNEL, "core-1", "core-1", "", "quiet", "No reading."),
            ("J-12", "north"),
            (),
            "channel core-1 quiet: lot J-12, smokehouse north",
            "No reading.",
            id="probe",
        ),
        pytest.param(
            Event(0, Subject.CHANNEL, "broker", "", "", "away", "Nobody answers."),
            ("", ""),
            (),
            "broker away",
            "Nobody answers.",
            id="site",
        ),
        pytest.param(
            Event(0, Subject.STAGE, "smoke", "", "", "begun", "dry is over."),
            ("J-12", "north"),
            (),
            "stage smoke begun: lot J-12, smokehouse north",
            "dry is over.",
            id="stage",
        ),
    ],
)
def test_the_words(
    event: Event,
    where: tuple[str, str],
    remedies: tuple[str, ...],
    title: str,
    body: str,
) -> None:
    assert words(event, *where, remedies) == (title, body)


def test_the_last_line_says_that_it_waits_for_an_answer() -> None:
    first = closing(12, UNACKNOWLEDGED, told=False)
    assert first == "Alert 12. Not acknowledged."
    again = closing(12, RETURNED, told=True)
    assert again == (
        "It has returned to normal since.\n"
        "Alert 12. Told before, still not acknowledged."
    )
