// What a person writes: an acknowledgement, a note, a corrective action.  It counts as
// written only when the daemon has answered with the number of the entry.

import { say } from "./dom.js";

const KEPT = "initials";
const dialog = document.getElementById("initials");
const form = document.getElementById("initials-form");
const field = document.getElementById("initials-who");

/** The initials kept on this device, or nothing. */
export const initials = () => localStorage.getItem(KEPT) ?? "";

/** The initials, asked for where there are none yet; nothing if the person declines. */
export async function askInitials(anew = false) {
  if (initials() && !anew) return initials();
  field.value = initials();
  dialog.showModal();
  field.focus();
  return new Promise((answer) => {
    dialog.addEventListener("close", () => answer(dialog.returnValue ? initials() : ""), { once: true });
  });
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  const who = field.value.trim();
  if (!who) return;
  localStorage.setItem(KEPT, who);
  dialog.close("kept");
  window.dispatchEvent(new Event("initials"));
});
document.getElementById("initials-no").addEventListener("click", () => dialog.close(""));
dialog.addEventListener("cancel", () => (dialog.returnValue = ""));

/** Send an entry; answers its number. Throws an Error with words for a person. */
export async function write(path, body) {
  let answer;
  try {
    answer = await fetch(path, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(body),
      signal: AbortSignal.timeout(15_000),
    });
  } catch {
    throw new Error("NOT written, as far as is known: the daemon did not answer. Press again.");
  }
  const said = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error(said.refused ?? `NOT written: answer ${answer.status}`);
  return said.entry;
}

/** Write once what a form holds, by whoever gives initials, and say its number. */
export function whenSent(form, button, outcome, send) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const who = await askInitials();
    if (!who || button.disabled) return;
    button.disabled = true;
    try {
      say(outcome, `Written down as entry ${await send(who)}.`);
    } catch (error) {
      say(outcome, error.message);
    }
    button.disabled = false;
  });
}
