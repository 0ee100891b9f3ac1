"""The settings: one YAML file, read once at the start into frozen values.

``load`` answers the settings or every fault of the file at once.  The models with
an underscore are the file as a person writes it; ``Settings`` is what the rest of
the daemon sees.  What one value alone can tell is checked here, what two values say
together in ``daemon.settings_checks``.  A relative path counts from the folder of
the settings file.

Units: ``_ms`` milliseconds; ``_mc`` as in ``rules.facts``.
"""

import re
import ssl
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, NoReturn, get_args
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
    create_model,
    model_validator,
)

from daemon.clock import Pace
from daemon.secrets import Secret, redacted, secret
from daemon.settings_checks import checks
from probes.contract import Conversion, Law, Probe, Raw, Unit
from probes.form import Key
from probes.forms import FORMS, keys_of
from rules.channels import Channel, Check, Point, Role
from rules.faults import Fault
from rules.reader import M, Marked, choice, marked_tree, validated
from rules.spots import Thermometer
from rules.units import Duration, Temperature, doubt, duration, refused

DAY_MS = 86_400_000
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
COEFFICIENT = re.compile(r"[+-]?[0-9](\.[0-9]{1,12})?[eE]-?[0-9]{1,2}")
CLIENT_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")

Version = Literal["3.1.1", "5"]


@dataclass(frozen=True, slots=True)
class Broker:
    """Where the messages come from, and how we are let in."""

    host: str = "127.0.0.1"
    port: int = 1883
    version: Version = "3.1.1"
    client_id: str = "fumarium"
    user: str = ""
    password: Secret | None = None
    ca: Path | None = None  # the authority that signed its certificate; None: no TLS
    in_flight: int = 20  # how many messages it sends without acknowledgement


@dataclass(frozen=True, slots=True)
class Mirror:
    """Where a copy of the readings goes."""

    url: str
    organisation: str
    bucket: str
    token: Secret


@dataclass(frozen=True, slots=True)
class Heartbeat:
    """Where somebody else counts that we are still there."""

    address: Secret
    every_ms: int


@dataclass(frozen=True, slots=True)
class Page:
    """Where the status page listens."""

    listen: str = "127.0.0.1"
    port: int = 8080


@dataclass(frozen=True, slots=True)
class Settings:
    """All that a daemon must know before it starts."""

    site: str
    journal: Path
    records: Path
    key: Path
    lateness_ms: int
    zone: ZoneInfo  # in which times are printed on a record
    broker: Broker
    probes: tuple[Probe, ...]
    contacts: Mapping[str, Secret]
    mirror: Mirror | None
    heartbeat: Heartbeat | None
    thermometers: tuple[Thermometer, ...]  # that temperatures are taken with by hand
    compact_ms: int  # readings older than this are packed
    page: Page
    pace: Pace | None

    @property
    def smokehouses(self) -> tuple[str, ...]:
        """The smokehouses of the site, in the order of the file."""
        return tuple(dict.fromkeys(probe.smokehouse for probe in self.probes))

    @property
    def topics(self) -> tuple[str, ...]:
        """The topics that carry a channel, in the order of the file."""
        return tuple(dict.fromkeys(probe.topic for probe in self.probes))

    def channels(self, smokehouse: str) -> tuple[Channel, ...]:
        """The channels of one smokehouse, in the order of the file."""
        return tuple(
            Channel(
                name=probe.channel,
                role=probe.role,
                every_ms=probe.every_ms,
                quiet_ms=probe.quiet_ms,
                accuracy_mc=probe.accuracy_mc,
                probe=probe.bound_to,
                step_mc=probe.step_mc,
                drift_mc=probe.drift_mc,
                lag_mc=probe.lag_mc,
                checks=probe.checks,
            )
            for probe in self.probes
            if probe.smokehouse == smokehouse
        )


def load(path: Path, environment: Mapping[str, str]) -> Settings | list[Fault]:
    """Read the settings, or say everything that is wrong with them.

    Show faults with ``daemon.secrets.explain``, which hides the secrets of the file.
    """
    source = text_of(path)
    if isinstance(source, Fault):
        return [source]
    return read_settings(path, source, environment)


def text_of(path: Path) -> str | Fault:
    """The text of a settings file, or why it cannot be had."""
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return Fault(str(path), 1, 1, 1, "not UTF-8 text", "write plain UTF-8 text")
    except OSError as error:
        found = f"cannot be read: {error.strerror}"
        return Fault(str(path), 1, 1, 1, found, "give the path of the settings file")


def read_settings(
    path: Path, source: str, environment: Mapping[str, str]
) -> Settings | list[Fault]:
    """Read settings from their text, or say everything that is wrong with it."""
    file = checked_file(path, source, environment, _File, checks)
    return file if isinstance(file, list) else file.settings()


def checked_file(
    path: Path,
    source: str,
    environment: Mapping[str, str],
    model: type[M],
    check: Callable[[Marked], Iterable[Fault]],
) -> M | list[Fault]:
    """Read a file that may hold secrets into ``model``, or say all that is wrong.

    ``check`` finds what two values of the file say together.
    """
    marked = marked_tree(str(path), source)
    if isinstance(marked, list):
        return redacted(marked, source)
    context: dict[str, object] = {"environment": environment, "folder": path.parent}
    file = validated(marked, model, context)
    faults = {*(file if isinstance(file, list) else []), *check(marked)}
    if isinstance(file, list) or faults:
        return redacted(sorted(faults), source)
    return file


def _line(value: object, most: int) -> str:
    if not isinstance(value, str) or not value.strip() or not value.isprintable():
        _refuse(value, "is not one line of text", "write some words on one line")
    if value != value.strip():
        _refuse(value, "begins or ends with a space", "leave the space out")
    if len(value) > most:
        _refuse(value, f"is longer than {most} characters", "write it shorter")
    return value


def _text(value: object) -> str:
    return _line(value, 80)


def whole_number(least: int, most: int) -> Callable[[object], int]:
    def whole(value: object) -> int:
        right = f"write a whole number from {least} to {most}"
        if not isinstance(value, str) or not re.fullmatch(r"-?[0-9]{1,18}", value):
            _refuse(value, "is not a whole number", right)
        if not least <= int(value) <= most:
            _refuse(value, f"is outside {least} to {most}", right)
        return int(value)

    return whole


def _topic(value: object) -> str:
    topic = _line(value, 16_383)  # of four bytes each: MQTT 5.0, 1.5.4
    if set(topic) & set("+#"):
        right = "write the whole topic: one for each probe, without + and #"
        _refuse(topic, "holds a wildcard", right)
    return topic


def _of_key(key: Key) -> Callable[[object], str]:
    def of_key(value: object) -> str:
        if not key.pattern:
            return _text(value)
        if not isinstance(value, str) or not re.fullmatch(key.pattern, value):
            _refuse(value, f"is not {key.what}", key.remedy)
        return value

    return of_key


def _one_of(words: Iterable[str], what: str) -> BeforeValidator:
    known = [str(word) for word in words]

    def one_of(value: object) -> object:
        if value not in known:
            _refuse(value, f"is not {what}", choice(str(value), known))
        return value

    return BeforeValidator(one_of)


def _client_id(value: object) -> str:
    if not isinstance(value, str) or not CLIENT_ID.fullmatch(value):
        right = "write letters, digits, dots and dashes, for example: fumarium"
        _refuse(value, "is not a client id", right)
    return value


def _host(value: object) -> str:
    host = _line(value, 253)  # RFC 1035, 2.3.4, as text
    if not re.fullmatch(r"[A-Za-z0-9]([A-Za-z0-9.-]{0,252})|[0-9a-fA-F:]+", host):
        right = "write a name or an address alone, for example: 127.0.0.1"
        _refuse(value, "is not the name of a machine", right)
    if ".." in host:
        _refuse(value, "is not the name of a machine", "write one dot at a time")
    return host


def _path(value: object, info: ValidationInfo) -> Path:
    folder = (info.context or {}).get("folder", Path())
    return Path(folder, _line(value, 4095))  # PATH_MAX of Linux, less its end


def _authority(value: object, info: ValidationInfo) -> Path:
    path = _path(value, info)
    try:
        ssl.create_default_context(cafile=str(path))
    except ssl.SSLError:
        right = "give the authority's certificate as a PEM file"
        _refuse(value, "holds no certificate", right)
    except OSError as error:
        right = "give the path of the authority's certificate"
        _refuse(value, f"cannot be read: {error.strerror}", right)
    return path


def _coefficients(value: object) -> tuple[Decimal, ...]:
    words = value.split() if isinstance(value, str) else []
    if len(words) != 3 or not all(COEFFICIENT.fullmatch(word) for word in words):
        right = "write a, b and c, for example: 1.129148e-3 2.34125e-4 8.76741e-8"
        _refuse(value, "is not the three coefficients of Steinhart and Hart", right)
    return tuple(Decimal(word) for word in words)


def period(value: object) -> int:
    return _above_zero(duration(value), value, "10 s")


def _accuracy(value: object) -> int:
    if isinstance(value, str) and value.endswith("%RH"):
        return _above_zero(doubt(f"{value[:-3].strip()} K"), value, "2 %RH")
    return _above_zero(doubt(value), value, "0.5 K")


def _step(value: object) -> int:
    return _above_zero(doubt(value), value, "0.1 K")


def _lag(value: object) -> int:
    """What a time constant makes of the steepest slope, rounded up."""
    right = "write the time constant and the slope, for example: 8 s at 3 K/min"
    behind, _, slope = value.partition(" at ") if isinstance(value, str) else ("",) * 3
    if not slope.endswith("/min"):
        _refuse(value, "does not say what a probe is behind on a slope", right)
    behind_ms, slope_mc = duration(behind), doubt(slope.removesuffix("/min"))
    return -(-behind_ms * slope_mc // 60_000)


def _above_zero(amount: int, value: object, example: str) -> int:
    if not amount:
        _refuse(value, "must be more than nothing", f"for example: {example}")
    return amount


def _url(value: object) -> str:
    url = _text(value)
    try:
        parts = urlsplit(url)
        good = parts.scheme in ("http", "https") and parts.hostname
        named = "@" in parts.netloc
    except ValueError:
        good, named = None, False
    if named:
        found = "the address of the mirror holds a name or password"
        raise refused(found, "take it out; the mirror is entered with a token")
    if not good:
        right = "for example: http://127.0.0.1:8086"
        _refuse(value, "is not the address of a mirror", right)
    return url


def _heartbeat(value: object, info: ValidationInfo) -> Secret:
    address = secret(value, info)
    try:
        parts = urlsplit(address.reveal())
        good = parts.scheme in ("http", "https") and parts.hostname
    except ValueError:
        good = None
    if not good:
        found = "the address of the heartbeat is none that can be called"
        raise refused(found, "for example: https://watch.example/ping/1234")
    return address


def _moment(value: object) -> int:
    right = "write date, time and Z, for example: 2026-01-10T05:00:00Z"
    try:
        at = datetime.fromisoformat(str(value))
    except ValueError:
        _refuse(value, "is not a moment", right)
    if at.tzinfo is None:
        _refuse(value, "does not say its time zone", right)
    return (at - EPOCH) // timedelta(milliseconds=1)


def _zone(value: object) -> ZoneInfo:
    name = _text(value)
    try:
        return ZoneInfo(name)
    except (KeyError, OSError, ValueError):
        right = "write its name, for example: Europe/Berlin or UTC"
        _refuse(value, "is not a time zone that this machine knows", right)


def _refuse(value: object, what: str, right: str) -> NoReturn:
    found = f"{value!r} {what}" if isinstance(value, str) else f"this {what}"
    raise refused(found, right)


Text = Annotated[str, BeforeValidator(_text)]
OneVersion = Annotated[Version, _one_of(get_args(Version), "a version of MQTT here")]
OneRole = Annotated[Role, _one_of(Role, "a role of a probe")]
OneForm = Annotated[str, _one_of(FORMS, "a form of payload")]
OneUnit = Annotated[Unit | Raw, _one_of((*Unit, *Raw), "a unit of a probe")]
OneLaw = Annotated[Law, _one_of(Law, "a conversion")]
Port = Annotated[int, BeforeValidator(whole_number(1, 65_535))]
InFlight = Annotated[int, BeforeValidator(whole_number(1, 65_535))]
Times = Annotated[int, BeforeValidator(whole_number(1, 100_000))]
Topic = Annotated[str, BeforeValidator(_topic)]
ClientId = Annotated[str, BeforeValidator(_client_id)]
Host = Annotated[str, BeforeValidator(_host)]
PathHere = Annotated[Path, BeforeValidator(_path)]
Authority = Annotated[Path, BeforeValidator(_authority)]
Coefficients = Annotated[tuple[Decimal, ...], BeforeValidator(_coefficients)]
Every = Annotated[int, BeforeValidator(period)]
Accuracy = Annotated[int, BeforeValidator(_accuracy)]
Step = Annotated[int, BeforeValidator(_step)]
Lag = Annotated[int, BeforeValidator(_lag)]
Url = Annotated[str, BeforeValidator(_url)]
Moment = Annotated[int, BeforeValidator(_moment)]
Zone = Annotated[ZoneInfo, BeforeValidator(_zone)]
Kept = Annotated[Secret, BeforeValidator(secret)]
Called = Annotated[Secret, BeforeValidator(_heartbeat)]


class Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)

    @model_validator(mode="before")
    @classmethod
    def _with_keys(cls, value: object) -> object:
        if not isinstance(value, dict):
            right = "write the keys of this part, each on a line of its own"
            _refuse(value, "is no part with keys", right)
        return value


class BrokerPart(Part):
    host: Host = "127.0.0.1"
    port: Port = 1883
    version: OneVersion = "3.1.1"
    client_id: ClientId = Field("fumarium", alias="client id")
    user: Text = ""
    password: Kept | None = None
    ca: Authority | None = Field(None, alias="certificate authority")
    in_flight: InFlight = Field(20, alias="in flight")


class PointPart(Part):
    """A comparison as a person writes it."""

    said: Temperature
    reference: Temperature
    within: Step


class CheckPart(Part):
    """A dated check as a person writes it."""

    channel: Text
    at: Moment
    who: Text = Field(alias="by")
    due: Moment = 0  # when the next one is
    points: list[PointPart]

    def value(self) -> Check:
        points = sorted((int(p.said), int(p.reference), p.within) for p in self.points)
        return Check(self.at, self.who, tuple(Point(*one) for one in points))


class _Channel(Part):
    # Never read by itself: ``_Keyed`` is, and to build both would cost the start twice.
    model_config = ConfigDict(defer_build=True)

    channel: Text
    smokehouse: Text
    role: OneRole
    topic: Topic
    payload: OneForm
    unit: OneUnit
    law: OneLaw | None = Field(None, alias="conversion")
    coefficients: Coefficients = ()
    cold: Text = Field("", alias="cold junction")
    every: Every
    quiet: Duration = Field(alias="quiet after")
    accuracy: Accuracy
    probe: Text = ""
    step: Step = Field(0, alias="resolution")
    drift: Step = 0
    lag: Lag = 0

    def value(self, checks: Sequence[CheckPart]) -> Probe:
        conversion, unit = None, self.unit
        if self.law:
            conversion = Conversion(self.law, self.coefficients, self.cold)
        fields, extras = self._of_form()
        mine = [one for one in checks if one.channel == self.channel]
        return Probe(
            channel=self.channel,
            smokehouse=self.smokehouse,
            role=self.role,
            topic=self.topic,
            form=self.payload,
            unit=Unit.CELSIUS if isinstance(unit, Raw) else unit,
            every_ms=self.every,
            quiet_ms=self.quiet,
            accuracy_mc=self.accuracy,
            identity=self.probe,
            conversion=conversion,
            step_mc=self.step,
            drift_mc=self.drift,
            lag_mc=self.lag,
            checks=tuple(one.value() for one in mine),
            due_ms=max(((one.at, one.due) for one in mine), default=(0, 0))[1],
            extras=extras,
            **fields,
        )

    def _of_form(self) -> tuple[dict[str, str], tuple[tuple[str, str], ...]]:
        """What the keys of its form say: fields of ``Probe``, and those of it alone."""
        said = [(key, getattr(self, name)) for name, key in FORM_KEYS.items()]
        fields = {key.field: text for key, text in said if key.field and text}
        return fields, tuple(
            (key.word, text) for key, text in said if text and not key.field
        )


# The keys of the payload forms, by the names of their fields here.
FORM_KEYS = {f"key_{n}": key for n, key in enumerate(keys_of(FORMS.values()))}

if TYPE_CHECKING:
    _Keyed = _Channel
else:
    _Keyed = create_model(
        "_Keyed",
        __base__=_Channel,
        **{
            name: (
                Annotated[str, BeforeValidator(_of_key(key))],
                Field("", alias=key.word),
            )
            for name, key in FORM_KEYS.items()
        },
    )


class _Thermometer(Part):
    name: Text = Field(alias="thermometer")
    within: Step
    calibrated: Moment
    due: Moment


class _Contact(Part):
    contact: Text
    address: Kept


class _Mirror(Part):
    url: Url
    organisation: Text
    bucket: Text
    token: Kept


class _Heartbeat(Part):
    address: Called
    every_ms: Every = Field(300_000, alias="every")


class _Page(Part):
    listen: Host = "127.0.0.1"
    port: Port = 8080


class _Pace(Part):
    begins: Moment
    times: Times
    since: Moment = 0


class _File(Part):
    site: Text
    journal: PathHere
    records: PathHere
    key: PathHere
    lateness: Duration = 10_000
    zone: Zone = ZoneInfo("UTC")
    broker: BrokerPart
    channels: list[_Keyed]
    calibrations: list[CheckPart] = []
    thermometers: list[_Thermometer] = []
    contacts: list[_Contact] = []
    mirror: _Mirror | None = None
    heartbeat: _Heartbeat | None = None
    compact_ms: Duration = Field(7 * DAY_MS, alias="compact after")
    page: _Page = _Page()
    pace: _Pace | None = None

    def settings(self) -> Settings:
        mirror, beat, pace = self.mirror, self.heartbeat, self.pace
        return Settings(
            site=self.site,
            journal=self.journal,
            records=self.records,
            key=self.key,
            lateness_ms=self.lateness,
            zone=self.zone,
            broker=Broker(**dict(self.broker)),
            probes=tuple(one.value(self.calibrations) for one in self.channels),
            contacts={one.contact: one.address for one in self.contacts},
            mirror=Mirror(**dict(mirror)) if mirror else None,
            heartbeat=Heartbeat(beat.address, beat.every_ms) if beat else None,
            thermometers=tuple(
                Thermometer(one.name, one.within, one.calibrated, one.due)
                for one in self.thermometers
            ),
            compact_ms=self.compact_ms,
            page=Page(**dict(self.page)),
            pace=Pace(pace.begins, pace.times, pace.since) if pace else None,
        )
