// The lots there were: a list, newest first, or one lot with all that its record says.
// The address says which: ?page=2, ?find=JY, ?lot=JY-0110-A.

import { make, say } from "./dom.js";
import { dated, duration, glued } from "./words.js";

const MARKS = { met: "✓", missed: "✕", unproven: "?", running: "▶" };
const WORST_FIRST = ["missed", "unproven", "running", "met"];

const at = (id) => document.getElementById(id);
const asked = new URLSearchParams(location.search);

/** An address of this page; what is empty is left out. */
function here(about) {
  const kept = Object.entries(about).filter(([, text]) => text);
  return kept.length ? `lots.html?${new URLSearchParams(kept)}` : "lots.html";
}

function link(href, words, className = "") {
  const node = make("a", className, words);
  node.href = href;
  return node;
}

async function read(path, about) {
  const answer = await fetch(`${path}?${new URLSearchParams(about)}`);
  const body = await answer.json();
  if (!answer.ok) throw new Error(body.refused);
  return body;
}

async function showList() {
  at("back").append(link("./", "What goes on now", "way"));
  const find = asked.get("find") ?? "";
  at("find-lot").value = find;
  at("find").hidden = false;
  const found = await read("lots", { page: asked.get("page") ?? "1", find });
  const named = find ? ` whose name holds “${find}”` : "";
  const number = found.total === 1 ? "1 lot" : `${found.total} lots`;
  const page = found.pages > 1 ? `, newest first; page ${found.page} of ${found.pages}` : "";
  say(at("count"), found.total ? `${number}${named}${page}` : `There is no lot${named} in the journal.`);
  at("lots").append(...found.lots.map(line));
  showPages(found, find);
}

function showPages({ page, pages }, find) {
  at("pages").hidden = pages === 1;
  const to = (number, words, rel) => {
    const node = link(here({ find, page: number > 1 ? number : "" }), words, "press plain");
    node.rel = rel;
    return node;
  };
  if (page > 1) at("pages").append(to(page - 1, "Newer", "prev"));
  if (page < pages) at("pages").append(to(page + 1, "Older", "next"));
}

/** One lot in the list. */
function line(lot) {
  const title = make("h2", "", link(here({ lot: lot.lot }), lot.lot));
  const what = make("div", "what", title, make("p", "", glued(lot.title)), ...when(lot));
  const verdicts = make("div", "verdicts", outcome(lot));
  const counts = counted(lot);
  if (counts) verdicts.append(make("p", "", counts));
  for (const one of sorted(lot).filter((each) => each.verdict !== "met")) verdicts.append(limitWords(one, "p"));
  const node = make("li", "lot", what, verdicts);
  if (lot.addenda.length) verdicts.append(make("ul", "added", ...lot.addenda.map((one) => make("li", "", ...addedWords(one)))));
  if (lot.files.includes("record.pdf")) what.append(make("p", "papers", file(lot, "record.pdf", `Record of ${lot.lot} (PDF)`)));
  return node;
}

function when({ smokehouse, begun_ms, finished_ms, who }) {
  const took = finished_ms ? `, ${duration(finished_ms - begun_ms)}` : "";
  const words = [`begun ${dated(begun_ms)}${took}`, `smokehouse ${smokehouse}, by ${who}`];
  return words.map((each) => make("p", "soft", glued(each)));
}

/** Whether the lot is on hold, and why that is not known where it is not. */
function outcome(lot) {
  if (lot.goes_on) return make("p", "state", "▶ goes on");
  if (lot.trouble) return make("p", "state is-bad", `✕ ${lot.trouble}`);
  if (!lot.limits.length) return make("p", "state is-unproven", `? No record yet. Write it with: fumarium record ${lot.lot}`);
  const held = lot.on_hold ? "■ ON HOLD" : "✓ every critical limit met";
  return make("p", `state ${lot.on_hold ? "is-bad" : "is-met"}`, held);
}

function counted({ limits }) {
  const groups = WORST_FIRST.map((verdict) => [verdict, limits.filter((one) => one.verdict === verdict).length]);
  return groups.filter(([, number]) => number).map(([verdict, number]) => `${number} ${verdict}`).join(" · ");
}

const rank = (one) => WORST_FIRST.indexOf(one.verdict) - (one.critical ? 0.5 : 0);
const sorted = (lot) => [...lot.limits].sort((a, b) => rank(a) - rank(b));

function limitWords(one, tag) {
  const words = [`${MARKS[one.verdict]} ${one.limit}`];
  if (one.control_point) words.push(one.control_point);
  return make(tag, `is-${one.verdict}`, glued(`${words.join(", ")}: ${one.verdict}`));
}

/** What an addendum says, and which verdicts it turned. */
function addedWords(one) {
  const head = make("p", "", make("strong", "", `Addendum ${one.number}`), `, ${dated(one.written_ms)}, ${one.what} by ${one.who}`);
  const turns = one.turned.map((each) =>
    make("p", `is-${each.now}`, glued(`${MARKS[each.now]} ${each.limit}: ${each.was}, now ${each.now}`)));
  if (!turns.length) turns.push(make("p", "soft", "No verdict changed."));
  return [head, make("p", "why", one.text), ...turns];
}

async function showLot(name) {
  const back = link(here({}), "All lots", "way");
  at("back").append(back, link("./", "What goes on now", "way"));
  const { lot, stages, entries } = await read("lot", { lot: name });
  document.title = `${lot.lot} Lots`;
  say(at("title"), `Lot ${lot.lot}`);
  at("lot").append(
    make("p", "name", glued(lot.title)),
    ...when(lot),
    outcome(lot),
    papers(lot),
    ...part("Limits", "limits", sorted(lot).map(limit)),
    ...part("Addenda", "added", lot.addenda.map((one) => added(lot, one))),
    ...part("Stages", "lot-stages", stages.map(stage)),
    ...part("What people wrote", "wrote", entries.map(wrote)),
  );
}

function part(title, className, items) {
  if (!items.length) return [];
  return [make("h2", "part-title", title), make("ul", className, ...items)];
}

function papers(lot) {
  const files = { "record.pdf": "Record (PDF)", "record.jsonl": "Record as signed lines", "public.pem": "Public key" };
  return make("p", "papers", ...lot.files.map((name) => file(lot, name, files[name])));
}

function file(lot, name, words) {
  const node = link(`file?${new URLSearchParams({ lot: lot.lot, name })}`, words, "way");
  node.download = "";
  return node;
}

function limit(one) {
  const grade = one.critical ? "critical limit" : "operating limit";
  const kind = one.source ? `${grade} · ${one.source}` : grade;
  const head = limitWords(one, "p");
  head.classList.add("head");
  return make("li", "", head, make("p", "", glued(one.why)), make("p", "soft", glued(kind)));
}

function added(lot, one) {
  const words = { pdf: `Addendum ${one.number} (PDF)`, jsonl: "as signed lines" };
  const files = one.files.map((name) => file(lot, name, words[name.split(".").at(-1)]));
  return make("li", "", ...addedWords(one), make("p", "papers", ...files));
}

function stage({ name, from_ms, to_ms }) {
  const took = to_ms ? `${duration(to_ms - from_ms)}, until ${dated(to_ms)}` : "it was not ended";
  return make("li", "", glued(`${name}: from ${dated(from_ms)}, ${took}`));
}

function wrote({ kind, at_ms, who, text, about }) {
  const head = [dated(at_ms), who, kind, about].filter((each) => each).join(" · ");
  return make("li", "", make("p", "soft", head), make("p", "why", text));
}

try {
  await (asked.get("lot") ? showLot(asked.get("lot")) : showList());
  at("state").hidden = true;
} catch (error) {
  say(at("state"), `✕ ${error.message}`);
  at("state").className = "block";
}
