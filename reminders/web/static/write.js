// The form is sent after each change, and what comes of it is put beside its fields. Everything else works without it.
"use strict";

const form = document.getElementById("written");

const faults = document.getElementById("faults");
if (faults) faults.focus();

if (form) {
  const old = document.getElementById("old");
  const older = document.getElementById("older");
  const WAIT = 500; // milliseconds after the last key; shorter would check half a word
  let waiting = 0;
  let asking = false;
  let again = false;
  let stale = false;
  let leaving = false;

  const tell = (words) => {
    if (old.textContent === words) return;
    old.textContent = words;
    old.hidden = !words;
  };

  const counted = () => {
    form.elements.seq.value = String(Number(form.elements.seq.value) + 1);
  };

  const typed = () => {
    const data = new FormData(form);
    data.delete("provider");
    // What changes the fields themselves waits for a button.
    for (const name of [...data.keys()]) if (name.startsWith("new:") || name.startsWith("name:")) data.delete(name);
    data.set("do", "check");
    return data;
  };

  // What the answer says is put in its place; fields themselves are left to whoever types in them.
  const renew = (page) => {
    for (const place of document.querySelectorAll("[data-live]")) {
      const fresh = page.getElementById(place.id);
      if (!fresh || fresh.innerHTML === place.innerHTML) continue;
      const opened = [...place.querySelectorAll("details")].map((inner) => inner.open);
      place.replaceChildren(...fresh.childNodes);
      place.querySelectorAll("details").forEach((inner, at) => (inner.open = Boolean(opened[at])));
    }
    for (const field of form.querySelectorAll("input[id], select[id], textarea[id]")) {
      const fresh = page.getElementById(field.id);
      if (fresh) field.toggleAttribute("aria-invalid", fresh.hasAttribute("aria-invalid"));
      if (field.hasAttribute("aria-invalid")) field.setAttribute("aria-invalid", "true");
    }
    const fits = new Map([...page.querySelectorAll("[data-field]")].map((one) => [one.dataset.field, !one.hidden]));
    for (const place of form.querySelectorAll("[data-field]")) {
      if (fits.has(place.dataset.field) && !place.contains(document.activeElement)) place.hidden = !fits.get(place.dataset.field);
    }
    const plan = page.getElementById("written");
    form.elements.version.value = plan.elements.version.value;
  };

  // A date that is half typed is no date to a browser: it sends nothing, so this is said here.
  const halves = () => {
    for (const field of form.querySelectorAll("input[type=date], input[type=datetime-local], input[type=time]")) {
      const place = document.getElementById(`at:${field.name}`);
      if (!place || !field.validity.badInput) continue;
      const said = document.createElement("span");
      said.className = "said error";
      said.textContent = form.dataset.half;
      place.replaceChildren(said);
      field.setAttribute("aria-invalid", "true");
    }
  };

  const settled = () => form.toggleAttribute("data-sent", !waiting && !asking && !again);

  const send = async () => {
    clearTimeout(waiting);
    waiting = 0;
    if (stale || leaving) return;
    if (asking) {
      again = true;
      return;
    }
    asking = true;
    again = false;
    counted();
    try {
      const answer = await fetch(form.action, { method: "POST", body: typed(), cache: "no-store" });
      if (answer.status === 409) {
        stale = true;
        tell(old.dataset.older);
        older.hidden = false;
        return;
      }
      if (!answer.ok) throw new Error(String(answer.status));
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (!page.getElementById("written")) {
        location.reload(); // it was finished on another page
        return;
      }
      renew(page);
      halves();
      tell("");
    } catch {
      if (!leaving) tell(old.dataset.words);
    } finally {
      asking = false;
      if (again) send();
      settled();
    }
  };

  const soon = () => {
    clearTimeout(waiting);
    waiting = setTimeout(send, WAIT);
    settled();
  };

  const waits = (field) => field.type === "file" || field.name.startsWith("new:") || field.name.startsWith("name:");
  form.addEventListener("input", (event) => waits(event.target) || soon());
  form.addEventListener("change", (event) => waits(event.target) || soon());

  form.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !(event.target instanceof HTMLInputElement) || event.target.type === "file") return;
    event.preventDefault();
    const adds = event.target.closest(".adder");
    const only = adds && adds.querySelectorAll("button");
    if (only && only.length === 1) only[0].click();
    else if (!adds) send();
  });

  form.addEventListener("submit", (event) => {
    if (event.submitter && event.submitter.value === "check" && !stale) {
      event.preventDefault();
      send().then(() => document.getElementById("missing").focus());
      return;
    }
    leaving = true;
    clearTimeout(waiting);
    counted();
  });

  // Half a second of typing must not be lost with the window.
  document.addEventListener("visibilitychange", () => {
    if (document.hidden && waiting) send();
  });
  window.addEventListener("pagehide", () => {
    if (!waiting || leaving || stale) return;
    counted();
    fetch(form.action, { method: "POST", body: typed(), keepalive: true });
  });
  window.addEventListener("pageshow", (event) => event.persisted && location.reload());

  const decoded = (mark) => {
    try {
      return decodeURIComponent(mark);
    } catch {
      return mark;
    }
  };

  // A link to a field leads into it, also where it lies under "more".
  const into = () => {
    const mark = location.hash.slice(1);
    const place = document.getElementById(mark) || document.getElementById(decoded(mark));
    if (!place) return;
    for (let outer = place.closest("details"); outer; outer = outer.parentElement.closest("details")) outer.open = true;
    place.scrollIntoView({ block: "center" });
    const field = place.matches("input, select, textarea, [tabindex]") ? place : place.querySelector("input:not([type=hidden]), select, textarea");
    if (field) field.focus({ preventScroll: true });
  };
  window.addEventListener("hashchange", into);
  document.addEventListener("click", (event) => {
    const link = event.target.closest && event.target.closest("a[href^='#']");
    if (link && link.getAttribute("href") === location.hash) into();
  });
  // Not before the browser has gone there itself, which takes the focus away again.
  if (location.hash.length > 1) window.addEventListener("load", () => setTimeout(into, 0));
}
