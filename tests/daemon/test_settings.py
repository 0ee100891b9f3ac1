"""The settings: what a right file gives, and the exact words about a wrong one.

Each ``settings/NAME.bad.yaml`` stands beside the words it must give, written by
hand.  The site, its people and its secrets are invented.
"""

from collections.abc import Callable
from dataclasses import FrozenInstanceError
from pathlib import Path

import pytest

from daemon.clock import Pace
from daemon.secrets import Secret, explain
from daemon.settings import Broker, Page, Settings, load, read_settings, text_of
from probes.contract import Probe, Unit
from rules.channels import Channel, Role
from rules.faults import Fault
from tests.servers import certificates

HERE = Path(__file__).parent / "settings"
EXAMPLE = Path(__file__).parents[2] / "deploy" / "example" / "settings.yaml"
BAD = sorted(path.name for path in HERE.glob("*.bad.yaml"))

LEAST = """\
site: Juniper Yard
journal: journal.db
records: records
key: device-key.pem
broker: {}
channels:
  - channel: core-1
    smokehouse: north
    role: core
    topic: yard/north/cores
    payload: senml
    unit: degC
    every: 10 s
    quiet after: 2 min
    accuracy: 0.5 K
"""


def settings(text: str, environment: dict[str, str] | None = None) -> Settings:
    """The settings in a text that is right."""
    found = read_settings(Path("yard/settings.yaml"), text, environment or {})
    assert isinstance(found, Settings), explain(found, text)
    return found


def faults(text: str, folder: Path = Path()) -> str:
    """What is said of a text that is wrong."""
    found = read_settings(folder / "s.yaml", text, {})
    assert isinstance(found, list)
    return explain(found, text)


def test_every_bad_file_has_its_words() -> None:
    assert len(BAD) == 11
    assert sorted(path.name for path in HERE.glob("*.bad.txt")) == [
        name.replace(".yaml", ".txt") for name in BAD
    ]


@pytest.mark.parametrize("name", BAD)
def test_the_exact_words(name: str) -> None:
    source = (HERE / name).read_text(encoding="utf-8")
    found = read_settings(Path(name), source, {})
    assert isinstance(found, list)
    words = (HERE / name).with_suffix(".txt").read_text(encoding="utf-8")
    assert explain(found, source) == words


def test_what_is_left_out_has_its_usual_value() -> None:
    found = settings(LEAST)
    assert found.broker == Broker("127.0.0.1", 1883, "3.1.1", "fumarium", "", None)
    assert found.broker.in_flight == 20  # what mosquitto does when told nothing
    assert found.page == Page("127.0.0.1", 8080)
    assert found.lateness_ms == 10_000
    assert (dict(found.contacts), found.mirror, found.pace) == ({}, None, None)
    assert (found.heartbeat, found.compact_ms) == (None, 7 * 24 * 3_600_000)


def test_a_relative_path_counts_from_the_folder_of_the_file() -> None:
    found = settings(LEAST.replace("records: records", "records: /srv/records"))
    assert found.journal == Path("yard/journal.db")
    assert found.records == Path("/srv/records")
    assert found.key == Path("yard/device-key.pem")


@pytest.mark.parametrize(
    ("was", "now", "most"),
    [
        # PATH_MAX of Linux (limits.h) holds 4096 bytes with the zero at the end.
        ("journal.db", "{}", 4095),
        # RFC 1035, 2.3.4: 255 octets, which are 253 characters when written.
        ("broker: {{}}", "broker: {{host: {}}}", 253),
    ],
)
def test_what_a_machine_takes_is_not_refused(was: str, now: str, most: int) -> None:
    def written(letters: int) -> str:
        return LEAST.replace(was.format(), now.format("a" * letters))

    settings(written(most))
    assert f"is longer than {most} characters" in faults(written(most + 1))


def test_a_space_at_an_end_is_called_one() -> None:
    text = LEAST.replace("site: Juniper Yard", 'site: "Juniper Yard "')
    assert "'Juniper Yard ' begins or ends with a space" in faults(text)


MORE = """\
  - channel: air
    smokehouse: south
    role: humidity
    topic: yard/south/air
    payload: json
    value at: /air/damp
    time at: /t
    unit: "%RH"
    every: 1 min
    quiet after: 5 min
    accuracy: 2.5 %RH
    probe: A7
contacts:
  - contact: operator
    address: {environment: OPERATOR}
mirror: {url: "http://127.0.0.1:8086", organisation: yard, bucket: cooks, token: fern}
heartbeat: {address: {environment: WATCH}, every: 2 min}
compact after: 36 h
page: {listen: 0.0.0.0, port: 80}
pace: {begins: 2026-01-10T05:00:00Z, times: 1200, since: 2026-01-10T06:00:00+01:00}
"""


def test_all_that_can_be_set() -> None:
    environment = {"OPERATOR": "json://127.0.0.1:9", "WATCH": "http://127.0.0.1/fern"}
    found = settings(LEAST + MORE, environment)
    assert found.site == "Juniper Yard"
    assert found.smokehouses == ("north", "south")
    assert found.topics == ("yard/north/cores", "yard/south/air")
    assert found.probes[1] == Probe(
        channel="air",
        smokehouse="south",
        role=Role.HUMIDITY,
        topic="yard/south/air",
        form="json",
        unit=Unit.PERCENT,
        every_ms=60_000,
        quiet_ms=300_000,
        accuracy_mc=2_500,
        pointer="/air/damp",
        time_pointer="/t",
        identity="A7",
    )
    assert found.channels("north") == (
        Channel("core-1", Role.CORE, 10_000, 120_000, 500),
    )
    assert found.channels("south") == (
        Channel("air", Role.HUMIDITY, 60_000, 300_000, 2_500, "A7"),
    )
    assert found.channels("west") == ()
    assert found.contacts["operator"].reveal() == "json://127.0.0.1:9"
    assert found.mirror is not None
    assert (found.mirror.url, found.mirror.token.reveal()) == (
        "http://127.0.0.1:8086",
        "fern",
    )
    assert found.heartbeat is not None
    assert found.heartbeat.address.reveal() == "http://127.0.0.1/fern"
    assert (found.heartbeat.every_ms, found.compact_ms) == (120_000, 129_600_000)
    assert found.page == Page("0.0.0.0", 80)
    # `date -u -d 2026-01-10T05:00:00Z +%s` says 1768021200.
    assert found.pace == Pace(1_768_021_200_000, 1200, 1_768_021_200_000)


def test_the_shipped_example_is_right_once_its_secrets_are_there(
    tmp_path: Path,
) -> None:
    source = EXAMPLE.read_text(encoding="utf-8")
    for name in ("broker.password", "operator.address", "backup.address"):
        assert f"/etc/fumarium/{name}" in source
        (tmp_path / name).write_text("moss\n", encoding="utf-8")
        (tmp_path / name).chmod(0o600)
    found = settings(source.replace("/etc/fumarium/", f"{tmp_path}/"))
    assert found.smokehouses == ("north",)
    assert len(found.probes) == 4


def test_a_file_that_cannot_be_read_is_a_fault(tmp_path: Path) -> None:
    path = tmp_path / "settings.yaml"
    assert load(path, {}) == [
        Fault(
            str(path),
            *(1, 1, 1),
            "cannot be read: No such file or directory",
            "give the path of the settings file",
        )
    ]
    path.write_bytes(b"site: \xff\xfe")
    assert load(path, {}) == [
        Fault(str(path), 1, 1, 1, "not UTF-8 text", "write plain UTF-8 text")
    ]
    path.write_text(LEAST, encoding="utf-8")
    assert text_of(path) == LEAST
    assert isinstance(load(path, {}), Settings)


@pytest.mark.parametrize(
    "text", ["just words\n", "- a\n- list\n", "site: &a x\nkey: *a\n", "a: 1\na: 2\n"]
)
def test_another_kind_of_file_is_a_fault(text: str) -> None:
    found = read_settings(Path("s.yaml"), text, {})
    assert isinstance(found, list)
    assert found


@pytest.mark.parametrize(
    ("quiet", "good"), [("10 s", False), ("15 s", False), ("15.001 s", True)]
)
def test_quiet_comes_after_more_than_a_period_and_a_half(
    quiet: str, good: bool
) -> None:
    text = LEAST.replace("quiet after: 2 min", f"quiet after: {quiet}")
    assert isinstance(read_settings(Path("s.yaml"), text, {}), Settings) is good


@pytest.mark.parametrize("port", ["1", "65535"])
def test_a_port_at_the_edge(port: str) -> None:
    assert settings(
        LEAST.replace("broker: {}", f"broker: {{port: {port}}}")
    ).broker.port == int(port)


@pytest.mark.parametrize("host", ["yard.lan", "::1", "2001:db8::1", "10.0.0.7", "a-1"])
def test_a_name_or_an_address_is_a_host(host: str) -> None:
    text = LEAST.replace("broker: {}", f"broker: {{host: '{host}'}}")
    assert settings(text).broker.host == host


@pytest.mark.parametrize("host", ["a..b", "a b", "a/b", "-a", "moss@yard", "é"])
def test_what_is_no_host(host: str) -> None:
    text = LEAST.replace("broker: {}", f"broker: {{host: '{host}'}}")
    assert f"{host!r} is not the name of a machine" in faults(text)


# RFC 6901, section 5, but for "" (the whole document), which no probe needs.
@pytest.mark.parametrize(
    "pointer",
    ["/foo", "/foo/0", "/", "/a~1b", "/c%d", "/e^f", "/g|h", "/i\\j", '/k"l', "/m~0n"],
)
def test_a_pointer_of_the_standard_is_right(pointer: str) -> None:
    text = LEAST.replace("payload: senml", f"payload: json\n    value at: '{pointer}'")
    assert settings(text).probes[0].pointer == pointer


def test_a_topic_with_many_records_needs_each_named() -> None:
    second = LEAST.partition("channels:\n")[2].replace("core-1", "core-2")
    assert (
        "the only record of the topic 'yard/north/cores' is taken in line 7"
        in faults(LEAST + second)
    )


def test_a_certificate_authority_must_be_one(tmp_path: Path) -> None:
    text = LEAST.replace("broker: {}", "broker: {certificate authority: ca.pem}")
    (tmp_path / "ca.pem").write_text("no certificate\n", encoding="utf-8")
    assert "'ca.pem' holds no certificate" in faults(text, tmp_path)
    certificates(tmp_path)
    found = read_settings(tmp_path / "settings.yaml", text, {})
    assert isinstance(found, Settings)
    assert found.broker.ca == tmp_path / "ca.pem"


WITH_PASSWORD = LEAST.replace(
    "broker: {}", "broker: {user: fumarium, password: {file: kept/password}}"
)


@pytest.fixture
def kept(tmp_path: Path) -> Callable[[bytes, int], Path]:
    """Write the file of a secret; answer the folder of the settings."""

    def write(content: bytes, mode: int) -> Path:
        path = tmp_path / "kept" / "password"
        path.parent.mkdir()
        path.write_bytes(content)
        path.chmod(mode)
        return tmp_path

    return write


@pytest.mark.parametrize("mode", [0o400, 0o600, 0o640])
def test_a_secret_comes_from_its_file(
    kept: Callable[[bytes, int], Path], mode: int
) -> None:
    folder = kept(b" hunter2\n", mode)
    found = read_settings(folder / "s.yaml", WITH_PASSWORD, {})
    assert isinstance(found, Settings)
    assert found.broker.password == Secret(" hunter2")


@pytest.mark.parametrize("mode", [0o604, 0o602, 0o644, 0o666])
def test_a_secret_that_everybody_can_read_is_none(
    kept: Callable[[bytes, int], Path], mode: int
) -> None:
    folder = kept(b"hunter2\n", mode)
    path = folder / "kept" / "password"
    assert faults(WITH_PASSWORD, folder) == (
        f"{folder}/s.yaml:5:43: everybody on this machine can read '{path}'\n"
        "    5 | broker: {user: fumarium, password: {file: kept/password}}\n"
        "      |                                           ^^^^^^^^^^^^^\n"
        f"  run: chmod 600 {path}\n"
    )


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b"\n", "is empty"),
        (b"one\ntwo\n", "is more than one line"),
        (b"\xff\xfe", "is not text"),
    ],
)
def test_a_file_that_holds_no_secret(
    kept: Callable[[bytes, int], Path], content: bytes, words: str
) -> None:
    found = faults(WITH_PASSWORD, kept(content, 0o600))
    assert f"kept/password' {words}" in found
    assert "two" not in found


def test_a_file_that_is_none_holds_no_secret(tmp_path: Path) -> None:
    (tmp_path / "kept" / "password").mkdir(parents=True)
    assert "kept/password' cannot be read: Is a directory" in faults(
        WITH_PASSWORD, tmp_path
    )


def test_a_secret_shows_itself_to_nobody() -> None:
    found = settings(
        LEAST.replace("broker: {}", "broker: {user: fumarium, password: hunter2}")
    )
    secret = found.broker.password
    assert secret is not None
    for shown in (repr(secret), str(secret), f"{secret}", repr(found)):
        assert "Secret(...)" in shown
        assert "hunter2" not in shown
    assert secret.reveal() == "hunter2"
    with pytest.raises(FrozenInstanceError):
        secret._value = "other"  # type: ignore[misc]


def test_times_are_printed_in_the_zone_that_is_named() -> None:
    assert settings(LEAST).zone.key == "UTC"
    assert settings(f"zone: Europe/Berlin\n{LEAST}").zone.key == "Europe/Berlin"
    assert faults(f"zone: Juniper Yard\n{LEAST}") == (
        "s.yaml:1:7: 'Juniper Yard' is not a time zone that this machine knows\n"
        "    1 | zone: Juniper Yard\n"
        "      |       ^^^^^^^^^^^^\n"
        "  write its name, for example: Europe/Berlin or UTC\n"
    )


@pytest.mark.parametrize("address", ["ftp://qzqzqz", "qzqzqz", "http://[qzqzqz"])
def test_a_heartbeat_that_cannot_be_called_shows_no_secret(address: str) -> None:
    said = faults(LEAST + f"heartbeat: {{address: '{address}'}}\n")
    assert "the address of the heartbeat is none that can be called" in said
    assert "for example: https://watch.example/ping/1234" in said
    assert "qzqz" not in said
