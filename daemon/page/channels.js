// The channels: a large value, where it stands against its band, and how old it is.

import { dress, keep, make, say } from "./dom.js";
import { about, clock, difference, tenths, UNITS, value } from "./words.js";

/** Show these channels in a parent, in the order given, under headings of a level. */
export function showChannels(parent, channels, now, level = "h4") {
  keep(parent, channels, (one) => one.name, () => build(level), (node, one) => update(node, one, now));
}

function build(level) {
  const node = make("div", "channel");
  const part = (node.parts = {
    name: make("span"),
    role: make("span", "role"),
    value: make("p", "value"),
    gauge: make("div", "gauge"),
    words: make("p", "words"),
    heard: make("p", "heard"),
  });
  const title = make(level, "", part.name, " ", part.role);
  const marks = ["rail", "band", "doubt", "mark"].map((name) => make("div", name));
  [, part.band, part.doubt, part.mark] = marks;
  part.gauge.setAttribute("aria-hidden", "true");
  part.gauge.append(...marks);
  node.append(title, part.value, part.gauge, part.words, part.heard);
  return node;
}

function update(node, channel, now) {
  const part = node.parts;
  const spoken = channel.value_mc !== null;
  dress(node, channel.standing === "heard" ? "channel" : `channel silent ${channel.standing}`);
  say(part.name, channel.name);
  say(part.role, channel.role === channel.name ? "" : channel.role);
  showValue(part.value, channel, spoken);
  showGauge(part, channel, spoken && channel.standing === "heard");
  say(part.words, spoken && channel.standing === "heard" ? againstBand(channel) : "");
  say(part.heard, heard(channel, spoken, now));
}

function showValue(node, channel, spoken) {
  const number = spoken ? tenths(channel.value_mc) : "no value";
  const unit = spoken ? ` ${UNITS[channel.unit] ?? channel.unit}` : "";
  if (node.textContent === number + unit) return;
  node.replaceChildren(number, make("small", "", unit));
}

function heard(channel, spoken, now) {
  if (!spoken) return "has given no reading yet";
  const ago = about(now - channel.at_ms);
  if (channel.quality !== "good") {
    return `${channel.quality}: shown, but no evidence (stamped ${clock(channel.at_ms, now)})`;
  }
  if (channel.standing === "quiet") {
    return `✕ QUIET since ${clock(channel.at_ms, now)}, for ${ago}; this was its last value`;
  }
  return `${ago} ago · ± ${difference(channel.uncertainty_mc, channel.unit)}`;
}

function bandWords({ low_mc: low, high_mc: high, unit }) {
  if (low === null) return `at most ${value(high, unit)}`;
  if (high === null) return `at least ${value(low, unit)}`;
  return `${tenths(low)} to ${value(high, unit)}`;
}

function againstBand(channel) {
  const { low_mc: low, high_mc: high, value_mc: now, unit } = channel;
  if (low === null && high === null) return "";
  const band = bandWords(channel);
  if (low !== null && now < low) {
    return `▼ ${difference(low - now, unit)} below its band, ${band}`;
  }
  if (high !== null && now > high) {
    return `▲ ${difference(now - high, unit)} above its band, ${band}`;
  }
  return `in its band, ${band}`;
}

function showGauge(part, channel, shown) {
  const { low_mc: low, high_mc: high, value_mc: now, uncertainty_mc: doubt } = channel;
  part.gauge.hidden = !shown || (low === null && high === null);
  if (part.gauge.hidden) return;
  const room = low === null || high === null ? 20_000 : (high - low) * 0.75;
  const from = (low ?? high - room) - room;
  const to = (high ?? low + room) + room;
  const percent = (at) => Math.min(100, Math.max(0, ((at - from) / (to - from)) * 100));
  place(part.band, percent(low ?? from), percent(high ?? to));
  place(part.doubt, percent(now - doubt), percent(now + doubt));
  place(part.mark, percent(now));
  dress(part.mark, now < from ? "mark below" : now > to ? "mark above" : "mark");
}

function place(node, left, right) {
  node.style.left = `${left}%`;
  if (right !== undefined) node.style.width = `${right - left}%`;
}
