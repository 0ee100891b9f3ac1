// The chart of one cook: its chamber and cores over the last hours.  A line is broken
// at every hole, and a row under the plot shows each channel's holes as bars.

import { draw, make } from "./dom.js";
import { clock, tenths } from "./words.js";

const HOUR = 3_600_000;
const LEFT = 34;
const TOP = 20;
const ROW = 18;
const DASHES = ["", "7 3", "2 2.5", "9 3 2 3", "14 4"];

/** Draw a cook's channels from their curves into a figure. */
export function showChart(figure, cook, channels, curves, now) {
  const end = cook.finished_ms || now;
  const shown = channels
    .filter((one) => ["chamber", "core"].includes(one.role))
    .map((one) => ({ ...one, ...curves.get(one.name) }))
    .map((one) => ({ ...one, pieces: (one.pieces ?? []).filter((piece) => during(cook, piece, end)) }))
    .filter((one) => one.pieces.length);
  figure.parentElement.hidden = shown.length === 0;
  if (shown.length === 0) return;
  if (!differs(figure, cook, shown, end)) return;
  const plot = frame(figure, cook, shown, end);
  const svg = draw("svg", { viewBox: `0 0 ${plot.width} ${plot.height}`, role: "img" });
  svg.setAttribute("aria-label", inWords(shown, plot, end));
  svg.append(...bands(cook, plot), ...grid(plot, end), ...changes(cook, plot));
  svg.append(...shown.flatMap((one, index) => line(one, index, plot)), ...names(shown, plot));
  svg.append(...holeRows(shown, plot, end));
  const words = `°C, from ${clock(plot.from, now)} to ${clock(end, now)}. `;
  const bars = shown.some((one) => holes(one, plot.from, end).length)
    ? "A bar below the plot is a hole: nothing was read there, and nothing is drawn over it."
    : "No holes.";
  figure.replaceChildren(svg, make("figcaption", "", words + bars));
}

/** Whether a piece belongs to the cook: a smokehouse's channels go on after it. */
const during = (cook, piece, end) => piece.to >= cook.begun_ms && piece.from <= end;

/** Whether a new drawing would look different from the one that stands. */
function differs(figure, cook, shown, end) {
  const newest = shown.map((one) => `${one.name} ${one.pieces.length} ${one.pieces.at(-1).to}`);
  const stages = cook.stages.map((stage) => `${stage.from_ms} ${stage.to_ms}`);
  const quiet = shown.map((one) => one.standing);
  const seen = [figure.parentElement.clientWidth, ...quiet, Math.floor(end / 30_000), ...newest, ...stages].join();
  if (figure.seen === seen) return false;
  figure.seen = seen;
  return true;
}

function frame(figure, cook, shown, end) {
  const width = Math.max(260, Math.round(figure.parentElement.clientWidth));
  const right = 10 + 8 * Math.max(...shown.map((one) => one.name.length));
  const firsts = shown.map((one) => one.pieces[0].from);
  const from = Math.max(cook.begun_ms, Math.min(...firsts), end - 12 * HOUR);
  const visible = shown.flatMap((one) => one.pieces.filter((piece) => piece.to >= from));
  const low = Math.floor(Math.min(...visible.map((piece) => piece.low), 0) / 10_000) * 10_000;
  const high = Math.ceil(Math.max(...visible.map((piece) => piece.high), 20_000) / 10_000) * 10_000;
  const deep = Math.min(300, Math.max(190, width * 0.55));
  const sides = { top: TOP, bottom: TOP + deep, left: LEFT, right: width - right };
  const plot = { width, from, low, high, ...sides };
  plot.height = plot.bottom + 22 + ROW * shown.length;
  plot.x = (ms) => LEFT + ((ms - from) / Math.max(1, end - from)) * (plot.right - LEFT);
  plot.y = (mc) => plot.bottom - ((mc - low) / (high - low)) * deep;
  return plot;
}

function bands(cook, plot) {
  return cook.stages
    .filter((stage) => stage.from_ms && stage.low_mc !== null && stage.high_mc !== null)
    .map((stage) => {
      const left = Math.max(plot.left, plot.x(stage.from_ms));
      const right = stage.to_ms ? plot.x(stage.to_ms) : plot.right;
      const top = plot.y(Math.min(stage.high_mc, plot.high));
      const bottom = plot.y(Math.max(stage.low_mc, plot.low));
      const size = { width: Math.max(0, right - left), height: Math.max(0, bottom - top) };
      return draw("rect", { class: "band", x: left, y: top, ...size });
    });
}

function grid(plot, end) {
  const marks = [];
  for (let mc = Math.ceil(plot.low / 20_000) * 20_000; mc <= plot.high; mc += 20_000) {
    const y = plot.y(mc);
    marks.push(draw("line", { class: "grid", x1: plot.left, x2: plot.right, y1: y, y2: y }));
    const place = { class: "tick", x: plot.left - 5, y: y + 4, "text-anchor": "end" };
    marks.push(draw("text", place, tenths(mc).replace(".0", "")));
  }
  const fits = (hours) => ((end - plot.from) / (hours * HOUR)) * 52 < plot.right - plot.left;
  const step = [0.25, 0.5, 1, 2, 3, 4].find(fits) ?? 6;
  const zone = new Date(end).getTimezoneOffset() * 60_000;
  const first = Math.ceil((plot.from - zone) / (step * HOUR)) * step * HOUR + zone;
  for (let ms = first; ms <= end; ms += step * HOUR) {
    const x = plot.x(ms);
    marks.push(draw("line", { class: "grid", x1: x, x2: x, y1: plot.top, y2: plot.bottom }));
    const place = { class: "tick", x, y: plot.bottom + 15, "text-anchor": "middle" };
    marks.push(draw("text", place, clock(ms, ms)));
  }
  return marks;
}

function changes(cook, plot) {
  const marks = [];
  let free = 0;
  for (const stage of cook.stages.filter((one) => one.from_ms && (!one.to_ms || one.to_ms > plot.from))) {
    const x = Math.max(plot.left, plot.x(stage.from_ms));
    marks.push(draw("line", { class: "change", x1: x, x2: x, y1: plot.top - 4, y2: plot.bottom }));
    if (x < free) continue;
    marks.push(draw("text", { x: x + 3, y: plot.top - 7 }, stage.name));
    free = x + 12 + 7 * stage.name.length;
  }
  return marks;
}

/** Whether a piece has a hole of its own, besides the one before it. */
const isTorn = (piece, before) =>
  piece.hole > 0 && !(before && piece.hole === piece.from - before.to);

/** The pieces that belong together, run by run, and those that are torn. */
function parted(channel, plot) {
  const runs = [];
  const torn = [];
  let before = null;
  let joins = false;
  for (const piece of channel.pieces.filter((one) => one.to >= plot.from)) {
    if (isTorn(piece, before)) {
      torn.push(piece);
      joins = false;
    } else {
      if (joins && piece.from - before.to <= channel.joined_ms) runs.at(-1).push(piece);
      else runs.push([piece]);
      joins = true;
    }
    before = piece;
  }
  return [runs, torn];
}

/** A line through the middle of the pieces, what lies between low and high, and a dot
    for a torn piece: a line through it would be drawn over a hole. */
function line(channel, index, plot) {
  const [runs, torn] = parted(channel, plot);
  const point = (ms, mc) => `${plot.x(Math.max(plot.from, ms)).toFixed(1)} ${plot.y(mc).toFixed(1)}`;
  const middle = (piece) => (piece.from + piece.to) / 2;
  const along = (run, mc) => [
    point(run[0].from, mc(run[0])),
    ...run.map((piece) => point(middle(piece), mc(piece))),
    point(run.at(-1).to, mc(run.at(-1))),
  ];
  const path = (points) => `M${points.join("L")}`;
  const lines = runs.map((run) => path(along(run, (piece) => (piece.low + piece.high) / 2)));
  const spreads = runs.map((run) => {
    const [above, below] = [along(run, (piece) => piece.high), along(run, (piece) => piece.low)];
    return `${path([...above, ...below.reverse()])}Z`;
  });
  const dash = DASHES[index % DASHES.length];
  return [
    draw("path", { class: "spread", d: spreads.join("") }),
    draw("path", { class: `line ${channel.role}`, d: lines.join(""), "stroke-dasharray": dash }),
    ...torn.map((piece) => {
      const [cx, cy] = [plot.x(piece.to), plot.y((piece.low + piece.high) / 2)];
      return draw("circle", { class: "dot", cx, cy, r: 1.6 });
    }),
  ];
}

/** Names at the line ends, pushed apart until they can be read. */
function names(shown, plot) {
  const ends = shown
    .map((one) => ({ name: one.name, last: one.pieces.at(-1) }))
    .map(({ name, last }) => ({ name, x: plot.x(last.to), y: plot.y((last.low + last.high) / 2) }))
    .sort((a, b) => a.y - b.y);
  let free = plot.top;
  for (const end of ends) free = (end.at = Math.max(end.y, free)) + 15;
  let most = plot.bottom;
  for (const end of ends.toReversed()) most = (end.at = Math.min(end.at, most)) - 15;
  return ends.flatMap((end) => [
    draw("line", { class: "leader", x1: end.x + 1, y1: end.y, x2: plot.right + 4, y2: end.at }),
    draw("text", { x: plot.right + 6, y: end.at + 4 }, end.name),
  ]);
}

/** The holes of one channel as [from, to], the one that is still open included. */
function holes(channel, from, end) {
  const found = [];
  let before = null;
  for (const piece of channel.pieces) {
    if (before && piece.from - before.to > channel.joined_ms) found.push([before.to, piece.from]);
    if (isTorn(piece, before)) found.push([piece.from, piece.to]);
    before = piece;
  }
  if (channel.standing === "quiet" && end >= before.to) found.push([before.to, end]);
  return found.filter(([, to]) => to > from).map(([start, to]) => [Math.max(start, from), to]);
}

function holeRows(shown, plot, end) {
  return shown.flatMap((one, index) => {
    const y = plot.bottom + 24 + ROW * index;
    const bars = holes(one, plot.from, end).map(([from, to]) => {
      const x = plot.x(from);
      return draw("rect", { class: "hole", x, y, width: Math.max(3, plot.x(to) - x), height: 10 });
    });
    const rail = draw("line", { class: "grid", x1: plot.left, x2: plot.right, y1: y + 5, y2: y + 5 });
    return [rail, ...bars, draw("text", { class: "tick", x: plot.right + 6, y: y + 9 }, one.name)];
  });
}

function inWords(shown, plot, end) {
  const each = shown.map((one) => {
    const last = one.pieces.at(-1);
    const count = holes(one, plot.from, end).length;
    const lost = count === 1 ? "1 hole" : `${count} holes`;
    return `${one.name} last at ${tenths(last.high)} °C at ${clock(last.to, end)}, ${lost}`;
  });
  return `Chart: ${each.join("; ")}.`;
}
