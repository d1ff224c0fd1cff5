/* At the review desk: how long the page was in sight, keys from one attempt to the next, phrases that go
   straight into the feedback. Everything works without. */
"use strict";

(() => {
  const form = document.querySelector("form.decide");
  const feedback = form && form.querySelector("textarea[name=feedback]");

  timeInSight(form && form.querySelector("[name=visible_seconds]"));
  if (feedback) phrasesInto(feedback);
  keys();

  /* Seconds are kept for the tab, by address: going on to the next attempt and back again adds up. */
  function timeInSight(field) {
    if (!field) return;
    const name = `in-sight ${location.pathname}`;
    let seconds = Number(field.value) || Number(sessionStorage.getItem(name)) || 0;
    let since = document.visibilityState === "visible" ? performance.now() : null;
    const count = () => {
      if (since !== null) {
        seconds += (performance.now() - since) / 1000;
        since = performance.now();
      }
      field.value = String(Math.round(seconds));
      sessionStorage.setItem(name, field.value);
    };
    document.addEventListener("visibilitychange", () => {
      count();
      since = document.visibilityState === "visible" ? performance.now() : null;
    });
    addEventListener("pagehide", count);
    field.form.addEventListener("submit", count);
  }

  /* A phrase that is ticked stands in the feedback at once; the site adds none that stands there already. */
  function phrasesInto(area) {
    for (const [number, box] of [...form.querySelectorAll("[data-phrase]")].entries()) {
      const words = box.nextElementSibling;
      const text = words.textContent.trim();
      if (number < 9) {
        const key = document.createElement("kbd");
        key.textContent = String(number + 1);
        key.setAttribute("aria-hidden", "true");
        box.after(key);
      }
      box.addEventListener("change", () => {
        const lines = area.value.split("\n").filter((line) => line.trim() !== "");
        const others = lines.filter((line) => line.trim() !== text);
        area.value = (box.checked ? [...others, text] : others).join("\n");
      });
    }
  }

  function keys() {
    const list = document.querySelector(".keys");
    if (!list) return;
    list.hidden = false;
    const on = list.querySelector("[data-keys]");
    on.checked = localStorage.getItem("review-keys") !== "off";
    on.addEventListener("change", () => localStorage.setItem("review-keys", on.checked ? "on" : "off"));
    const ACTS = {
      n: () => follow("next"),
      p: () => follow("prev"),
      c: () => choose("competent"),
      x: () => choose("not-yet-competent"),
      f: () => goTo(feedback),
      s: () => goTo(form && form.querySelector("[type=submit]")),
      "?": () => {
        list.open = !list.open;
        list.querySelector("summary").focus();
      },
    };
    document.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
      if (event.key === "Escape" && isTyping(event.target)) {
        event.target.blur();
        return;
      }
      if (!on.checked || isTyping(event.target)) return;
      const act = ACTS[event.key] || (/^[1-9]$/.test(event.key) && (() => phrase(Number(event.key))));
      if (act && act() !== false) event.preventDefault();
    });
  }

  function isTyping(target) {
    return target.matches("textarea, select, input:not([type=radio], [type=checkbox])");
  }

  function follow(rel) {
    const link = document.querySelector(`.place a[rel=${rel}]`);
    if (!link) return false;
    link.click();
    return true;
  }

  function choose(value) {
    const radio = form && form.querySelector(`[name=decision][value=${value}]`);
    if (!radio) return false;
    radio.checked = true;
    radio.focus();
    return true;
  }

  function phrase(number) {
    const box = form && form.querySelectorAll("[data-phrase]")[number - 1];
    if (!box) return false;
    box.click();
    box.focus();
    return true;
  }

  function goTo(element) {
    if (!element) return false;
    element.focus();
    return true;
  }
})();
