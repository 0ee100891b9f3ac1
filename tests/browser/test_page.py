"""The page in a real browser: what a person sees, presses and is warned of.

Sources: WCAG 2.2, success criteria 1.4.10 (no scrolling sideways at 320 CSS pixels),
1.4.3 and 1.4.11 (contrast, see ``test_contrast``), 2.5.5 (size of a target, 44 CSS
pixels; ours is 64).
"""

import itertools
from dataclasses import replace

import pytest
from playwright.sync_api import expect

from daemon.view import BrokerView, RecordingView, SignView
from rules.facts import Entry, EntryKind, Standing, Verdict
from tests.browser.conftest import OpenTab, Yard
from tests.browser.yard import LOT, MIN, yard


def at(ms: int, offset_h: int) -> str:
    """A time of day in a zone that many hours east of Greenwich."""
    minutes = ms // 60_000 + offset_h * 60
    return f"{minutes // 60 % 24:02}:{minutes % 60:02}"


def test_the_stage_and_how_long(open_tab: OpenTab) -> None:
    tab = open_tab().tab
    expect(tab.locator(".stage-now")).to_have_text("cookfor 1 h 35 min")
    expect(tab.locator(".cook > header")).to_contain_text(
        "ends when every core reaches 69.0 °C · next: chill"
    )
    stages = tab.get_by_role("list", name="Stages").get_by_role("listitem")
    expect(stages).to_have_text(["✓ dry 45 min", "✓ smoke 3 h", "▶ cook", "chill"])
    expect(stages.nth(2)).to_have_attribute("aria-current", "step")


def test_each_channel_with_its_band_and_its_age(open_tab: OpenTab) -> None:
    channels = open_tab().tab.locator(".cook .channel")
    expect(channels).to_have_count(3)
    chamber, core, quiet = (channels.nth(i) for i in range(3))
    expect(chamber).to_contain_text("61.2 °C")
    expect(chamber).to_contain_text("▼ 12.8 K below its band, 74.0 to 82.0 °C")
    expect(core).to_contain_text("52.1 °C")
    expect(core).to_contain_text("s ago · ± 0.5 K")
    expect(quiet).to_contain_text("✕ QUIET since")


def test_a_quiet_channel_says_since_when(open_tab: OpenTab, served: Yard) -> None:
    quiet = open_tab(timezone_id="Asia/Tokyo").tab.locator(".channel.quiet")
    since = at(served.view.channels[2].at_ms, 9)
    expect(quiet).to_contain_text(f"since {since}, for 12 min; this was its last value")


def test_limits_stand_in_words_worst_first(open_tab: OpenTab) -> None:
    tab = open_tab().tab
    words = ["deviation", "unproven", "at risk", "within", "waiting", "met"]
    expect(tab.locator(".limit .standing")).to_have_text(words)
    shapes = tab.locator(".limit .standing use").evaluate_all(
        "all => all.map(use => use.getAttribute('href'))"
    )
    assert len(set(shapes)) == len(words)
    drawn = tab.locator("symbol").evaluate_all("all => all.map(one => '#' + one.id)")
    assert set(shapes) <= set(drawn)


def test_a_limit_shows_both_bounds_and_when_it_is_lost(
    open_tab: OpenTab, served: Yard
) -> None:
    tab = open_tab(timezone_id="America/New_York").tab
    limit = tab.locator(".limit", has_text="come-up")
    expect(limit).to_contain_text("critical limit, CCP-1 · core-2 decides")
    expect(limit).to_contain_text("5 h 2 min to 5 h 18 min of 6 h used; 42 min left")
    hours = int(tab.evaluate("-new Date().getTimezoneOffset() / 60"))
    ahead = served.view.cooks[0].limits[0].ahead
    assert ahead
    times = (ahead.deadline_ms, ahead.likely_ms, ahead.earliest_ms, ahead.latest_ms)
    by, likely, earliest, latest = (at(ms, hours) for ms in times)
    expect(limit.locator(".deadline")).to_have_text(
        f"core-2 must be past 130.0 °F by {by}, in 41 min; "
        f"at this rate {likely} ({earliest} to {latest})"
    )
    widths = limit.locator(".bar div").evaluate_all(
        "all => all.map(bar => bar.getBoundingClientRect().width)"
    )
    possible, certain, _ = widths
    assert certain / possible == pytest.approx(302 / 318, abs=0.01)


def test_without_a_forecast_it_says_when_it_is_lost(
    open_tab: OpenTab, served: Yard
) -> None:
    cook = served.view.cooks[0]
    blind = replace(cook.limits[0], ahead=None)
    served.show(cooks=(replace(cook, limits=(blind,)),))
    tab = open_tab().tab
    lost = tab.locator(".limit .deadline")
    expect(lost).to_contain_text("if nothing changes, in 41 min")
    summary = tab.get_by_role("list", name="Cooks")
    expect(summary).to_contain_text("▲ come-up lost at ")


def test_what_comes_in_time_is_no_warning(open_tab: OpenTab, served: Yard) -> None:
    cook = served.view.cooks[0]
    ahead = cook.limits[0].ahead
    assert ahead
    soon = replace(ahead, likely_ms=ahead.deadline_ms - 60_000)
    served.show(cooks=(replace(cook, limits=(replace(cook.limits[0], ahead=soon),)),))
    summary = open_tab().tab.get_by_role("list", name="Cooks")
    expect(summary).to_contain_text("come-up: core-2 must be past 130.0 °F by ")
    expect(summary).not_to_contain_text("▲")


def test_a_stalled_core_that_was_lethal_hours_ago_says_so(
    open_tab: OpenTab, served: Yard
) -> None:
    """Texture is one line, lethality another, and the surface's humidity beside it."""
    cook = served.view.cooks[0]
    hour_ms = 3_600_000
    met = replace(
        next(one for one in cook.limits if one.name == "lethality"),
        standing=Standing.MET,
        since_ms=served.view.now_ms - 2 * hour_ms,
        why="held 12 min at 60.0 degC or above, full at 11:30 UTC"
        "; surface: no humidity evidence",
    )
    stall = SignView("core-2", "stall", served.view.now_ms - hour_ms)
    served.show(cooks=(replace(cook, limits=(met,), signs=(stall,)),))
    tab = open_tab(timezone_id="UTC").tab
    head = tab.locator(".cook > header")
    expect(head.locator(".signs")).to_have_text("● core-2: stall since 12:30")
    expect(head.locator(".going")).to_have_text(
        "Texture: core-2 has to be past 69.0 °C; "
        "at this rate never (14:25 at the earliest)"
    )
    expect(head.locator(".lethality")).to_have_text(
        "Lethality: met since 11:30, held 12 min at 60.0 °C or above, "
        "full at 11:30 UTC; surface: no humidity evidence"
    )


def test_humidity_that_is_judged_stands_beside_the_lethality(open_tab: OpenTab) -> None:
    tab = open_tab().tab
    expect(tab.locator(".lethality")).to_have_text(
        "Lethality: not met yet; surface: smoke humidity unproven"
    )
    expect(tab.locator(".signs")).to_contain_text("▲ chamber: dying fire since ")


def test_what_is_to_be_reached_is_told_from_what_is_used_up(open_tab: OpenTab) -> None:
    limit = open_tab().tab.locator(".limit", has_text="lethality")
    expect(limit).to_contain_text(
        "0.6 to 1.9 log10 of 6.5 log10 shown; 5.9 log10 to go"
    )


@pytest.mark.parametrize(
    ("most", "words"),
    [(9, "what was allowed may be used up"), (11, "what was allowed is used up")],
)
def test_a_limit_that_stands_within_again_does_not_hide_what_happened(
    open_tab: OpenTab, served: Yard, most: int, words: str
) -> None:
    cook = served.view.cooks[0]
    chamber = replace(
        next(one for one in cook.limits if one.name == "cook chamber"),
        standing=Standing.WITHIN,
        verdict=Verdict.RUNNING,
        least=12 * MIN,
        most=most * MIN,
    )
    served.show(cooks=(replace(cook, limits=(chamber,)),))
    limit = open_tab().tab.locator(".limit")
    expect(limit).to_contain_text(f"{most} to 12 min used, 10 min allowed")
    expect(limit.locator(".deadline")).to_have_text(words)


def test_the_clock_tells_its_zone(open_tab: OpenTab) -> None:
    tab = open_tab(timezone_id="Asia/Kolkata").tab
    expect(tab.locator("#clock")).to_contain_text("UTC+05:30")


def test_one_press_acknowledges(open_tab: OpenTab, served: Yard) -> None:
    tab = open_tab().tab
    alert = tab.locator(".alert", has_text="come-up at risk")
    button = alert.get_by_role("button")
    box = button.bounding_box()
    assert box is not None
    assert box["height"] >= 64
    button.click()
    tab.get_by_label("Your initials").fill("AB")
    tab.get_by_role("button", name="That is me").click()
    expect(alert.get_by_role("status")).to_have_text("Written down as entry 1.")
    [(lot, entry)] = served.entries
    assert lot == LOT
    assert entry[:1] + entry[3:] == (EntryKind.ACKNOWLEDGE, "AB", "", "7")
    first, *rest = served.view.alerts
    done = replace(first, acknowledged_by="AB", acknowledged_ms=entry.at_ms)
    served.show(alerts=(done, *rest))
    expect(alert).to_have_count(0)
    expect(tab.locator("#alerts-past")).to_contain_text("✓ acknowledged by AB at")
    expect(tab.locator("#alerts-title")).to_have_text("1 alert waits for you")


def test_an_alert_says_who_was_told_and_what_to_do(
    open_tab: OpenTab, served: Yard
) -> None:
    alert = open_tab(timezone_id="UTC").tab.locator(".alert").first
    expect(alert).to_contain_text("If it is missed: hold the lot apart")
    sent, failed = (at(served.view.now_ms - n * MIN, 0) for n in (2, 1))
    expect(alert).to_contain_text(
        f"Told: operator: sent {sent}, 2 attempts; "
        f"backup: failed {failed} (no answer within 4 s)"
    )


def test_the_initials_are_asked_for_once(open_tab: OpenTab, served: Yard) -> None:
    tab = open_tab().tab
    tab.get_by_role("button", name="set initials").click()
    tab.get_by_label("Your initials").fill("CD")
    tab.keyboard.press("Enter")
    tab.reload()
    tab.get_by_role("button", name="Acknowledge as CD: channel core-2 quiet").click()
    expect(tab.get_by_role("status").filter(has_text="entry 1")).to_be_visible()
    assert served.entries[0][1].who == "CD"


def test_an_entry_that_is_not_written_says_so(open_tab: OpenTab, served: Yard) -> None:
    watched = open_tab()
    tab = watched.tab
    tab.evaluate("localStorage.setItem('initials', 'AB')")
    served.page.stop()
    alert = tab.locator(".alert").first
    alert.get_by_role("button").click()
    expect(alert.get_by_role("status")).to_have_text(
        "NOT written, as far as is known: the daemon did not answer. Press again."
    )
    expect(alert.get_by_role("button")).to_be_enabled()
    assert served.entries == []


def test_a_corrective_action_is_written_by_keyboard(
    open_tab: OpenTab, served: Yard
) -> None:
    tab = open_tab().tab
    tab.evaluate("localStorage.setItem('initials', 'AB')")
    tab.get_by_text("Write a note or a corrective action").focus()
    tab.keyboard.press("Enter")
    tab.keyboard.press("Tab")
    tab.keyboard.type("relit the fire, moved the rack down")
    tab.keyboard.press("Tab")  # what it is about: nothing in particular
    tab.keyboard.press("Tab")
    tab.keyboard.press("Space")
    tab.keyboard.press("Tab")
    tab.keyboard.press("Enter")
    expect(tab.get_by_text("Written down as entry 1.")).to_be_visible()
    [(lot, entry)] = served.entries
    told = (EntryKind.CORRECTIVE_ACTION, "relit the fire, moved the rack down")
    assert (lot, entry.kind, entry.text) == (LOT, *told)


def test_a_probe_that_was_moved_is_said_by_two_presses(
    open_tab: OpenTab, served: Yard
) -> None:
    tab = open_tab().tab
    tab.evaluate("localStorage.setItem('initials', 'AB')")
    tab.get_by_text("Say that a probe was moved").click()
    tab.get_by_label("Which probe was moved").select_option("core-1")
    tab.get_by_role("button", name="It is in another piece now").click()
    expect(tab.get_by_text("Written down as entry 1.")).to_be_visible()
    [(lot, entry)] = served.entries
    assert (lot, entry.kind, entry.about) == (LOT, EntryKind.MOVED, "core-1")


def test_a_set_by_hand_is_entered_with_a_thumb(open_tab: OpenTab, served: Yard) -> None:
    tab = open_tab(viewport={"width": 360, "height": 740}).tab
    tab.evaluate("localStorage.setItem('initials', 'AB')")
    tab.get_by_text("Enter temperatures taken by hand").click()
    form = tab.locator("form.spots")
    assert form.locator("select").first.input_value() == "TH-2"
    assert form.get_by_label("For the end of stage").input_value() == "cook"
    form.get_by_label("Piece 1").fill("71,8")
    for number in (2, 3, 4):
        tab.keyboard.press("Enter")
        expect(form.get_by_label(f"Piece {number}")).to_be_focused()
        tab.keyboard.type(f"7{number}.05")
    assert served.entries == []
    assert tab.evaluate("document.documentElement.scrollWidth") == 360
    form.get_by_role("button", name="Write the set down").click()
    expect(form.get_by_text("Written down as entry 1.")).to_be_visible()
    [(lot, entry)] = served.entries
    assert (lot, entry.kind, entry.about) == (LOT, EntryKind.SPOT_CHECK, "cook")
    assert entry.text.startswith(
        "4 pieces by hand: 71.8 degC, 72.05 degC, 73.05 degC, 74.05 degC; "
        "the lowest 71.8 degC; with TH-2, within 0.5 K, calibrated 2026-01-02"
    )


def test_a_set_by_hand_that_cannot_be_says_why(open_tab: OpenTab, served: Yard) -> None:
    tab = open_tab().tab
    tab.evaluate("localStorage.setItem('initials', 'AB')")
    tab.get_by_text("Enter temperatures taken by hand").click()
    form, send = tab.locator("form.spots"), "Write the set down"
    form.get_by_role("button", name=send).click()
    expect(form).to_contain_text("NOT written: no piece has a temperature.")
    form.get_by_label("Piece 1").fill("71.8 warm")
    form.get_by_role("button", name=send).click()
    expect(form).to_contain_text("is not a temperature")
    form.get_by_label("Piece 1").fill("71.8")
    form.get_by_label("Taken with").select_option("another one")
    form.get_by_label("Its name").fill("TH-9")
    form.get_by_role("button", name=send).click()
    expect(form).to_contain_text("say how far the thermometer may be off")
    assert served.entries == []
    form.get_by_label("How far it may be off, in K").fill("0.8")
    form.get_by_role("button", name=send).click()
    expect(form.get_by_text("Written down as entry 1.")).to_be_visible()
    assert "with TH-9, within 0.8 K, advice alone" in served.entries[0][1].text


def test_what_a_set_left_unproven_is_lifted_by_a_press_of_its_own(
    open_tab: OpenTab, served: Yard
) -> None:
    tab = open_tab().tab
    tab.evaluate("localStorage.setItem('initials', 'AB')")
    tab.get_by_text("Lift what a set by hand left unproven").click()
    reason = "Why the probes' own evidence counts again"
    tab.get_by_label(reason).fill("the tip was in the air")
    tab.get_by_role("button", name="Lift it").click()
    expect(tab.get_by_text("Written down as entry 1.")).to_be_visible()
    [(lot, entry)] = served.entries
    assert (lot, entry.kind, entry.about) == (LOT, EntryKind.LIFTED, "cook")
    served.show(cooks=tuple(replace(one, spots=()) for one in served.view.cooks))
    expect(tab.get_by_text("Lift what a set by hand left unproven")).to_be_hidden()


def test_the_last_set_by_hand_says_what_it_means(open_tab: OpenTab) -> None:
    shown = open_tab().tab.locator(".set")
    expect(shown).to_have_count(1)
    expect(shown).to_contain_text("▲ cook: lowest 51.2\u00a0°C of 3 pieces")
    expect(shown).to_contain_text("14:10 by AB · TH-2, within 0.5\u00a0K · calibrated")
    expect(shown).to_contain_text("stage cook is NOT borne out: not every piece")
    expect(shown).to_contain_text("unproven by a set by hand")


def test_a_note_about_a_probe_is_what_ends_its_doubt(
    open_tab: OpenTab, served: Yard
) -> None:
    tab = open_tab().tab
    tab.evaluate("localStorage.setItem('initials', 'AB')")
    tab.get_by_text("Write a note or a corrective action").click()
    tab.get_by_label("What was seen or done").fill("put back into its piece")
    tab.get_by_label("About which probe or stage").select_option("core-1")
    tab.get_by_role("button", name="Write it down").click()
    expect(tab.get_by_text("Written down as entry 1.")).to_be_visible()
    [(lot, entry)] = served.entries
    assert (lot, entry.kind, entry.about) == (LOT, EntryKind.NOTE, "core-1")


def test_a_typing_finger_is_not_thrown_off_by_a_new_view(
    open_tab: OpenTab, served: Yard
) -> None:
    tab = open_tab().tab
    tab.get_by_text("Write a note or a corrective action").click()
    text = tab.get_by_label("What was seen or done")
    text.fill("half a sen")
    served.show(alerts=served.view.alerts[1:], cooks=served.view.cooks)
    expect(tab.locator("#alerts-title")).to_have_text("1 alert waits for you")
    expect(text).to_be_focused()
    expect(text).to_have_value("half a sen")


def test_a_lost_server_is_loud_and_tells_its_age(
    open_tab: OpenTab, served: Yard
) -> None:
    tab = open_tab(clock=True).tab
    expect(tab.locator("#lost")).to_be_hidden()
    served.page.stop()
    tab.clock.fast_forward(40_000)
    banner = tab.locator("#lost")
    expect(banner).to_contain_text("No word from the daemon for 4")
    expect(banner).to_contain_text("What you see is old.")
    expect(tab.locator("#cried")).to_contain_text("No word from the daemon")
    expect(tab).to_have_title(f"OLD (2!) {LOT} Juniper Yard (invented)")
    expect(tab.locator("#links")).to_have_text(
        "? whether the broker is connected and readings are recorded is not known"
    )
    tab.clock.fast_forward(600_000)
    expect(banner).to_contain_text("for 10 min")


def test_a_daemon_that_answers_but_does_not_move_is_told_apart(
    open_tab: OpenTab, served: Yard
) -> None:
    tab = open_tab(clock=True).tab
    tab.clock.fast_forward(20_000)
    banner = tab.locator("#lost")
    expect(banner).to_contain_text("The daemon answers, but nothing has moved in it")
    served.show()
    expect(banner).to_be_hidden()
    expect(tab.locator("#cried")).to_have_text("The daemon is heard again.")


def test_new_values_come_by_themselves(open_tab: OpenTab, served: Yard) -> None:
    tab = open_tab().tab
    chamber, *rest = served.view.channels
    served.show(channels=(replace(chamber, value_mc=75_000), *rest))
    value = tab.locator(".channel").first
    expect(value).to_contain_text("75.0 °C")
    expect(value).to_contain_text("in its band, 74.0 to 82.0 °C")


def test_trouble_of_the_site_comes_first(open_tab: OpenTab, served: Yard) -> None:
    away_ms = served.view.now_ms - 5 * MIN
    served.show(
        broker=BrokerView(False, away_ms, "nobody answers at 127.0.0.1:1883"),
        recording=RecordingView(False, "the disk is full"),
        unjudged=("R-1",),
    )
    blocks = open_tab(timezone_id="UTC").tab.locator("#links .block")
    expect(blocks).to_have_text(
        [
            f"✕ BROKER AWAY since {at(away_ms, 0)}: nobody answers at 127.0.0.1:1883",
            "✕ NOT RECORDING: the disk is full",
            "✕ LOT R-1 IS NOT JUDGED, see below",
        ]
    )
    served.show(broker=BrokerView(True, away_ms, "the broker refuses what we publish"))
    expect(blocks.first).to_have_text("✕ BROKER: the broker refuses what we publish")


@pytest.mark.parametrize(
    ("on_hold", "words"),
    [
        (True, "■ ON HOLD: a critical limit is missed or unproven"),
        (False, "Release is the operator's decision."),
    ],
)
def test_a_finished_cook_says_who_decides(
    open_tab: OpenTab, served: Yard, on_hold: bool, words: str
) -> None:
    cook = served.view.cooks[0]
    stages = tuple(replace(one, from_ms=1, to_ms=2) for one in cook.stages)
    ended_ms = served.view.now_ms
    done = replace(cook, finished_ms=ended_ms, on_hold=on_hold, stages=stages)
    served.show(cooks=(done,))
    tab = open_tab().tab
    expect(tab.locator(".cook > header")).to_contain_text(words)
    expect(tab.locator(".cook .channel")).to_have_count(0)
    expect(tab.locator("#other-channels .channel")).to_have_count(4)


def test_the_cook_that_loses_something_soonest_comes_first(
    open_tab: OpenTab, served: Yard
) -> None:
    unlucky = served.view.cooks[0]
    calm = tuple(replace(one, lose_ms=0) for one in unlucky.limits)
    other = replace(unlucky, lot="JY-0109-B", limits=calm, begun_ms=1)
    served.show(cooks=(other, unlucky))
    tab = open_tab().tab
    expect(tab.locator(".cook")).to_have_count(2)
    summary = tab.get_by_role("list", name="Cooks").get_by_role("link")
    expect(summary).to_have_text(
        [f"{LOT}: cook for 1 h 35 min", "JY-0109-B: cook for 1 h 35 min"]
    )


@pytest.mark.parametrize(
    ("past_ms", "dots"),
    [(0, 0), (90_000, 1)],
    ids=["across two pieces of the curve", "inside one piece"],
)
def test_a_hole_is_seen_in_the_chart_wherever_it_lies(
    open_tab: OpenTab, served: Yard, past_ms: int, dots: int
) -> None:
    slice_ms = 180_000
    now_ms = served.view.now_ms // slice_ms * slice_ms + past_ms
    served.view = yard(now_ms)
    served.page.publish(served.view)
    chart = open_tab().tab.locator(".chart svg")
    expect(chart).to_have_attribute("role", "img")
    label = chart.get_attribute("aria-label") or ""
    for words in ("chamber last at", "core-1 last at", "core-2 last at"):
        assert words in label
    assert label.count("1 hole") == 3
    expect(chart.locator(".hole")).to_have_count(3)
    broken = chart.locator(".line").evaluate_all(
        "all => all.map(line => line.getAttribute('d').split('M').length - 1)"
    )
    assert broken == [2, 2, 1]  # core-2 is still quiet: its line just ends
    expect(chart.locator(".dot")).to_have_count(dots)


def test_a_demonstration_says_so(open_tab: OpenTab, served: Yard) -> None:
    served.show(pace=1_200)
    expect(open_tab().tab.locator("#demo")).to_have_text(
        "A demonstration on an invented clock that runs 1200 times faster."
    )


@pytest.mark.parametrize("width", [320, 390, 768, 1_280])
def test_nothing_scrolls_sideways(open_tab: OpenTab, width: int) -> None:
    tab = open_tab(viewport={"width": width, "height": 640}).tab
    tab.get_by_text("Write a note or a corrective action").click()
    assert tab.evaluate("document.documentElement.scrollWidth") == width
    wide = tab.evaluate(
        "[...document.querySelectorAll('main *')].filter(one => !one.closest('.unseen')"
        f" && one.getBoundingClientRect().right > {width}).map(one => one.outerHTML)"
    )
    assert wide == []


def test_nothing_is_asked_of_another_machine_and_nothing_goes_wrong(
    open_tab: OpenTab, served: Yard
) -> None:
    watched = open_tab()
    served.show(alerts=())
    expect(watched.tab.locator("#alerts")).to_be_hidden()
    base = f"http://127.0.0.1:{served.page.port}/"
    assert len(watched.asked) > 10
    assert [url for url in watched.asked if not url.startswith((base, "data:"))] == []
    assert watched.said == []


def test_everything_pressed_has_a_name_and_headings_come_in_order(
    open_tab: OpenTab,
) -> None:
    tab = open_tab().tab
    nameless = tab.evaluate(
        "[...document.querySelectorAll('button, input, textarea, a')]"
        ".filter(one => !(one.labels?.length || one.textContent.trim()"
        " || one.ariaLabel)).map(one => one.outerHTML)"
    )
    assert nameless == []
    levels = tab.evaluate(
        "[...document.querySelectorAll(':is(header, main) :is(h1, h2, h3, h4)')]"
        ".filter(one => one.offsetParent).map(one => Number(one.tagName[1]))"
    )
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))


def test_words_from_outside_are_never_markup(open_tab: OpenTab, served: Yard) -> None:
    alert = replace(served.view.alerts[0], title="<img src=x onerror=alert(1)>")
    watched = open_tab()
    served.show(alerts=(alert,), site="<b>Yard</b>")
    titles = watched.tab.locator(".alert h3")
    expect(titles).to_have_text(["<img src=x onerror=alert(1)>"])
    expect(watched.tab.locator("#site")).to_have_text("<b>Yard</b>")
    expect(watched.tab.locator("main img")).to_have_count(0)
    assert watched.said == []


def test_a_met_limit_takes_one_line(open_tab: OpenTab, served: Yard) -> None:
    cook = served.view.cooks[0]
    met = tuple(
        replace(one, standing=Standing.MET, verdict=Verdict.MET, lose_ms=0)
        for one in cook.limits
    )
    served.show(cooks=(replace(cook, limits=met),))
    tab = open_tab().tab
    expect(tab.locator(".limit")).to_have_count(6)
    expect(tab.locator(".limit .bar:visible")).to_have_count(0)


def test_an_entry_keeps_the_time_of_the_press(open_tab: OpenTab, served: Yard) -> None:
    tab = open_tab().tab
    tab.evaluate("localStorage.setItem('initials', 'AB')")
    tab.locator(".alert .press").first.click()
    expect(tab.get_by_text("Written down as entry 1.")).to_be_visible()
    entry: Entry = served.entries[0][1]
    assert 0 <= entry.at_ms - served.view.now_ms < 60_000
    assert entry.at_ms == entry.entered_ms
