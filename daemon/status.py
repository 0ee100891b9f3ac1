"""``fumarium status``: how the daemon, its cooks and its probes stand just now.

It asks the daemon itself, over the page's own port, so it shows what people are shown
there.  A line that somebody should look at begins with ``!``.
"""

import json
import urllib.error
import urllib.request
from collections.abc import Iterator

from daemon import going
from daemon.cli import CHECK_FAILED, GOOD, MACHINE, CommandError
from daemon.going import House, Tree
from daemon.settings import Page, Settings
from daemon.view import Heard
from rules.crosscheck import LETHAL
from rules.facts import Standing
from rules.signs import WAKES
from rules.units import say_ms

TIMEOUT_S = 10
ANYWHERE = {"0.0.0.0": "127.0.0.1", "::": "::1"}
WELL = {Standing.WAITING, Standing.WITHIN, Standing.MET}
# Whatever proxy is set for this shell has no business with this machine's own daemon.
DIRECT = urllib.request.build_opener(urllib.request.ProxyHandler({}))

Line = tuple[bool, str, str]  # whether it is well, what it is about, and the words


def show(settings: Settings) -> int:
    """Print how everything stands; answer whether nothing asks for a person.

    Raises:
        CommandError: No daemon answers.
    """
    address = _address(settings.page)
    health, view = _asked(f"{address}/health"), _asked(f"{address}/view")
    if "site" not in view:
        raise CommandError(f"{address}: {view.get('refused', 'no view')}", MACHINE)
    lines = [
        *_parts(health, view),
        *_cooks(view, House(settings.zone, view["now_ms"])),
        *_channels(view),
        *_alerts(view),
    ]
    print(view["site"])
    for well, about, words in lines:
        print(f"{' ' if well else '!'} {about:<12} {words}")
    return GOOD if all(well for well, _, _ in lines) else CHECK_FAILED


def _address(page: Page) -> str:
    host = ANYWHERE.get(page.listen, page.listen)
    return f"http://{f'[{host}]' if ':' in host else host}:{page.port}"


def _asked(url: str) -> Tree:
    try:
        with DIRECT.open(url, timeout=TIMEOUT_S) as answer:
            found = json.load(answer)
    except urllib.error.HTTPError as error:  # it answers: that something is wrong
        with error:
            found = json.load(error)
    except (OSError, ValueError) as error:
        words = (
            f"{url}: no daemon answers here ({error})\n"
            "  systemctl status fumarium says whether it runs, and why not"
        )
        raise CommandError(words, MACHINE) from error
    return dict(found)


def _parts(health: Tree, view: Tree) -> Iterator[Line]:
    still_ms = health["still_for_ms"] or 0
    moves = bool(health["road_moves"])
    yield moves, "daemon", "it moves" if moves else f"STUCK for {_rounded(still_ms)}"
    broker, recording = view["broker"], view["recording"]
    linked = bool(broker["connected"])
    how = "connected" if linked else "AWAY"
    why = f": {broker['why']}" if broker["why"] else ""
    yield linked and not why, "broker", f"{how}{why}"
    recorded = bool(recording["recording"])
    yield recorded, "recording", "yes" if recorded else f"NO: {recording['why']}"


def _cooks(view: Tree, house: House) -> Iterator[Line]:
    for lot in view["unjudged"]:
        why = "NOT JUDGED: this version does not understand its schedule; it is on hold"
        yield False, lot, why
    for cook in view["cooks"]:
        running = [one for one in cook["stages"] if one["from_ms"] and not one["to_ms"]]
        names = ", ".join(one["name"] for one in running)
        stage = "ended" if cook["finished_ms"] else names or "no stage"
        held = ", ON HOLD" if cook["on_hold"] else ""
        yield not held, cook["lot"], f"{cook['smokehouse']}: {stage}{held}"
        if not cook["finished_ms"]:
            yield from _ahead(cook, house)
        for limit in cook["limits"]:
            if limit["standing"] not in WELL:
                yield False, "", f"{_name(limit)}: {limit['standing']}, {limit['why']}"
        for one in cook["spots"]:
            yield not one["doubts"], "", going.by_hand(one, house)


def _ahead(cook: Tree, house: House) -> Iterator[Line]:
    """Where a running cook is going: stages, clocks, lethality, and early signs."""
    for stage in cook["stages"]:
        if stage["to_ms"]:
            continue
        if stage["ahead"]:
            words = f"{stage['name']} ends: {going.ahead(stage['ahead'], house)}"
            yield not going.late(stage["ahead"]), "", words
        elif stage["due_ms"]:
            at = going.clock(stage["due_ms"], house)
            yield True, "", f"{stage['name']} ends: at {at}, by time"
    for limit in cook["limits"]:
        ahead = limit["ahead"]
        if ahead and limit["kind"] not in LETHAL:
            well = limit["standing"] in WELL
            yield well, "", f"{_name(limit)}: {going.ahead(ahead, house)}"
    for well, words in going.lethality(cook["limits"], house):
        yield well, "", words
    for one in cook["signs"]:
        since = going.clock(one["since_ms"], house)
        words = f"{one['channel']}: {one['sign']} since {since}"
        yield one["sign"] not in WAKES, "", words


def _name(limit: Tree) -> str:
    return " ".join(filter(None, (limit["name"], limit["part"])))


def _channels(view: Tree) -> Iterator[Line]:
    for one in view["channels"]:
        ago = f"{_rounded(view['now_ms'] - one['at_ms'])} ago" if one["at_ms"] else ""
        heard = one["standing"] != Heard.QUIET
        yield heard, one["name"], f"{one['standing']} {ago}".rstrip()


def _alerts(view: Tree) -> Iterator[Line]:
    for one in view["alerts"]:
        waits = one["answer"] and not one["acknowledged_ms"]
        by = "waits for somebody" if waits else "was answered"
        if not one["answer"]:
            by = "needs no answer"
        yield not waits, f"alert {one['number']}", f"{one['title']}: {by}"


def _rounded(ms: int) -> str:
    return say_ms(max(ms, 0) // 1_000 * 1_000)
