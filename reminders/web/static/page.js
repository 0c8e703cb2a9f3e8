// What only a live page can do: it looks whether it is still right, and counts seconds. Everything else works without it.
"use strict";

const words = (element, values) =>
  element.dataset.words.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? values[name] : whole));

// --- Timers ---

const said = document.getElementById("timer-said");

for (const button of document.querySelectorAll("button.timer")) {
  const first = button.textContent;
  const seconds = Number(button.dataset.seconds);
  let ticking = 0;
  const show = (left) => button.dataset.running.replace("{left}", String(left));
  const stop = () => {
    clearInterval(ticking);
    ticking = 0;
  };
  button.hidden = false;
  button.addEventListener("click", () => {
    if (ticking) {
      stop();
      button.textContent = first;
      said.textContent = "";
      return;
    }
    const ends = performance.now() + seconds * 1000;
    let last = seconds;
    button.textContent = show(seconds);
    said.textContent = show(seconds);
    ticking = setInterval(() => {
      const left = Math.ceil((ends - performance.now()) / 1000);
      if (left === last) return;
      last = left;
      if (left > 0) {
        button.textContent = show(left);
        if (left % 10 === 0) said.textContent = show(left); // often enough to know, seldom enough to bear
        return;
      }
      stop();
      button.textContent = button.dataset.done;
      said.textContent = button.dataset.done;
    }, 100);
  });
}

// --- Enter in a field of a card: what happened is said by a button ---

document.addEventListener("keydown", (event) => {
  const form = event.key === "Enter" && event.target instanceof HTMLInputElement && event.target.closest("form.say");
  const nothing = form && form.querySelector("button.nothing");
  if (!nothing) return;
  event.preventDefault();
  let told = form.querySelector(".unsaid");
  if (!told) {
    told = document.createElement("p");
    told.className = "fault unsaid";
    told.setAttribute("role", "alert");
    form.append(told);
  }
  told.textContent = nothing.dataset.words;
});

// --- A page that stays open ---

const now = document.getElementById("now");
const old = document.getElementById("old");
const moved = document.getElementById("moved");

if (now && old && moved) {
  let shown = now.dataset.shown;
  let answered = "";
  let asking = false;

  // Half a report must not be lost, nor the place of whoever goes through the page by keyboard or hears it read.
  const busy = () => {
    const at = document.activeElement;
    if (at && at !== document.body && now.contains(at) && at.matches("input, select, button, summary, a")) return true;
    if (now.querySelector("details[open]")) return true;
    return [...now.querySelectorAll("input, select")].some((field) => {
      if (field.type === "hidden") return false;
      if (field.tagName === "SELECT") return field.selectedIndex > 0;
      return field.value !== field.defaultValue;
    });
  };

  const redraw = async () => {
    const answer = await fetch("./", { cache: "no-store" });
    if (!answer.ok) throw new Error(String(answer.status));
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.getElementById("now");
    if (busy()) return false;
    now.replaceChildren(...fresh.childNodes);
    shown = now.dataset.shown = fresh.dataset.shown;
    return true;
  };

  const look = async () => {
    if (asking) return;
    asking = true;
    try {
      const answer = await fetch("state", { cache: "no-store", signal: AbortSignal.timeout(10000) });
      if (!answer.ok) throw new Error(String(answer.status));
      const state = await answer.json();
      answered = state.clock;
      old.hidden = true;
      if (state.shown !== shown) {
        const drawn = !busy() && (await redraw());
        moved.hidden = drawn;
        if (!drawn) {
          const notice = moved.querySelector("[data-words]");
          if (!notice.textContent) notice.textContent = notice.dataset.words;
        }
      }
      const clock = document.getElementById("clock");
      if (clock) clock.textContent = words(clock, { clock: state.clock });
      const looked = document.getElementById("looked");
      if (looked && state.looked) looked.textContent = words(looked, { ago: state.looked });
    } catch {
      const text = words(old, { clock: answered || now.dataset.clock });
      if (old.hidden || old.textContent !== text) {
        old.hidden = false;
        old.textContent = text;
      }
    } finally {
      asking = false;
    }
  };

  setInterval(look, Number(now.dataset.every) * 1000);
  document.addEventListener("visibilitychange", () => document.hidden || look());
  window.addEventListener("pageshow", (event) => event.persisted && location.reload());
}

// --- What was wrong in a form is what is read first ---

const faults = document.getElementById("faults");
if (faults) faults.focus();
