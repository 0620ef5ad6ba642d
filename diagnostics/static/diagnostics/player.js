/* The arrow keys go from step to step: they follow the links that stand on the page, outside of fields. */
"use strict";

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.shiftKey || event.isComposing) return;
  if (event.target.closest("input, select, textarea, [role=region]")) return;
  const link = { ArrowLeft: "step-back", ArrowRight: "step-on" }[event.key];
  const found = link && document.getElementById(link);
  if (!found) return;
  event.preventDefault();
  found.click();
});
