"""A calibrated probe, from the journal to the record and its verification."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from daemon import record
from daemon.cli import GOOD, main
from daemon.dossier import Dossier
from daemon.tampering import Kind
from daemon.verify import verify
from rules.channels import Check, Point, Role
from tests.daemon import invented
from tests.daemon.records import KEY, PEM, Line, kinds, resealed
from tests.end_to_end import test_identity as identity

CHECK = Check(
    invented.at(-600),
    "AB",
    (Point(200, 0, 100), Point(65_500, 65_200, 200)),
)
CHANNELS = tuple(
    replace(one, checks=(CHECK,), step_mc=63) if one.role is Role.CORE else one
    for one in invented.channels(invented.BRIEF.every_s)
)


@pytest.fixture(scope="module")
def dossier(tmp_path_factory: pytest.TempPathFactory) -> Dossier:
    """A cook in the journal whose cores were checked the evening before."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(invented, "channels", lambda _: CHANNELS)
        return invented.dossier(tmp_path_factory.mktemp("yard"), invented.BRIEF)


def test_what_the_probe_said_is_kept_and_what_is_judged_is_corrected(
    dossier: Dossier,
) -> None:
    assert dossier.cook.channels == CHANNELS
    cores = [one.name for one in CHANNELS if one.role is Role.CORE]
    said = [one for one in dossier.readings if one.channel in cores]
    given = {(one.channel, one.at_ms): one for one in invented.readings(invented.BRIEF)}
    assert all(given[one.channel, one.at_ms].value_mc == one.value_mc for one in said)
    judged = [one for one in dossier.judged if one.channel in cores]
    assert all(
        -400 <= b.value_mc - a.value_mc <= -190
        for a, b in zip(said, judged, strict=True)
    )
    assert all(
        b.uncertainty_mc > a.uncertainty_mc for a, b in zip(said, judged, strict=True)
    )


def test_the_record_carries_the_check_and_is_judged_again_by_it(
    dossier: Dossier,
) -> None:
    octets = record.write(dossier, KEY)
    opening = json.loads(octets.splitlines()[0])
    checks = [one["checks"] for one in opening["channels"] if one["role"] == "core"]
    assert checks[0] == [
        {
            "at_ms": invented.at(-600),
            "who": "AB",
            "points": [
                {"said_mc": 200, "reference_mc": 0, "within_mc": 100},
                {"said_mc": 65_500, "reference_mc": 65_200, "within_mc": 200},
            ],
        }
    ]
    report = verify(octets, PEM)
    assert report.failures == ()


def test_a_check_that_was_changed_afterwards_shows(dossier: Dossier) -> None:
    def change(body: list[Line]) -> None:
        for channel in body[0]["channels"]:
            for check in channel["checks"]:
                check["points"][1]["reference_mc"] += 2_000

    report = verify(resealed(record.write(dossier, KEY), change), PEM)
    assert Kind.FINDINGS in kinds(report)


def test_a_record_of_a_time_without_checks_can_still_be_read(whole: bytes) -> None:
    def change(body: list[Line]) -> None:
        for channel in body[0]["channels"]:
            for key in ("checks", "step_mc", "drift_mc", "lag_mc"):
                del channel[key]

    assert verify(resealed(whole, change), PEM).failures == ()


def test_a_cook_that_begins_hears_of_a_check_that_was_due(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "settings.yaml"
    check = (
        "calibrations:\n  - channel: core-1\n    at: 2020-01-09T07:30:00Z\n    by: AB\n"
        "    due: 2021-01-09T07:30:00Z\n    points:\n"
        "      - {said: 0.4 degC, reference: 0.0 degC, within: 0.1 K}\n"
    )
    path.write_text(identity.SETTINGS.format(port=1, page=1) + check)
    (tmp_path / "links.yaml").write_text(identity.SCHEDULE)
    begin = ["begin", str(tmp_path / "links.yaml"), "--lot", "T-9", "--who", "AB"]
    assert main([*begin, "--settings", str(path)]) == GOOD
    assert "note: core-1 was to be checked by 2021-01-09: it is judged by its last" in (
        capsys.readouterr().out
    )
