"""Which probe is warm in a hand, told from what several probes say."""

import pytest

from probes.identify import Watch, heard, named


def watched(*series: tuple[float, ...]) -> dict[str, Watch]:
    """Channels a, b, c ... that have each said these, in degrees."""
    watches = {}
    for name, values in zip("abc", series, strict=False):
        watch = Watch()
        for value in values:
            watch = heard(watch, round(value * 1_000))
        watches[name] = watch
    return watches


STILL = (20.0, 20.1, 20.0, 20.1, 20.0)


@pytest.mark.parametrize(
    ("series", "name"),
    [
        pytest.param([(20, 20, 20, 22, 24), STILL], "a", id="one rises by itself"),
        pytest.param([STILL, (4, 4, 4, 6, 8)], "b", id="from the cooler too"),
        pytest.param([(20, 20, 20, 22, 24)], "a", id="the only one"),
        pytest.param([STILL, STILL], "", id="nobody"),
        pytest.param([(20, 20, 20, 24), STILL], "", id="one reading is no rise"),
        pytest.param([(20, 20, 20, 22.1, 21.9), STILL], "", id="and back again"),
        pytest.param([(20, 20, 20, 21.9, 21.9), STILL], "", id="not far enough"),
        pytest.param(
            [(20, 20, 20, 23, 24), (20, 20, 20, 22, 24)], "", id="both in one hand"
        ),
        pytest.param(
            [(20, 20, 20, 23, 24), (20, 20, 20, 21, 22.1)], "", id="half as far"
        ),
        pytest.param(
            [(20, 20, 20, 23, 24), (20, 20, 20, 21, 21.9)], "a", id="less than half"
        ),
        pytest.param([(20, 21, 20, 23, 24), STILL], "", id="no more than its noise"),
        pytest.param([(20, 21, 20, 25, 26), STILL], "a", id="more than its noise"),
        pytest.param([(20, 20, 20, 23, 24), (20, 20)], "", id="one not known yet"),
        pytest.param([(24, 24, 24, 20, 20), STILL], "", id="a fall is no rise"),
    ],
)
def test_who_is_named(series: list[tuple[float, ...]], name: str) -> None:
    assert named(watched(*series)) == name
