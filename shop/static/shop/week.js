/* Bookings on the scale of hours: moved by pointer or by arrow keys, placed by the same form as without this. */
"use strict";

document.addEventListener("DOMContentLoaded", () => {
  const week = document.querySelector("[data-week]");
  if (!week) return;
  const HOUR = 48, QUARTER = HOUR / 4, FIRST = Number(week.dataset.firstHour) * 60;
  const form = document.getElementById("wk-move"), said = document.getElementById("wk-said");
  const days = [...new Set([...week.querySelectorAll(".wk-day")].map((one) => one.dataset.day))];
  const rows = [...new Set([...week.querySelectorAll(".wk-day")].map((one) => one.dataset.row))];
  const column = (row, day) => week.querySelector(`.wk-day[data-row="${row}"][data-day="${day}"]`);
  document.getElementById("wk-help").hidden = false;
  let held = null;  // the booking that is being moved, and where to
  let grabbed = null;  // what the pointer is down on

  const clock = (minutes) => `${String(Math.floor(minutes / 60)).padStart(2, "0")}:${String(minutes % 60).padStart(2, "0")}`;
  const minuteOf = (text) => Number(text.slice(11, 13)) * 60 + Number(text.slice(14, 16));

  /* What is moved is a likeness: the booking itself stays where it is until the server has placed it. */
  function take(block) {
    const home = block.parentNode, day = home.parentNode, likeness = home.cloneNode(true);
    likeness.firstElementChild.removeAttribute("id");
    likeness.firstElementChild.removeAttribute("tabindex");
    likeness.classList.add("wk-held");
    home.classList.add("wk-left");
    return { block, home, likeness, day, row: day.dataset.row, on: day.dataset.day, minute: minuteOf(block.dataset.start) };
  }

  function show() {
    held.likeness.setAttribute("x", 0);
    held.likeness.setAttribute("width", "100%");
    held.likeness.setAttribute("y", (held.minute - FIRST) / 60 * HOUR);
    column(held.row, held.on).append(held.likeness);
  }

  function back() {
    held.likeness.remove();
    held.home.classList.remove("wk-left");
    held = null;
  }

  function moved() {
    return held.row !== held.day.dataset.row || held.on !== held.day.dataset.day || held.minute !== minuteOf(held.block.dataset.start);
  }

  function place() {
    if (!moved()) return back();
    const data = held.block.dataset, people = week.dataset.by === "people";
    const values = { bay: people ? data.bay : held.row, person: people ? (held.row === "0" ? "" : held.row) : data.person,
                     day: held.on, start: clock(held.minute), hours: Number(data.minutes) / 60, seen: data.seen };
    for (const [name, value] of Object.entries(values)) form.elements[name].value = value;
    form.action = data.booking;
    form.submit();
  }

  const bounded = (minute) => Math.max(0, Math.min(24 * 60 - 15, minute));

  for (const block of week.querySelectorAll("[data-booking]")) {
    block.setAttribute("tabindex", "0");
    block.setAttribute("role", "button");
    block.addEventListener("dblclick", () => { location.href = block.dataset.booking; });
    block.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      if (held) back();
      grabbed = { block, x: event.clientX, y: event.clientY, below: event.clientY - block.getBoundingClientRect().top };
    });
    block.addEventListener("keydown", (event) => {
      const along = { ArrowUp: -1, ArrowDown: 1, ArrowLeft: -1, ArrowRight: 1 }[event.key];
      if (event.key === "Enter") { if (held) place(); else location.href = block.dataset.booking; }
      if (event.key === "Escape" && held) { back(); said.textContent = ""; }
      if (!along) return;
      event.preventDefault();
      held ??= take(block);
      const list = event.shiftKey ? rows : days, name = event.shiftKey ? "row" : "on";
      if (!event.shiftKey && event.key.match(/Up|Down/)) held.minute = bounded(held.minute + 15 * along);
      else held[name] = list[Math.max(0, Math.min(list.length - 1, list.indexOf(held[name]) + along))];
      show();
      said.textContent = `${column(held.row, held.on).dataset.name}, ${held.on}, ${clock(held.minute)}`;
    });
  }

  document.addEventListener("pointermove", (event) => {
    if (!grabbed || (!held && Math.hypot(event.clientX - grabbed.x, event.clientY - grabbed.y) < 6)) return;
    held ??= take(grabbed.block);
    const under = document.elementsFromPoint(event.clientX, event.clientY).map((one) => one.closest(".wk-day")).find(Boolean);
    if (!under) return;
    const y = event.clientY - grabbed.below - under.getBoundingClientRect().top;
    held.row = under.dataset.row;
    held.on = under.dataset.day;
    held.minute = bounded(FIRST + Math.round(y / QUARTER) * 15);
    show();
  });
  document.addEventListener("pointerup", () => { if (grabbed && held) place(); grabbed = null; });
  document.addEventListener("pointercancel", () => { if (grabbed && held) back(); grabbed = null; });

  const named = location.hash.match(/^#b\d+$/) && document.getElementById(location.hash.slice(1));
  if (named) named.focus();
});
