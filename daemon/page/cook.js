// One cook: the stage and how long, what comes next, its channels, limits and chart,
// and a place to write.

import { showChannels } from "./channels.js";
import { showChart } from "./chart.js";
import { dress, keep, make, say } from "./dom.js";
import { showLimits } from "./limits.js";
import { buildLift, buildSpots, showLift, showSets, showSpots } from "./spots.js";
import { about, clock, duration, glued, going, late, rate } from "./words.js";
import { whenSent, write } from "./writing.js";

const CALLS = ["dying fire", "warming bath"];
const LETHAL = ["dwell table", "integrated lethality"];
const SURFACE = "; surface: "; // what follows it stands beside lethality wherever it is told

let forms = 0;

/** Show every cook: what is lost soonest first, what is finished last. */
export function showCooks(view, curves, now) {
  const urgency = (cook) => (cook.finished_ms ? Infinity : (soonest(cook)?.lose_ms ?? 1e15));
  const sorted = [...view.cooks].sort((a, b) => {
    const [one, other] = [urgency(a), urgency(b)];
    return one === other ? a.begun_ms - b.begun_ms : one - other;
  });
  showSummary(sorted, now);
  const parent = document.getElementById("cooks");
  keep(parent, sorted, (cook) => cook.lot, build, (node, cook) => update(node, cook, view, now));
  for (const node of parent.children) node.parts.draw(curves);
}

/** The limit of a cook that is lost soonest, if one is being lost. */
function soonest(cook) {
  const losing = cook.limits.filter((limit) => limit.lose_ms && !["met", "missed"].includes(limit.standing));
  return losing.sort((a, b) => a.lose_ms - b.lose_ms)[0];
}

/** At the top, before all else: each cook's stage and what is lost next. */
function showSummary(cooks, now) {
  const parent = document.getElementById("summary");
  const build = (cook) => {
    const link = make("a");
    link.href = `#lot-${encodeURIComponent(cook.lot)}`;
    const node = make("li", "", link);
    node.parts = { link, words: make("span") };
    node.append(node.parts.words);
    return node;
  };
  keep(parent, cooks, (cook) => cook.lot, build, (node, cook) => {
    const limit = soonest(cook);
    say(node.parts.link, `${cook.lot}: ${stageWords(cook, now)}`);
    const losing = limit && !cook.finished_ms;
    const lost = losing ? glued(losingWords(limit, now)) : "";
    say(node.parts.words, cook.on_hold ? `■ ON HOLD ${lost}` : lost);
  });
}

function losingWords(limit, now) {
  if (!limit.ahead?.deadline_ms) return `▲ ${limit.name} lost at ${clock(limit.lose_ms, now)} if nothing changes`;
  return `${late(limit.ahead) ? "▲ " : ""}${limit.name}: ${going(limit.ahead, now)}`;
}

function stageWords(cook, now) {
  if (cook.finished_ms) return `finished at ${clock(cook.finished_ms, now)}`;
  const stage = cook.stages.find((one) => one.from_ms && !one.to_ms);
  return stage ? `${stage.name} for ${about(now - stage.from_ms)}` : "between stages";
}

function build(cook) {
  const node = make("article", "cook");
  node.id = `lot-${encodeURIComponent(cook.lot)}`;
  const part = (node.parts = {
    title: make("h2"),
    lot: make("p", "soft"),
    hold: make("p", "block"),
    stageName: make("span", "stage-name"),
    stageFor: make("span", "stage-for"),
    stageWords: make("p"),
    signs: make("ul", "signs"),
    texture: make("p", "going"),
    lethality: make("ul", "lethality"),
    stages: make("ol", "stages"),
    channels: make("div", "channels"),
    limits: make("div", "limits"),
    sets: make("ol", "sets"),
    chart: make("figure", "chart"),
  });
  part.chart.style.margin = "0.4rem 0 0";
  part.stages.setAttribute("aria-label", "Stages");
  part.signs.setAttribute("aria-label", "Early signs");
  part.lethality.setAttribute("aria-label", "Lethality");
  const now = make("p", "stage-now", part.stageName, part.stageFor);
  const channels = make("div", "channels-part", make("h3", "", "Channels"), part.channels);
  const chart = make("div", "chart-part", make("h3", "", "Chart"), part.chart);
  const key = make("p", "soft", "Bars: solid is certain, striped is possible, the upright mark is the limit.");
  const limits = make("div", "limits-part", make("h3", "", "Limits"), key, part.limits);
  part.byHand = make("div", "", make("h3", "", "Taken by hand"), part.sets);
  limits.append(part.byHand);
  node.append(make("header", "", part.title, part.lot, part.hold, now, part.stageWords, part.stages));
  node.firstChild.append(part.signs, part.texture, part.lethality);
  part.note = buildForm(cook);
  part.spots = buildSpots(cook);
  part.lift = buildLift(cook);
  part.moved = buildMoved(cook);
  node.append(make("div", "columns", channels, limits, chart), part.note, part.spots, part.lift, part.moved);
  return node;
}

function update(node, cook, view, now) {
  const part = node.parts;
  say(part.title, cook.title);
  say(part.lot, `lot ${cook.lot} · smokehouse ${cook.smokehouse} · begun ${clock(cook.begun_ms, now)}`);
  say(part.hold, cook.on_hold ? "■ ON HOLD: a critical limit is missed or unproven" : "");
  showStage(part, cook, now);
  const channels = view.channels.filter((channel) => channel.smokehouse === cook.smokehouse);
  // After a cook its smokehouse's channels speak of something else.
  part.channels.parentElement.hidden = cook.finished_ms > 0 || channels.length === 0;
  showAbout(part.note, cook, channels);
  showMoved(part.moved, cook, channels);
  showSpots(part.spots, cook, view.thermometers);
  showLift(part.lift, cook);
  part.byHand.hidden = cook.spots.length === 0;
  showSets(part.sets, cook, now);
  showChannels(part.channels, cook.finished_ms ? [] : channels, now);
  showLimits(part.limits, cook.limits, now);
  part.draw = (curves) => showChart(part.chart, cook, channels, curves, now);
}

function showStage(part, cook, now) {
  const index = cook.stages.findIndex((stage) => stage.from_ms && !stage.to_ms);
  const stage = cook.finished_ms ? undefined : cook.stages[index];
  if (stage) {
    const next = cook.stages[index + 1];
    const due = stage.due_ms ? `, at ${clock(stage.due_ms, now)}` : "";
    const words = [`since ${clock(stage.from_ms, now)}`];
    if (stage.ends) words.push(`ends ${stage.ends}${due}`);
    words.push(next ? `next: ${next.name}` : "the last stage");
    say(part.stageName, stage.name);
    say(part.stageFor, `for ${about(now - stage.from_ms)}`);
    say(part.stageWords, words.join(" · "));
  } else {
    say(part.stageName, cook.finished_ms ? "finished" : "between stages");
    say(part.stageFor, cook.finished_ms ? `at ${clock(cook.finished_ms, now)}` : "");
    say(part.stageWords, cook.finished_ms ? finishedWords(cook) : "");
  }
  const signs = cook.finished_ms ? [] : cook.signs;
  keep(part.signs, signs, (one) => one.channel, () => make("li"), (node, one) => {
    say(node, `${CALLS.includes(one.sign) ? "▲" : "●"} ${one.channel}: ${one.sign} since ${clock(one.since_ms, now)}`);
  });
  say(part.texture, stage?.ahead ? glued(`${late(stage.ahead) ? "▲ " : ""}Texture: ${going(stage.ahead, now)}`) : "");
  showLethality(part, cook, now);
  keep(part.stages, cook.stages, (one) => one.name, () => make("li"), (node, one) => {
    const state = one.to_ms ? "done" : one === stage ? "now" : "to-come";
    const took = duration(one.to_ms - one.from_ms);
    const words = { done: `✓ ${one.name} ${took}`, now: `▶ ${one.name}`, "to-come": `${one.name}${ending(one, now)}` };
    dress(node, state);
    say(node, words[state]);
    if (state === "now") node.setAttribute("aria-current", "step");
    else node.removeAttribute("aria-current");
  });
}

/** When a stage that has not begun will end, as far as that can be said. */
function ending(stage, now) {
  if (stage.ahead) return glued(`, ends ${rate(stage.ahead, now)}`);
  return stage.due_ms ? `, ends ${clock(stage.due_ms, now)}` : "";
}

/** Lethality is another thing than texture, and never the core's alone. */
function showLethality(part, cook, now) {
  const lethal = cook.limits.filter((one) => LETHAL.includes(one.kind) && one.standing !== "waiting");
  keep(part.lethality, cook.finished_ms ? [] : lethal, (one) => one.name, () => make("li"), (node, one) => {
    const since = `${one.standing} since ${clock(one.since_ms, now)}`;
    const rate = one.ahead ? `, ${going(one.ahead, now)}` : "";
    const beside = one.why.includes(SURFACE) ? one.why.slice(one.why.indexOf(SURFACE)) : "";
    const told = one.standing === "at risk" && rate ? `${since}${rate}${beside}` : `${since}, ${one.why}`;
    const words = one.standing === "within" ? `not met yet${rate}${beside}` : told;
    const which = one.name.toLowerCase() === "lethality" ? "" : ` (${one.name})`;
    say(node, glued(`Lethality${which}: ${words}`));
  });
}

function finishedWords(cook) {
  if (cook.on_hold) return "What becomes of the lot is for the operator and the process authority to decide.";
  return "The readings prove every critical limit met. Release is the operator's decision.";
}

function buildForm(cook) {
  const id = `write-${(forms += 1)}`;
  const text = make("textarea");
  Object.assign(text, { id, rows: 3, maxLength: 1000, required: true });
  const corrective = make("input");
  Object.assign(corrective, { type: "checkbox", id: `${id}-corrective` });
  const tick = make("label", "choice", corrective, "This is a corrective action");
  const button = make("button", "press", "Write it down");
  const outcome = make("p", "outcome");
  outcome.setAttribute("role", "status");
  const label = make("label", "", "What was seen or done");
  label.htmlFor = id;
  const about = make("select");
  about.id = `${id}-about`;
  const whose = make("label", "", "About which probe or stage");
  whose.htmlFor = about.id;
  const form = make("form", "written", label, text, whose, about, tick, button, outcome);
  whenSent(form, button, outcome, async (who) => {
    const body = { lot: cook.lot, who, text: text.value, corrective: corrective.checked, about: about.value };
    const number = await write("note", body);
    text.value = "";
    corrective.checked = false;
    return number;
  });
  const node = make("details", "", make("summary", "", "Write a note or a corrective action"), form);
  node.about = about;
  return node;
}

/** What a note may be about: a note about a probe in doubt is what ends the doubt. */
function showAbout(node, cook, channels) {
  const names = ["", ...channels.map((one) => one.name), ...cook.stages.map((one) => one.name)];
  const each = [...new Set(names)].map((name) => ({ name }));
  keep(node.about, each, (one) => `about ${one.name}`, () => make("option"), (option, one) => {
    option.value = one.name;
    say(option, one.name || "none of them");
  });
}

/** Where a person says that a probe is in another piece now. */
function buildMoved(cook) {
  const which = make("select");
  which.id = `moved-${(forms += 1)}`;
  const label = make("label", "", "Which probe was moved");
  label.htmlFor = which.id;
  const button = make("button", "press", "It is in another piece now");
  const outcome = make("p", "outcome");
  outcome.setAttribute("role", "status");
  const words = "For 5 min it is no evidence, and the new piece begins with no heat to its credit.";
  const form = make("form", "written", label, which, make("p", "soft", words), button, outcome);
  whenSent(form, button, outcome, (who) =>
    write("moved", { lot: cook.lot, who, channel: which.value, text: "" }),
  );
  const node = make("details", "", make("summary", "", "Say that a probe was moved"), form);
  node.which = which;
  return node;
}

function showMoved(node, cook, channels) {
  const inside = channels.filter((one) => ["core", "meat"].includes(one.role));
  node.hidden = cook.finished_ms > 0 || inside.length === 0;
  keep(node.which, inside, (one) => one.name, () => make("option"), (option, one) => say(option, one.name));
}
