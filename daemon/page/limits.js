// The limits: standing in a word and a shape, how much is used up or reached with both
// bounds, and when it is lost if nothing changes.  Worst first.

import { dress, keep, make, reshape, say, shape } from "./dom.js";
import { about, clock, figure, glued, going } from "./words.js";

const WORST_FIRST = ["missed", "deviation", "unproven", "at risk", "within", "waiting", "met"];
const ENDED = ["met", "missed"];
const BRIEF = ["waiting", "met"];

/** Show these limits in a parent, worst first. */
export function showLimits(parent, limits, now) {
  const rank = (one) => WORST_FIRST.indexOf(one.standing);
  const soon = (one) => one.lose_ms || Number.MAX_VALUE;
  const sorted = [...limits].sort((a, b) => rank(a) - rank(b) || soon(a) - soon(b));
  keep(parent, sorted, (one) => `${one.name} ${one.part}`, build, (node, one) => update(node, one, now));
}

/** The word for a class of a standing: "at risk" becomes "at-risk". */
export const classOf = (standing) => standing.replaceAll(" ", "-");

function build(limit) {
  const node = make("div", "limit");
  const part = (node.parts = {
    shape: shape("waiting"),
    word: make("span"),
    standing: make("p", "standing"),
    kind: make("p", "kind"),
    bar: make("div", "bar"),
    certain: make("div", "certain"),
    possible: make("div", "possible"),
    required: make("div", "required"),
    used: make("p", "used"),
    deadline: make("p", "deadline"),
    why: make("p", "why"),
  });
  part.standing.append(part.shape, part.word);
  part.bar.setAttribute("aria-hidden", "true");
  part.bar.append(part.possible, part.certain, part.required);
  const title = make("h4", "", glued(limit.part ? `${limit.name}: ${limit.part}` : limit.name));
  const head = make("div", "head", title, part.standing);
  node.append(head, part.kind, part.bar, part.used, part.deadline, part.why);
  return node;
}

function update(node, limit, now) {
  const part = node.parts;
  reshape(part.shape, classOf(limit.standing));
  dress(part.standing, `standing is-${classOf(limit.standing)}`);
  say(part.word, limit.standing);
  // What has not begun or is over and met needs one line, not seven.
  const brief = BRIEF.includes(limit.standing);
  dress(node, brief ? "limit brief" : "limit");
  say(part.kind, kind(limit, brief));
  showBar(part, limit, brief);
  say(part.used, brief ? "" : used(limit));
  say(part.deadline, brief ? "" : deadline(limit, now));
  say(part.why, limit.standing === "waiting" ? "" : limit.why);
}

function kind(limit, brief) {
  const words = [limit.critical ? "critical limit" : "operating limit"];
  if (limit.control_point) words[0] += `, ${limit.control_point}`;
  if (brief || !limit.unit) words.push(limit.asks);
  else if (limit.channel) words.push(`${limit.channel} decides`);
  return words.filter((each) => each).join(" · ");
}

/** The bounds as a low and a high number, whatever kind of limit it is. */
const span = (limit) => [Math.min(limit.least, limit.most), Math.max(limit.least, limit.most)];

function used(limit) {
  const { ceiling, required, unit } = limit;
  if (unit !== "ms" && unit !== "mlog10") return "";
  const [low, high] = span(limit);
  const [from, to] = [figure(low, unit, "down"), figure(high, unit, ceiling ? "up" : "down")];
  const range = from === to ? from : `${bare(from, to)} to ${to}`;
  if (ceiling && limit.least > required) return `${range} used, ${figure(required, unit)} allowed`;
  const left = ceiling ? required - limit.least : required - Math.min(limit.least, required);
  const rest = left <= 0 ? "" : `; ${figure(left, unit, ceiling ? "down" : "up")} ${ceiling ? "left" : "to go"}`;
  return `${range} of ${figure(required, unit)} ${ceiling ? "used" : "shown"}${rest}`;
}

/** The first of two figures, without a unit that the second repeats. */
function bare(from, to) {
  const unit = to.split(" ").slice(1).join(" ");
  const single = unit && !/\d/.test(unit.replace("log10", ""));
  return single && from.endsWith(` ${unit}`) ? from.slice(0, -unit.length - 1) : from;
}

function deadline(limit, now) {
  if (ENDED.includes(limit.standing)) return "";
  if (limit.ceiling && limit.unit === "ms" && limit.least > limit.required) {
    // It may stand within again, yet what happened before decides the verdict.
    return limit.most > limit.required ? "what was allowed is used up" : "what was allowed may be used up";
  }
  // When its core will be there says more than when its time is up.
  if (limit.ahead) return glued(going(limit.ahead, now));
  if (!limit.lose_ms) return "";
  if (limit.lose_ms <= now) return `lost at ${clock(limit.lose_ms, now)}`;
  const left = about(limit.lose_ms - now);
  return `lost at ${clock(limit.lose_ms, now)} if nothing changes, in ${left}`;
}

function showBar(part, limit, brief) {
  part.bar.hidden = brief || !["ms", "mlog10"].includes(limit.unit) || limit.required <= 0;
  if (part.bar.hidden) return;
  dress(part.bar, `bar is-${classOf(limit.standing)}`);
  const [low, high] = span(limit);
  const full = Math.max(limit.required * 1.08, high);
  const percent = (figure) => `${Math.max(0, (figure / full) * 100)}%`;
  part.certain.style.width = percent(low);
  part.possible.style.width = percent(high);
  part.required.style.left = percent(limit.required);
}
