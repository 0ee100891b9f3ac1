"""probes/doubts.py: the table is whole, and a refusal names its doubt."""

import pytest

from probes.doubts import TABLE, Doubt, said


def test_every_doubt_has_its_rule() -> None:
    assert set(TABLE) == set(Doubt)


@pytest.mark.parametrize(
    ("why", "doubt"),
    [
        ("open circuit: is the probe plugged in?", Doubt.OPEN),
        ("clock ahead: its clock is ahead by 2 min", Doubt.AHEAD),
        ("open circuit", None),
        ("an open circuit: x", None),
        ("not a number", None),
    ],
)
def test_a_refusal_tells_of_a_doubt_by_its_first_words(
    why: str, doubt: Doubt | None
) -> None:
    assert said(why) is doubt
