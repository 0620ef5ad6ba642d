/* The bench sheet under the hands of a technician. The page works without any of this; with it
   - Enter in a reading saves it and goes on to the next pin;
   - every entry is kept on this device until the shop's computer has answered for it, so that a lost connection loses nothing. Each
     carries an id made here: sent twice, it is kept once;
   - fragments that change while somebody types never take the field away. */
"use strict";

const KEPT = "topwright-entries";
const AGAIN_MS = 3000;
const box = document.getElementById("waiting");
let sending = false;
let timer = 0;
let focusNext = null;

/* Where the browser lets nothing be stored, or no more, entries are kept on the page alone and sent from there. */
let onPage = null;
const everybodys = () => {
  if (onPage) return onPage;
  try { return JSON.parse(localStorage.getItem(KEPT) || "[]"); } catch { return []; }
};
const store = (entries) => {
  try { localStorage.setItem(KEPT, JSON.stringify(entries)); onPage = null; } catch { onPage = entries; }
};
/* A tablet goes from hand to hand: what one person entered is never sent in another's name. */
const kept = () => everybodys().filter((entry) => entry.who === box.dataset.who);
const keep = (entry) => store([...everybodys(), entry]);
const drop = (id) => store(everybodys().filter((entry) => entry.id !== id));
const token = () => document.querySelector("input[name=csrfmiddlewaretoken]").value;

/* crypto.randomUUID exists on secure pages only; a tablet in the shop may come over plain http. */
function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

/* Where an entry's fate is told: beside its own field. */
function tell(entry, words, isError) {
  const form = document.getElementById(entry.form);
  const row = form && (form.querySelector("[data-said]") || form.closest("li")?.querySelector("[data-said]"));
  const place = row || (isError ? document.getElementById("said") : null);
  if (!place) return;
  place.replaceChildren();
  if (!words) return;
  const line = document.createElement("p");
  line.className = isError ? "error" : "tag tag-wait";
  line.textContent = row ? words : `${entry.label} ${entry.shown}: ${words}`;
  place.append(line);
}

function said(entries, why) {
  box.hidden = entries.length === 0 || !why;
  if (!box.hidden) {
    const list = entries.map((entry) => `${entry.label} ${entry.shown}`.trim()).join(" · ");
    const line = document.createElement("p");
    line.textContent = `${why} ${list}`;
    box.replaceChildren(line);
  }
}

function later() {
  clearTimeout(timer);
  timer = setTimeout(pump, AGAIN_MS);
}

/* Put what was refused back into its form, unless something new stands there already. */
function giveBack(entry) {
  const form = document.getElementById(entry.form);
  if (!form) return;
  for (const [name, value] of entry.fields) {
    const field = form.elements.namedItem(name);
    const empty = field instanceof RadioNodeList || (field instanceof HTMLInputElement && field.type === "text");
    if (empty && field.value === "") field.value = value;
  }
}

async function send(entry) {
  const body = new URLSearchParams(entry.fields);
  body.set("csrfmiddlewaretoken", token());
  const headers = { "HX-Request": "true", "HX-Current-URL": location.href };
  const response = await fetch(entry.url, { method: "POST", body, headers, credentials: "same-origin" });
  if (response.redirected || response.headers.has("HX-Redirect")) return { why: box.dataset.signin };
  const text = await response.text();
  if (response.ok) return { text };
  const refusal = new DOMParser().parseFromString(text, "text/html").querySelector("[data-words]");
  if (refusal) return { refused: refusal.textContent };
  return { why: box.dataset.failed };
}

/* One at a time and in order, so that two readings of one pin stay in the order in which they were read. */
async function pump() {
  if (sending) return;
  sending = true;
  let why = "";
  for (let entry = kept()[0]; entry && !why; entry = kept()[0]) {
    try {
      const answer = await send(entry);
      if (answer.why) { why = answer.why; break; }
      drop(entry.id);
      tell(entry, answer.refused ? `${box.dataset.refused} ${answer.refused}` : "", true);
      if (answer.refused) giveBack(entry);
      else if (entry.page === location.pathname) {
        htmx.swap(document.getElementById("bench"), answer.text, { swapStyle: "none" });
        document.body.dispatchEvent(new Event("sheet-changed"));
      }
    } catch {
      why = box.dataset.lost;
    }
  }
  sending = false;
  if (why) for (const entry of kept()) tell(entry, box.dataset.row, false);
  said(kept(), why);
  if (kept().length) later();
}

function shown(group, submitter) {
  const typed = [...group.querySelectorAll("input:not([type=hidden], [type=radio])")].map((field) => field.value).filter(Boolean);
  const chosen = group.querySelector("input[type=radio]:checked");
  if (chosen) typed.unshift(chosen.closest("label").textContent.trim());
  if (group.querySelectorAll("button").length > 1 && submitter) typed.push(submitter.textContent.trim());
  return typed.join(" / ");
}

function goOn(form) {
  const fields = [...document.querySelectorAll("input[data-volts]")];
  const at = fields.indexOf(form.querySelector("input[data-volts]"));
  if (at >= 0 && fields[at + 1]) fields[at + 1].focus();
}

/* A row is one form with several groups, each with its own button: the button says which fields count, and only they are emptied. */
document.addEventListener("submit", (event) => {
  const form = event.target.closest("form[data-entry]");
  if (!form) return;
  event.preventDefault();
  const submitter = event.submitter || form.querySelector("button");
  const group = submitter.closest("[data-group]") || form;
  const volts = group.querySelector("input[data-volts]");
  if (volts && volts.value.trim() === "") return goOn(form);
  const id = newId();
  const data = new FormData(form, submitter);
  data.delete("csrfmiddlewaretoken");
  data.set("entry_id", id);
  const entry = { id, who: box.dataset.who, url: form.action, page: location.pathname, form: form.id, label: form.dataset.label, shown: shown(group, submitter), fields: [...data] };
  keep(entry);
  for (const field of group.querySelectorAll("input:not([type=hidden], [type=radio], [data-keep])")) field.value = "";
  for (const field of group.querySelectorAll("input[type=radio]")) field.checked = false;
  tell(entry, box.dataset.sending, false);
  if (volts) goOn(form);
  pump();
});

/* Enter belongs to the group that it was pressed in, not to the first button of the row. */
document.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || !event.target.matches("form[data-entry] [data-group] input")) return;
  event.preventDefault();
  event.target.form.requestSubmit(event.target.closest("[data-group]").querySelector("button"));
});

/* "Do it": open what hides the field and put the cursor there. */
function focusOn(id) {
  const field = document.getElementById(id);
  if (!field) return;
  for (let fold = field.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  if (field instanceof HTMLDetailsElement) field.open = true;
  field.scrollIntoView({ block: "center" });
  (field instanceof HTMLDetailsElement ? field.querySelector("summary") : field).focus({ preventScroll: true });
}

/* What was undone stands in its fields again, as it was typed. */
function typeAgain(form, typed) {
  for (const [name, value] of Object.entries(typed)) {
    const field = form.elements.namedItem(name);
    if (field && field.type !== "hidden" && name !== "check") field.value = value;
  }
}

/* A field that is not on the page yet is reached the plain way: the link loads the page with it. */
document.addEventListener("click", (event) => {
  const link = event.target.closest("a[data-focus]");
  const field = link && document.getElementById(link.dataset.focus);
  if (!field) return;
  event.preventDefault();
  if (link.dataset.typed) typeAgain(field.closest("form") || field.querySelector("form"), JSON.parse(link.dataset.typed));
  focusOn(link.dataset.focus);
});

document.addEventListener("htmx:configRequest", (event) => {
  if (event.detail.verb !== "post") return;
  const form = event.target.closest("form[data-focus]");
  const pressed = document.activeElement;
  const undone = event.target.id === "undo-form" && pressed.form === event.target;
  const row = undone && pressed.closest("li[id]")?.id.replace("pin-", "again-");
  focusNext = form ? () => form.dataset.focus : event.target.matches("form[data-now]") ? firstUnread : undone ? () => row || "redo" : null;
});
document.addEventListener("htmx:afterRequest", (event) => {
  if (event.detail.requestConfig.verb !== "post" || !focusNext) return;
  const next = focusNext;
  focusNext = null;
  // A refusal swaps its sentence in and so is a success to htmx; the cursor stays at the mistake.
  if (event.detail.xhr.status < 400) setTimeout(() => focusOn(next()), 0);
});

/* After the supply or the pose is set: on to the first pin that has no reading in this pose. */
function firstUnread() {
  const supply = document.getElementById("supply");
  if (supply && supply.value.trim() === "") return "";
  const fields = [...document.querySelectorAll("input[data-volts]")];
  const unread = fields.find((field) => !document.querySelector(`#${field.id.replace("volts", "verdict")} [data-read]`));
  return unread ? unread.id : "";
}

window.addEventListener("online", pump);
window.addEventListener("beforeunload", (event) => {
  const typed = [...document.querySelectorAll("input[data-volts]")].some((field) => field.value.trim() !== "" && field.value !== field.defaultValue);
  if (typed || onPage?.length) event.preventDefault();
});
pump();
