// Temperatures that were taken by hand: the last set of each stage, and a form for a new
// one.  Each piece has a field of its own, so that a thumb needs no comma and no blank.

import { dress, keep, make, say } from "./dom.js";
import { clock, tenths } from "./words.js";
import { whenSent, write } from "./writing.js";

const NUMBER = /^[-−]?\d{1,3}([.,]\d{1,3})?$/;
const MOST = 50; // pieces in a set
const FIRST = 3;
const ANOTHER = ""; // a thermometer that the settings do not name

let forms = 0;

/** The sets of a cook, the newest first; what makes something unproven is marked. */
export function showSets(parent, cook, now) {
  keep(parent, cook.spots, (one) => one.stage, buildSet, (node, one) => {
    dress(node, one.doubts ? "set doubts" : "set");
    say(node.parts.head, `${one.doubts ? "▲ " : ""}${one.stage || "no stage"}: ${lowest(one)}`);
    say(node.parts.by, `${clock(one.at_ms, now)} by ${one.who} · ${one.instrument}, within ${tenths(one.within_mc, "up")} K · ${one.standing}`);
    say(node.parts.means, one.means);
    say(node.parts.doubt, one.doubts ? "What the probes have shown is unproven by a set by hand." : "");
  });
}

function buildSet() {
  const parts = { head: make("p", "head"), by: make("p", "soft"), means: make("p"), doubt: make("p", "doubt") };
  const node = make("li", "set", ...Object.values(parts));
  node.parts = parts;
  return node;
}

/** What the piece that decides had: rounded to the side that does not flatter. */
function lowest(one) {
  const shown = `${tenths(one.decides_mc, one.falls ? "up" : "down")} °C`;
  if (one.pieces === 1) return `${shown}, 1 piece`;
  return `${one.falls ? "highest" : "lowest"} ${shown} of ${one.pieces} pieces`;
}

/** Where a person enters a set. */
export function buildSpots(cook) {
  const id = `spots-${(forms += 1)}`;
  const part = {
    which: make("select"),
    whose: make("p", "soft"),
    name: make("input"),
    within: make("input"),
    stage: make("select"),
    unit: make("select"),
    pieces: make("ol", "pieces"),
    more: make("button", "press plain", "One piece more"),
    send: make("button", "press", "Write the set down"),
    outcome: make("p", "outcome"),
  };
  part.more.type = "button";
  part.outcome.setAttribute("role", "status");
  Object.assign(part.name, { maxLength: 40, autocomplete: "off" });
  Object.assign(part.within, { inputMode: "decimal", autocomplete: "off", size: 5 });
  for (const [unit, word] of [["degC", "°C"], ["degF", "°F"]]) part.unit.append(new Option(word, unit));
  const labelled = (node, name, words) => {
    node.id = `${id}-${name}`;
    const label = make("label", "", words);
    label.htmlFor = node.id;
    return make("div", "", label, node);
  };
  const own = make(
    "div",
    "",
    labelled(part.name, "name", "Its name"),
    labelled(part.within, "within", "How far it may be off, in K"),
    make("p", "soft", "A set counts only with a calibrated thermometer of the settings; with any other it is advice."),
  );
  const choose = () => {
    own.hidden = part.which.value !== ANOTHER;
    say(part.whose, part.which.selectedOptions[0]?.title ?? "");
  };
  part.which.addEventListener("change", choose);
  part.more.addEventListener("click", () => addPiece(part, id)?.focus());
  const form = make(
    "form",
    "written spots",
    labelled(part.which, "which", "Taken with"),
    part.whose,
    own,
    labelled(part.stage, "stage", "For the end of stage"),
    labelled(part.unit, "unit", "Read in"),
    make("p", "label", "Each piece, in the order in which it was taken"),
    part.pieces,
    part.more,
    part.send,
    part.outcome,
  );
  for (let one = 0; one < FIRST; one += 1) addPiece(part, id);
  whenSent(form, part.send, part.outcome, async (who) => {
    const number = await write("spot-check", asked(part, cook.lot, who));
    part.pieces.replaceChildren();
    for (let one = 0; one < FIRST; one += 1) addPiece(part, id);
    return number;
  });
  const node = make("details", "", make("summary", "", "Enter temperatures taken by hand"), form);
  node.parts = { ...part, choose };
  return node;
}

function addPiece(part, id) {
  const count = part.pieces.children.length + 1;
  if (count > MOST) return undefined;
  const field = make("input");
  Object.assign(field, { inputMode: "decimal", autocomplete: "off", enterKeyHint: "next", placeholder: count });
  field.id = `${id}-piece-${count}`;
  field.setAttribute("aria-label", `Piece ${count}`);
  field.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !field.value) return;
    event.preventDefault(); // Enter goes on to the next piece, and never sends half a set
    (field.parentElement.nextElementSibling?.firstElementChild ?? addPiece(part, id))?.focus();
  });
  part.pieces.append(make("li", "", field));
  return field;
}

/** What is sent: one field holds one number, so a comma in it is a decimal comma. */
function asked(part, lot, who) {
  const written = [...part.pieces.querySelectorAll("input")].map((one) => one.value.trim()).filter((one) => one);
  if (written.length === 0) throw new Error("NOT written: no piece has a temperature.");
  const wrong = written.find((one) => !NUMBER.test(one));
  if (wrong) throw new Error(`NOT written: “${wrong}” is not a temperature; write, for example: 71.8`);
  const known = part.which.value !== ANOTHER;
  const within = part.within.value.trim();
  if (!known && !NUMBER.test(within)) throw new Error("NOT written: say how far the thermometer may be off, for example: 0.5");
  const plain = (number) => number.replace(",", ".").replace("−", "-");
  return {
    lot,
    who,
    pieces: `${written.map(plain).join(", ")} ${part.unit.value}`,
    instrument: known ? part.which.value : part.name.value.trim(),
    within: known ? "" : `${plain(within)} K`,
    stage: part.stage.value,
  };
}

/** What can be chosen: the thermometers of the settings, the stages that have begun. */
export function showSpots(node, cook, thermometers) {
  const part = node.parts;
  node.hidden = cook.finished_ms > 0;
  const begun = cook.stages.filter((one) => one.from_ms);
  const chosen = part.stage.children.length > 0;
  const build = () => make("option");
  keep(part.stage, begun, (one) => one.name, build, (option, one) => {
    option.value = one.name;
    say(option, one.name);
  });
  if (!chosen && begun.length > 0) part.stage.value = begun.at(-1).name;
  const each = [...thermometers, { name: ANOTHER }];
  keep(part.which, each, (one) => `named ${one.name}`, build, (option, one) => {
    option.value = one.name;
    option.title = one.name ? `within ${tenths(one.within_mc, "up")} K, ${one.standing}` : "";
    say(option, one.name || "another one");
  });
  part.choose();
}

/** Where a person lifts what a set left unproven: a press of its own, and why. */
export function buildLift(cook) {
  const text = make("textarea");
  Object.assign(text, { id: `lift-${(forms += 1)}`, rows: 3, maxLength: 1000, required: true });
  const label = make("label", "", "Why the probes' own evidence counts again");
  label.htmlFor = text.id;
  const button = make("button", "press", "Lift it");
  const outcome = make("p", "outcome");
  outcome.setAttribute("role", "status");
  const words = "What the probes have shown counts again, as if the set had not been taken. You and your reason are on the record.";
  const form = make("form", "written", make("p", "soft", words), label, text, button, outcome);
  const node = make("details", "", make("summary", "", "Lift what a set by hand left unproven"), form);
  whenSent(form, button, outcome, async (who) => {
    const body = { lot: cook.lot, who, text: text.value, corrective: false, about: node.stage, lifts: true };
    const number = await write("note", body);
    text.value = "";
    return number;
  });
  return node;
}

/** It is there only while something is unproven by a set. */
export function showLift(node, cook) {
  const doubted = cook.spots.find((one) => one.doubts);
  node.hidden = !doubted;
  node.stage = doubted?.stage ?? "";
}
