// The page: takes each view as it comes and shows it; says loudly when none comes.

import { showAlerts } from "./alerts.js";
import { showChannels } from "./channels.js";
import { showCooks } from "./cook.js";
import { dress, keep, make, say } from "./dom.js";
import { Link } from "./link.js";
import { about, clock, fullClock } from "./words.js";
import { askInitials, initials } from "./writing.js";

const LOST_MS = 10_000;
const CURVES_MS = 10_000;
const SKEW_MS = 90_000;

const at = (id) => document.getElementById(id);
const link = new Link(show);
const curves = new Map(); // channel -> { joined_ms, pieces }
let curvesAsked = -Infinity;
let lost = ""; // whose silence it is, in words, once it is too long
let openBefore = new Set();

/** The daemon's time now: its last word, and what has passed since here. */
function nowMs() {
  const { view, silence } = link;
  return view.pace > 1 ? view.now_ms : view.now_ms + silence;
}

function show(view) {
  at("loading").hidden = true;
  showFrame(view);
  askCurves(view);
}

function showFrame(view) {
  const now = nowMs();
  say(at("site"), view.site);
  say(at("clock"), fullClock(now));
  say(at("skew"), skew(view));
  const demo = `A demonstration on an invented clock that runs ${view.pace} times faster.`;
  say(at("demo"), view.pace > 1 ? demo : "");
  showLinks(view, now);
  const open = showAlerts(view.alerts, now);
  announce(open);
  showCooks(view, curves, now);
  showOthers(view, now);
  const running = view.cooks.filter((cook) => !cook.finished_ms);
  const waits = open.length ? `(${open.length}!) ` : "";
  const lots = running.map((cook) => cook.lot).join(", ");
  document.title = `${lost ? "OLD " : ""}${waits}${lots} ${view.site}`.trim();
}

function skew(view) {
  const apart = Math.abs(Date.now() - nowMs());
  if (view.pace > 1 || apart < SKEW_MS || lost) return "";
  return `This device's clock and the daemon's are ${about(apart)} apart; times here are the daemon's.`;
}

function showLinks(view, now) {
  const { broker, recording } = view;
  const since = clock(broker.since_ms, now);
  const words = "? whether the broker is connected and readings are recorded is not known";
  const unknown = [{ key: "broker", good: true, words }];
  const items = lost ? unknown : [
    { key: "broker", good: broker.connected && !broker.why, words: brokerWords(broker, since) },
    recording.recording
      ? { key: "recording", good: true, words: "● recording" }
      : { key: "recording", good: false, words: `✕ NOT RECORDING: ${recording.why}` },
    ...view.unjudged.map((lot) => ({ key: `lot ${lot}`, good: false, words: `✕ LOT ${lot} IS NOT JUDGED, see below` })),
  ];
  keep(at("links"), items, (one) => one.key, () => make("li"), (node, one) => {
    dress(node, one.good ? "" : "block");
    say(node, one.words);
  });
}

function brokerWords({ connected, why }, since) {
  if (!connected) return `✕ BROKER AWAY since ${since}: ${why}`;
  return why ? `✕ BROKER: ${why}` : `● broker connected since ${since}`;
}

function showOthers(view, now) {
  const running = view.cooks.filter((cook) => !cook.finished_ms);
  const houses = new Set(running.map((cook) => cook.smokehouse));
  const others = view.channels.filter((channel) => !houses.has(channel.smokehouse));
  at("others").hidden = others.length === 0;
  showChannels(at("other-channels"), others, now, "h3");
  at("notices").hidden = view.notices.length === 0;
  keep(at("notice-list"), view.notices, (one) => `${one.at_ms} ${one.words}`, () => make("li"), (node, one) =>
    say(node, `${clock(one.at_ms, now)} ${one.words}`));
}

/** Tell a screen reader of alerts that were not there before. */
function announce(open) {
  const fresh = open.filter((alert) => !openBefore.has(alert.number));
  if (fresh.length) say(at("cried"), fresh.map((alert) => `Alert: ${alert.title}. ${alert.why}`).join(" "));
  openBefore = new Set(open.map((alert) => alert.number));
}

async function askCurves(view) {
  if (performance.now() - curvesAsked < (view.pace > 1 ? 1_000 : CURVES_MS)) return;
  curvesAsked = performance.now();
  const newest = Math.max(0, ...[...curves.values()].map((one) => one.pieces.at(-1)?.to ?? 0));
  try {
    // The newest piece of the slowest channel may have grown since.
    const slowest = Math.min(...[...curves.values()].map((one) => one.pieces.at(-1)?.to ?? 0), newest);
    const answer = await fetch(`curves?after=${curves.size === view.channels.length ? slowest : 0}`);
    if (answer.ok) for (const curve of (await answer.json()).curves) takeCurve(curve);
  } catch {
    curvesAsked = -Infinity; // the banner says what is wrong
  }
}

function takeCurve(curve) {
  const fresh = curve.pieces.map(([from, to, low, high, hole]) => ({ from, to, low, high, hole }));
  const kept = curves.get(curve.channel)?.pieces ?? [];
  const first = fresh[0]?.from ?? Infinity;
  const pieces = [...kept.filter((piece) => piece.from < first), ...fresh].slice(-500);
  curves.set(curve.channel, { joined_ms: curve.joined_ms, pieces });
}

/** Each second: ages grow, and silence becomes loud. */
function tick() {
  const silence = link.silence;
  const was = lost;
  const whose = link.answered ? "The daemon answers, but nothing has moved in it" : "No word from the daemon";
  lost = silence > LOST_MS ? whose : "";
  document.body.classList.toggle("old", lost !== "");
  at("lost").hidden = !lost;
  if (lost) say(at("lost-words"), `✕ ${lost} for ${about(silence)}.`);
  if (lost && lost !== was) say(at("cried"), `${lost} for ${about(silence)}. What you see is old.`);
  if (!lost && was) say(at("cried"), "The daemon is heard again.");
  if (link.view) showFrame(link.view);
}

function showWho() {
  const change = make("button", "link", initials() ? "change" : "set initials");
  change.type = "button";
  change.addEventListener("click", () => askInitials(true));
  at("who").replaceChildren(initials() ? `Entries from this device are by ${initials()} ` : "", change);
}

window.addEventListener("initials", () => {
  showWho();
  if (link.view) showFrame(link.view);
});
window.addEventListener("resize", () => link.view && showFrame(link.view));
showWho();
setInterval(tick, 1_000);
link.start();
