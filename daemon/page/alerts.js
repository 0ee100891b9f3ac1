// The alerts: what nobody has acknowledged yet comes first, with one large button.

import { dress, keep, make, say, shape } from "./dom.js";
import { about, clock } from "./words.js";
import { askInitials, initials, write } from "./writing.js";

/** Show the alerts; answers how many wait for somebody. */
export function showAlerts(alerts, now) {
  const open = alerts.filter((one) => one.answer && !one.acknowledged_ms);
  const past = alerts.filter((one) => !open.includes(one));
  const newest = (a, b) => b.since_ms - a.since_ms || b.number - a.number;
  document.getElementById("alerts").hidden = alerts.length === 0;
  say(document.getElementById("alerts-title"), title(open.length));
  const shown = document.getElementById("alerts-open");
  keep(shown, open.sort(newest), (one) => one.number, buildOpen, (node, one) => updateOpen(node, one, now));
  const done = document.getElementById("alerts-past");
  keep(done, past.sort(newest), (one) => one.number, buildPast, (node, one) => updatePast(node, one, now));
  return open;
}

function title(count) {
  if (count === 0) return "Alerts: none waits for you";
  return count === 1 ? "1 alert waits for you" : `${count} alerts wait for you`;
}

function buildOpen(alert) {
  const node = make("article", "alert");
  const part = (node.parts = {
    title: make("span"),
    why: make("p", "why"),
    when: make("p", "when"),
    lot: make("p", "told"),
    told: make("p", "told"),
    button: make("button", "press"),
    outcome: make("p", "outcome"),
  });
  part.button.type = "button";
  part.outcome.setAttribute("role", "status");
  part.button.addEventListener("click", () => acknowledge(alert.number, part));
  const head = make("h3", "", shape("deviation"), part.title);
  node.append(head, part.why, part.when, part.lot, part.told, part.button, part.outcome);
  return node;
}

function updateOpen(node, alert, now) {
  const part = node.parts;
  const [what, place] = titled(alert);
  say(part.title, what);
  say(part.why, alert.why);
  say(part.when, when(alert, now));
  say(part.lot, place);
  say(part.told, told(alert, now));
  if (!part.button.disabled) say(part.button, buttonWords());
  part.button.setAttribute("aria-label", `${buttonWords()}: ${alert.title}`);
}

/** What an alert's title says, and of which lot and place it says so. */
function titled(alert) {
  if (!alert.lot) return [alert.title, ""];
  const [what, ...place] = alert.title.split(`: lot ${alert.lot}`);
  return [what, `lot ${alert.lot}${place.join("")}`];
}

const buttonWords = () => (initials() ? `Acknowledge as ${initials()}` : "Acknowledge");

function when(alert, now) {
  const words = [`since ${clock(alert.since_ms, now)}, ${about(now - alert.since_ms)} ago`];
  if (alert.returned_ms) words.push(`returned to normal at ${clock(alert.returned_ms, now)}`);
  return words.join(" · ");
}

/** Of each contact the last attempt, and how many there were. */
function told(alert, now) {
  if (alert.told.length === 0) return "Nobody has been told yet.";
  const contacts = [...new Set(alert.told.map((one) => one.contact))];
  const each = contacts.map((contact) => {
    const all = alert.told.filter((one) => one.contact === contact);
    const last = all.at(-1);
    const times = all.length > 1 ? `, ${all.length} attempts` : "";
    const why = last.why ? ` (${last.why})` : "";
    return `${contact}: ${last.outcome} ${clock(last.at_ms, now)}${times}${why}`;
  });
  return `Told: ${each.join("; ")}`;
}

async function acknowledge(number, part) {
  const who = await askInitials();
  if (!who) return;
  part.button.disabled = true;
  say(part.button, "Writing…");
  try {
    const entry = await write("acknowledge", { alert: number, who });
    say(part.button, "Acknowledged");
    say(part.outcome, `Written down as entry ${entry}.`);
    document.getElementById("alerts-title").focus();
  } catch (error) {
    part.button.disabled = false;
    say(part.button, buttonWords());
    say(part.outcome, error.message);
  }
}

function buildPast() {
  const node = make("article", "past");
  const part = (node.parts = { title: make("h3"), words: make("p"), why: make("p", "why soft") });
  node.append(part.title, part.words, part.why);
  return node;
}

function updatePast(node, alert, now) {
  const part = node.parts;
  const [what, place] = titled(alert);
  const words = [place, `since ${clock(alert.since_ms, now)}`].filter((each) => each);
  if (alert.acknowledged_ms) {
    const at = clock(alert.acknowledged_ms, now);
    words.unshift(`✓ acknowledged by ${alert.acknowledged_by} at ${at}`);
    const back = `returned to normal at ${clock(alert.returned_ms, now)}`;
    words.push(alert.returned_ms ? back : "not yet back to normal");
  }
  say(part.title, what);
  say(part.words, words.join(" · "));
  say(part.why, alert.why);
  dress(node, "past");
}
