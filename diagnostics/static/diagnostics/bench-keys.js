/* Keys for hands that hold probes. They work outside of fields, and in a field for a number while it is empty: there no
   letter means anything. They can be switched off, for whoever speaks to the machine. */
"use strict";

const OFF = "topwright-keys-off";
const panel = document.getElementById("keys");
const opener = document.getElementById("keys-open");
const switched = document.getElementById("keys-on");
/* Where the browser lets nothing be stored the choice lasts as long as the page. */
const storing = (use) => { try { return use(); } catch { return null; } };
switched.checked = !storing(() => localStorage.getItem(OFF));
switched.addEventListener("change", () => storing(() => {
  if (switched.checked) localStorage.removeItem(OFF);
  else localStorage.setItem(OFF, "1");
}));
if (opener) {
  opener.hidden = false;
  opener.addEventListener("click", () => panel.showModal());
}

function meansSomething(field) {
  if (!field.matches("input:not([type=checkbox], [type=radio]), textarea, select")) return false;
  return !(field.inputMode === "decimal" && field.value === "");
}

/* Only a check that stands ready is gone to; where the top has to be moved first, a person says that it stands there. */
function toNext() {
  const first = document.querySelector("#next a[data-focus], #next form[data-focus] button");
  if (!first) return;
  if (first.matches("a")) first.click();
  else reach(first);
}

function reach(element) {
  if (!element) return;
  element.scrollIntoView({ block: "center" });
  element.focus({ preventScroll: true });
}

const poses = () => [...document.querySelectorAll(".bench-poses button")];
const ACTS = {
  "?": () => panel.showModal(),
  n: toNext,
  p: () => reach(poses().find((button) => button.getAttribute("aria-pressed") === "true") || poses()[0]),
  u: () => document.getElementById("undo")?.click(),
  r: () => document.getElementById("redo")?.click(),
  s: () => reach(document.querySelector("#suspects summary")),
};

function along(list, here, step) {
  const next = list[list.indexOf(here) + step];
  if (next) reach(next);
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing || panel.open) return;
  const here = event.target;
  const step = { ArrowDown: 1, ArrowRight: 1, ArrowUp: -1, ArrowLeft: -1 }[event.key];
  if (step && here.matches("input[data-volts]") && ["ArrowDown", "ArrowUp"].includes(event.key)) {
    event.preventDefault();
    along([...document.querySelectorAll("input[data-volts]")], here, step);
  } else if (step && here.matches(".bench-poses button")) {
    event.preventDefault();
    along(poses(), here, step);
  } else if (switched.checked && Object.hasOwn(ACTS, event.key) && !meansSomething(here)) {
    event.preventDefault();
    ACTS[event.key]();
  }
});
