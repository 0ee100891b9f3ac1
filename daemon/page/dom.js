// The page is changed in place: what has not changed is not touched, so that a finger,
// a keyboard's focus or a screen reader is not thrown off each second.

import { glued } from "./words.js";

/** A new element with a class and children. */
export function make(tag, className = "", ...children) {
  const node = document.createElement(tag);
  if (className) node.className = className;
  node.append(...children);
  return node;
}

/** A new SVG element with attributes. */
export function draw(tag, attributes = {}, ...children) {
  const node = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, text] of Object.entries(attributes)) node.setAttribute(name, text);
  node.append(...children);
  return node;
}

/** One of the shapes in index.html; a word beside it says the same. */
export function shape(name) {
  const use = draw("use", { href: `#shape-${name}` });
  return draw("svg", { class: "shape", "aria-hidden": "true" }, use);
}

/** Show another shape in the same place. */
export function reshape(svg, name) {
  const href = `#shape-${name}`;
  const use = svg.firstElementChild;
  if (use.getAttribute("href") !== href) use.setAttribute("href", href);
}

/** Put text where it differs, and hide what has nothing to say. */
export function say(node, words) {
  const text = glued(words);
  if (node.textContent !== text) node.textContent = text;
  node.hidden = text === "";
}

/** Set a class list where it differs. */
export function dress(node, className) {
  if (node.getAttribute("class") !== className) node.setAttribute("class", className);
}

/** Keep one child an item, in the items' order: made once, updated after. */
export function keep(parent, items, keyOf, build, update) {
  const focused = document.activeElement;
  const old = new Map([...parent.children].map((node) => [node.dataset.key, node]));
  let place = parent.firstElementChild;
  for (const item of items) {
    const key = String(keyOf(item));
    const node = old.get(key) ?? build(item);
    node.dataset.key = key;
    old.delete(key);
    update(node, item);
    if (node === place) place = place.nextElementSibling;
    else parent.insertBefore(node, place);
  }
  for (const node of old.values()) node.remove();
  if (focused !== document.activeElement && focused?.isConnected) focused.focus();
}
