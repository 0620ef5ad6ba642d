/* The bench sheet while others work on it: fragments come in and nothing is taken from whoever reads or types. */
"use strict";

/* A fragment in which somebody is typing, or a row with a number typed and not sent, stays as it is. What moved is said
   once: the same words again are no news. */
document.addEventListener("htmx:oobBeforeSwap", (event) => {
  const target = event.detail.target;
  const active = document.activeElement;
  const typing = active && target.contains(active) && active.matches("input:not([type=checkbox], [type=radio]), textarea, select") && active.value !== active.defaultValue;
  const volts = target.classList.contains("pin-gives") && target.closest("form")?.querySelector("input[data-volts]");
  const said = target.id === "changed" && tokenOf(target) === tokenOf(event.detail.fragment);
  if (typing || said || (volts && volts.value.trim() !== "")) event.detail.shouldSwap = false;
  else for (const fold of target.querySelectorAll("details[id]")) folds.set(fold.id, fold.open);
});
const tokenOf = (part) => part.querySelector("[data-token]")?.dataset.token;
const folds = new Map();
const unfoldAgain = () => {
  for (const [id, open] of folds) {
    const fold = document.getElementById(id);
    if (fold && fold.open !== open) fold.open = open;
  }
  folds.clear();
};
document.addEventListener("htmx:oobAfterSwap", unfoldAgain);

document.addEventListener("htmx:beforeSwap", (event) => {
  if (!event.detail.target?.matches("[data-redraw]")) return;
  for (const fold of event.detail.target.querySelectorAll("details[id]")) folds.set(fold.id, fold.open);
});
document.addEventListener("htmx:afterSwap", (event) => event.detail.target?.matches("[data-redraw]") && unfoldAgain());

/* Drawings come when they are unfolded, and again when the sheet has changed meanwhile. */
const redraw = (fold) => {
  const place = fold?.open && fold.querySelector("[data-redraw]");
  if (place) htmx.trigger(place, "redraw");
};
document.addEventListener("toggle", (event) => event.target.id === "drawings-fold" && redraw(event.target), true);
document.addEventListener("sheet-changed", () => redraw(document.getElementById("drawings-fold")));
