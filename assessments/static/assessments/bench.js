/* On the bench's pages: keeps what is needed to go on without a network, sends what waits, and says what is
 * saved where. Every page works without it. */
"use strict";

self.bench = (() => {
  const AGAIN = 20_000;
  const line = document.getElementById("bench-saved");

  const clock = (at) => at.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });

  function sentAt(at) {
    if (at === null) return "";
    const today = at.toDateString() === new Date().toDateString();
    const on = today ? "" : `${at.toLocaleDateString("en-GB", { day: "numeric", month: "short" })}, `;
    return ` · last sent ${on}${clock(at)}`;
  }

  /* The line that says what is saved where. Silent as long as nothing was ever kept on this phone. */
  async function tell(state = "", words = "") {
    const person = await benchStore.meta("person");
    const { waiting, undecided, others, last } = await benchStore.saved(person);
    const parts = [];
    if (waiting.length) parts.push(`${benchStore.counted(waiting)} on this phone, not sent yet${sentAt(last)}.`);
    else if (last !== null && !undecided.length) parts.push(`Nothing waits on this phone${sentAt(last)}.`);
    if (words) parts.push(words);
    if (state === "signed-out" && waiting.length) parts.push("You are signed out: sign in again to send it.");
    if (others) {
      const what = others === 1 ? "1 entry of somebody else is" : `${others} entries of somebody else are`;
      parts.push(`${what} kept on this phone until they sign in here.`);
    }
    line.replaceChildren(parts.join(" "));
    if (undecided.length) link("/bench/offline/", `${undecided.length} for you to decide.`);
    if (state === "signed-out" && waiting.length) {
      link(`/sign-in/?next=${encodeURIComponent(location.pathname)}`, "Sign in");
    }
    line.dataset.state = undecided.length ? "undecided" : waiting.length ? "waiting" : "sent";
    line.hidden = !parts.length && !undecided.length;
    return waiting.length;
  }

  function link(address, words) {
    const found = document.createElement("a");
    found.href = address;
    found.textContent = words;
    line.append(" ", found);
  }

  /* Send what waits, now and whenever the network is there again. `then` hears how many went. */
  async function keepSending(then) {
    let timer = null;
    const once = async () => {
      clearTimeout(timer);
      const waits = await tell();
      const { stored, state, words } = waits ? await benchStore.send() : { stored: 0, state: "" };
      const left = await tell(state, words);
      line.dataset.checked = state || "sent";
      if (stored) then(stored);
      if (left) timer = setTimeout(once, AGAIN);
    };
    addEventListener("online", once);
    await once();
  }

  async function keepPage() {
    const { person, attempt } = line.dataset;
    await benchStore.setMeta("person", person);
    if (navigator.storage?.persist) navigator.storage.persist();
    await benchStore.tidy();
    if (!attempt) return;
    const known = await benchStore.read("attempts", attempt);
    const response = await fetch(`/attempts/${attempt}/pack/?has=${known?.digest ?? ""}`, { redirect: "manual" });
    if (response.ok) await benchStore.keepPack(await response.json(), person);
  }

  /* --- Tickets: beside the form that starts an attempt ------------------------------------------------ */

  function offerTicket() {
    const offer = document.getElementById("bench-ticket");
    const form = [...document.forms].find((each) => each.elements.namedItem("purpose"));
    if (offer === null || form === undefined) return;
    offer.hidden = false;
    offer.querySelector("button").addEventListener("click", () => fetchTicket(offer, form));
  }

  async function fetchTicket(offer, form) {
    const words = offer.querySelector("[role=status]");
    const body = new FormData(form);
    body.set("id", crypto.randomUUID());
    words.textContent = "Fetching the ticket …";
    try {
      const response = await fetch(offer.dataset.address, { method: "POST", body, redirect: "manual" });
      if (response.status === 422) {
        words.textContent = (await response.json()).words;
      } else if (response.ok) {
        const pack = await response.json();
        await benchStore.keepPack(pack, line.dataset.person);
        const until = clock(new Date(pack.ticket.expires_at));
        words.textContent = `The ticket is on this phone. Begin before ${until}, with a network or without.`;
      } else {
        words.textContent = "The site didn’t give a ticket. Load the page again.";
      }
    } catch (error) {
      words.textContent =
        error.name === "QuotaExceededError"
          ? "This phone’s storage is full, so the ticket can’t be kept. Free some space first."
          : "There is no network: a ticket can only be fetched with one.";
    }
  }

  /* Whether something stands in a form that a new page would lose. */
  function isTyping() {
    return [...document.querySelectorAll("main input:not([type=hidden]), main textarea")].some((field) =>
      field.type === "radio" || field.type === "checkbox"
        ? field.checked !== field.defaultChecked
        : field.value !== field.defaultValue,
    );
  }

  /* Never in the way of somebody who is sending a form or going elsewhere. */
  let isLeaving = false;
  addEventListener("beforeunload", () => {
    isLeaving = true;
    setTimeout(() => {
      isLeaving = false;
    }, 10_000);
  });

  function showAgain() {
    if (!isTyping() && !isLeaving) location.replace(location.pathname);
  }

  async function begin() {
    if (!("serviceWorker" in navigator) || !("indexedDB" in self)) return;
    await navigator.serviceWorker.register("/sw.js");
    navigator.serviceWorker.ready.then(() => {
      line.dataset.worker = "ready";
    });
    offerTicket();
    await keepPage().catch(() => {});
    // What this page was made without is in by now: it is made again.
    await keepSending(showAgain);
  }

  if (line !== null && line.dataset.person) begin();
  return { clock, keepSending, showAgain, tell };
})();
