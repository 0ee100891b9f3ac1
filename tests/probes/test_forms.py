"""probes/forms: what every form must keep, and that one more is one file.

The laws here take up each module of the folder by themselves.
"""

import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probes.contract import Refusal
from probes.decode import decode
from probes.encode import encode
from probes.form import Form, Key
from probes.forms import FORMS, FormsError, by_name, keys_of
from rules.facts import Reading
from tests.probes.forms import CORE, NOW_MS, arrival, described, only_reading

ROOT = Path(__file__).parents[2]
# A form that nobody needs: letters and digits, one channel a letter.
NEW = '''"""Probes that publish letters and tenths, such as ``a=715 b=580``."""

from collections.abc import Sequence
from decimal import Decimal

from probes.contract import Arrival, Decoded, Probe
from probes.form import Form, Key
from probes.screen import refuse, screen


def decode(probes: Sequence[Probe], arrival: Arrival) -> list[Decoded]:
    """What stands behind the letter of each probe."""
    words = arrival.payload.decode("ascii", "replace").split()
    pairs = dict(word.partition("=")[::2] for word in words)
    return [_of(one, pairs.get(one.own("letter"), ""), arrival) for one in probes]


def _of(probe: Probe, tenths: str, arrival: Arrival) -> Decoded:
    if not tenths.isascii() or not tenths.isdigit() or len(tenths) > 4:
        return refuse(arrival, probe.channel, f"{tenths!r} is no count of tenths")
    value = Decimal(tenths) / 10
    return screen(probe, value, arrival.received_ms, False, arrival)


LETTER = Key(
    "letter",
    "which letter is its own",
    "b",
    needed=True,
    pattern="[a-z]",
    what="a small letter",
    right="write one letter",
)
FORM = Form("letters", decode, example=b"a=715 b=580", keys=(LETTER,), apart="letter")
'''
SETTINGS = """\
site: Juniper Yard
journal: journal
records: records
key: key.pem
broker: {host: 127.0.0.1}
contacts: []
channels:
  - channel: core-1
    smokehouse: north
    role: core
    topic: yard/letters
    payload: letters
    letter: a
    unit: degC
    every: 10 s
    quiet after: 2 min
    accuracy: 0.5 K
"""
READ = """
import sys
from pathlib import Path
from daemon.settings import load
from probes.contract import Arrival
from probes.decode import decode
from probes.encode import encode
found = load(Path(sys.argv[1]), {})
if isinstance(found, list):
    print(*(f"{one.line}: {one.found}; {one.remedy}" for one in found), sep="\\n")
else:
    arrival = Arrival("yard/letters", b"a=715 b=580", 1_768_021_200_000)
    print(*(one.value_mc for one in decode(found.probes, arrival)))
    try:
        encode(found.probes[0], 0, 0)
    except ValueError as error:
        print(error)
"""


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
def test_the_example_of_a_form_is_heard(form: Form) -> None:
    probe = described(CORE, form)
    first = decode([probe], arrival(form.example))[0]
    assert isinstance(first, Reading)
    assert first.channel == "core-1"
    assert form.plainly_timed(form.example) <= form.timed(probe)


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
def test_the_keys_of_a_form_are_right(form: Form) -> None:
    words = [key.word for key in form.keys]
    assert len(set(words)) == len(words)
    assert form.apart == "" or form.apart in words
    for key in form.keys:
        assert key.says
        assert not key.field or hasattr(CORE, key.field)
        assert not key.pattern or key.right


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
@given(payload=st.binary(max_size=80), cut=st.integers(0, 80))
def test_any_bytes_are_a_reading_or_a_refusal(
    form: Form, payload: bytes, cut: int
) -> None:
    """Bytes of no form, and the form's own example spoilt in one place."""
    probe = described(CORE, form)
    for tried in (payload, form.example[:cut] + payload[:2] + form.example[cut + 1 :]):
        decoded = decode([probe], arrival(tried))
        assert decoded
        for one in decoded:
            if isinstance(one, Refusal):
                assert one.why and "\n" not in one.why
                assert one.payload == tried
            else:
                assert 0 <= one.at_ms <= NOW_MS + 24 * 3_600_000


@pytest.mark.parametrize("name", [one.name for one in FORMS.values() if one.encode])
@given(value_mc=st.integers(-126_999, 850_000))
def test_what_a_form_encodes_it_decodes(name: str, value_mc: int) -> None:
    probe = replace(described(CORE, FORMS[name]), identity_pointer="", battery="")
    reading = only_reading(decode([probe], arrival(encode(probe, NOW_MS, value_mc))))
    assert (reading.value_mc, reading.at_ms) == (value_mc, NOW_MS)


def test_forms_must_not_contradict_each_other() -> None:
    mute = replace(FORMS["number"], encode=None)
    with pytest.raises(FormsError, match="two forms are called 'number'"):
        by_name([mute, FORMS["number"]])
    with pytest.raises(FormsError, match="'b' means something else by 'record'"):
        other = replace(mute, name="b", keys=(Key("record", "another thing", "x"),))
        keys_of([FORMS["senml"], other])


@pytest.fixture
def yard(tmp_path: Path) -> Path:
    """A copy of the program beside which another form can be put."""
    for layer in ("daemon", "probes", "rules"):
        ignored = shutil.ignore_patterns("__pycache__", "library", "static")
        shutil.copytree(ROOT / layer, tmp_path / layer, ignore=ignored)
    return tmp_path


def run(yard: Path, *given: str) -> str:
    """What Python says within the copy."""
    ran = subprocess.run(
        [sys.executable, *given], cwd=yard, capture_output=True, text=True
    )
    return ran.stdout + ran.stderr[-400:]


def test_a_form_is_added_in_one_file(yard: Path) -> None:
    """Settings, faults, decoding and the laws of this file take it up unasked."""
    (yard / "settings.yaml").write_text(SETTINGS)
    read = ("-c", READ, "settings.yaml")
    assert "'letters' is not a form of payload" in run(yard, *read)
    (yard / "probes" / "forms" / "letters.py").write_text(NEW)
    assert run(yard, *read) == "71500\nthe simulated probes do not speak letters\n"
    (yard / "settings.yaml").write_text(SETTINGS.replace("letter: a", "letter: A"))
    assert run(yard, *read) == (
        "13: 'A' is not a small letter; write one letter, for example: b\n"
    )
    (yard / "settings.yaml").write_text(SETTINGS.replace("    letter: a\n", ""))
    assert run(yard, *read) == (
        "12: payload letters does not say which letter is its own; "
        "add a line with a small letter, for example: letter: b\n"
    )
    shutil.copytree(ROOT / "tests" / "probes", yard / "tests" / "probes")
    shutil.copy(ROOT / "tests" / "__init__.py", yard / "tests")
    laws = ("-k", "letters and not added", "tests/probes/test_forms.py")
    ran = run(yard, "-m", "pytest", "-q", "-p", "no:cacheprovider", *laws)
    assert "3 passed" in ran, ran


def test_a_module_without_a_form_is_refused(yard: Path) -> None:
    (yard / "probes" / "forms" / "odd.py").write_text('"""Nothing."""\n')
    assert "probes.forms.odd declares no FORM" in run(yard, "-c", "import probes.forms")
