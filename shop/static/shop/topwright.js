/* Small conveniences on top of pages that work without any of this. */
"use strict";

const messages = () => document.getElementById("messages");

function say(templateId) {
  const template = document.getElementById(templateId);
  if (!template || !messages()) return;
  messages().replaceChildren(template.content.cloneNode(true));
  arm(messages());
}

/* Things that only make sense with JavaScript are hidden in the markup and shown here. */
function arm(root) {
  for (const button of root.querySelectorAll("[data-close][hidden]")) button.hidden = false;
  for (const tour of root.querySelectorAll("[data-tour]:not([data-armed])")) armTour(tour);
}

function armTour(tour) {
  tour.dataset.armed = "1";
  const steps = [...tour.querySelectorAll(".tour-step")];
  let at = 0;
  const show = (next, focus) => {
    at = Math.max(0, Math.min(steps.length - 1, next));
    steps.forEach((step, index) => { step.hidden = index !== at; });
    tour.querySelector("[data-tour-back]").hidden = at === 0;
    tour.querySelector("[data-tour-next]").hidden = at === steps.length - 1;
    if (focus) steps[at].querySelector("h2").focus();
  };
  tour.querySelector("[data-tour-back]").addEventListener("click", () => show(at - 1, true));
  tour.querySelector("[data-tour-next]").addEventListener("click", () => show(at + 1, true));
  tour.addEventListener("keydown", (event) => {
    if (event.key === "ArrowRight") show(at + 1, true);
    if (event.key === "ArrowLeft") show(at - 1, true);
    if (event.key === "Escape") tour.querySelector("form").requestSubmit();
  });
  show(0, false);
}

document.addEventListener("click", (event) => {
  const close = event.target.closest("[data-close]");
  if (close) close.closest(".toast").remove();
  for (const menu of document.querySelectorAll("details.who[open]")) {
    if (!menu.contains(event.target)) menu.open = false;
  }
});

document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  const found = document.getElementById("found");
  if (found) found.replaceChildren();
  for (const menu of document.querySelectorAll("details.who[open]")) {
    menu.open = false;
    menu.querySelector("summary").focus();
  }
});

document.addEventListener("input", (event) => {
  if (event.target.id === "find" && event.target.value.trim() === "") document.getElementById("found").replaceChildren();
});

document.addEventListener("htmx:afterSwap", (event) => arm(event.target));
document.addEventListener("htmx:sendError", () => say("words-lost"));
document.addEventListener("htmx:timeout", () => say("words-lost"));
document.addEventListener("htmx:responseError", () => say("words-failed"));
document.addEventListener("DOMContentLoaded", () => arm(document));
