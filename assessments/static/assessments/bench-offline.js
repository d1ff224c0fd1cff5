/* The page that fills itself: a step, the list of steps, a ticket, or all that is on this phone. It is shown
 * at the site's own addresses while the network is away, made of what the site sent for them before. */
"use strict";

(() => {
  const place = document.getElementById("bench-page");
  const ADDRESS = {
    step: /^\/attempts\/([0-9a-f-]{36})\/steps\/(\d+)\/(?:readings\/)?$/,
    reading: /^\/attempts\/([0-9a-f-]{36})\/readings\/([0-9a-f-]{36})\/$/,
    attempt: /^\/attempts\/([0-9a-f-]{36})\//,
    rig: /^\/(?:scan|bench\/rigs)\/([0-9a-f-]{36})\//,
  };
  const FULL =
    "This phone’s storage is full: what you just entered isn’t kept. Free some space, then log it again. " +
    "Everything before it is safe.";
  const STANDS = {
    open: "Everything logged is kept on this phone: you can close this page and carry on later.",
    "handed-in-here": "Handed in on this phone. It goes to the site as soon as there is a network.",
    returned: "Given back to you for one more reading. Which one, the site tells as soon as there is a network.",
  };
  const IN = "Handed in. What comes of it, the site tells as soon as there is a network.";
  let person = null;

  /* --- Making of elements -------------------------------------------------------------------------- */

  function make(name, given = {}, ...inside) {
    const element = document.createElement(name);
    for (const [key, value] of Object.entries(given)) {
      if (key === "onclick") element.addEventListener("click", value);
      else if (value !== undefined && value !== false) element.setAttribute(key, value === true ? "" : value);
    }
    element.append(...inside.flat().filter((each) => each !== null && each !== ""));
    return element;
  }

  /* What the site itself wrote for this task's pages. */
  function written(html) {
    const template = document.createElement("template");
    template.innerHTML = html;
    return template.content;
  }

  const button = (words, onclick, more = "") =>
    make("button", { type: "button", class: `button ${more}`.trim(), onclick }, words);
  const anchor = (href, words, more = "") => make("a", { href, class: `button ${more}`.trim() }, words);
  const section = (title, ...inside) => make("section", {}, make("h2", {}, title), ...inside);

  function head(title, tag = "", intro = "", { isStep = false } = {}) {
    document.body.classList.toggle("bench", isStep);
    document.title = `${title} · Makepoint`;
    document.querySelector("h1").textContent = title;
    document.querySelector(".sheet-head .tag").textContent = tag;
    document.querySelector(".sheet-head .intro").replaceChildren(...(intro ? [make("p", {}, intro)] : []));
  }

  const show = (...parts) => place.replaceChildren(...parts.flat().filter((each) => each !== null));

  function complain(words, field = null) {
    place.querySelector(".error-summary")?.remove();
    const shown = field === null ? words : make("a", { href: `#${field.id}` }, words);
    const summary = make(
      "div",
      { class: "error-summary", role: "alert", tabindex: "-1" },
      make("h2", {}, "Not saved yet: put this right"),
      make("ul", {}, make("li", {}, shown)),
    );
    place.prepend(summary);
    summary.focus();
  }

  function complainOf(problem) {
    if (problem instanceof benchPhotos.NoPhoto) complain(problem.message);
    else complain(problem.name === "QuotaExceededError" ? FULL : `${problem}`);
  }

  function unsent(says) {
    return make("span", { class: "reading unsent" }, says);
  }

  async function waitingIds() {
    return new Set((await benchStore.mine("queue", person)).map((each) => each.id));
  }

  /* --- A step ----------------------------------------------------------------------------------------- */

  async function loaded(id) {
    const attempt = await benchStore.read("attempts", id);
    if (attempt === undefined || attempt.owner !== person) return null;
    const pack = await benchStore.read("packs", attempt.digest);
    return pack === undefined ? null : { attempt, content: pack.content };
  }

  async function showStep({ attempt, content }, position) {
    const at = content.steps.findIndex((each) => each.position === position);
    if (at < 0 || attempt.status !== "open") return showAttempt({ attempt, content });
    const step = content.steps[at];
    const entry = attempt.standing[position] ?? null;
    const isFree = step.kind === "measurements";
    head(step.title, content.tag, "", { isStep: true });
    show(
      written(step.head),
      entry === null ? formOf(step.form, attempt, step) : await loggedOn(attempt, step, entry, content),
      isFree ? await readingsOf(attempt, step) : null,
      around(attempt, content.steps[at - 1], content.steps[at + 1], entry !== null || isFree),
      make("details", { class: "more" }, make("summary", {}, "Cautions"), written(content.cautions)),
    );
  }

  async function loggedOn(attempt, step, entry, content) {
    const isHere = (await waitingIds()).has(entry.id);
    const says = isHere ? unsent(entry.says) : make("span", { class: "reading" }, entry.says);
    const isAction = step.kind === "action";
    const again = isAction ? backForm(content.back, attempt, step) : formOf(step.correct, attempt, step);
    const summary = make("summary", {}, isAction ? "Logged by mistake?" : "Correct it");
    return [section("Logged", make("p", {}, says)), make("details", { class: "more" }, summary, again)];
  }

  function around(attempt, before, after, isLogged) {
    const to = (step) => `/attempts/${attempt.id}/steps/${step.position}/`;
    return make(
      "nav",
      { class: "buttons", "aria-label": "Steps" },
      before ? anchor(to(before), "Back") : null,
      anchor(`/attempts/${attempt.id}/`, "All steps"),
      after ? anchor(to(after), isLogged ? "Next" : "Skip") : null,
    );
  }

  function formOf(html, attempt, step, corrects) {
    const part = written(html);
    const form = part.querySelector("form");
    form.querySelector("[name=id]").value = crypto.randomUUID();
    for (const select of form.querySelectorAll("select")) rememberUnit(select);
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      submitted(form, event.submitter, attempt, step, corrects).catch(complainOf);
    });
    return part;
  }

  function rememberUnit(select) {
    const key = `unit ${[...select.options].map((each) => each.value).join(" ")}`;
    select.value = localStorage.getItem(key) ?? select.options[0].value;
    select.addEventListener("change", () => localStorage.setItem(key, select.value));
  }

  async function submitted(form, submitter, attempt, step, corrects) {
    const data = new FormData(form, submitter);
    const wrong = slipIn(form, data, step);
    if (wrong !== null) {
      complain(wrong.words, wrong.field);
      return;
    }
    const photo = data.has("photo") ? await benchPhotos.fit(data.get("photo")) : undefined;
    const fields = Object.fromEntries([...data].filter(([, value]) => typeof value === "string"));
    await benchStore.log({ attempt: attempt.id, position: step.position, fields, photo, corrects });
    await goOn(attempt.id, step);
  }

  async function goOn(id, step) {
    const { attempt, content } = await loaded(id);
    const later = content.steps.find((each) => each.position > step.position && !attempt.standing[each.position]);
    if (step.kind === "measurements") location.assign(`/attempts/${id}/steps/${step.position}/`);
    else location.assign(later ? `/attempts/${id}/steps/${later.position}/` : `/attempts/${id}/`);
  }

  /* What the site would send back anyway. It has the last word. */
  function slipIn(form, data, step) {
    const field = (name) => form.querySelector(`[name="${name}"]`);
    const asked = (name, words) =>
      field(name) !== null && !`${data.get(name) ?? ""}`.trim() ? { words, field: field(name) } : null;
    const isTold = Boolean(data.get("qualifier"));
    if (step.kind === "reading" && field("text") === null && !isTold) {
      return { words: "Choose whether there was a tone.", field: null };
    }
    return (
      asked("test_point", "Choose where you measured.") ??
      asked("condition", "Choose the condition that the rig was in.") ??
      asked("answer", "Choose one of the answers.") ??
      asked("note", "Give the reason, in a sentence from your own readings.") ??
      (isTold ? null : asked("text", "Nothing is written here. Type what the display shows.")) ??
      (isTold || field("text") === null ? null : slipInNumber(data.get("text").trim(), field("text"))) ??
      asked("reason", "Say why it is corrected.")
    );
  }

  function slipInNumber(text, field) {
    const isOver = /^[+-]?\s?(\.?[o0]\.?l\.?|over|∞)/i.test(text);
    if (!isOver && !/\d/.test(text)) {
      return { words: `“${text}” is text where a number belongs. Type what the display shows.`, field };
    }
    if ((text.match(/[.,]/g) ?? []).length > 1 && !isOver) {
      return { words: `“${text}” has two decimal marks. Type it with one.`, field };
    }
    if (/^[1-9]\d{0,2},\d{3}$/.test(text)) {
      return { words: `“${text}” can be read in two ways. Type it with a point, or without a mark.`, field };
    }
    return null;
  }

  function backForm(html, attempt, step, corrects) {
    const part = written(html);
    const form = part.querySelector("form");
    form.querySelector("[name=id]").value = crypto.randomUUID();
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const fields = Object.fromEntries(new FormData(form));
      if (!fields.reason.trim()) {
        complain("Say why it is taken back.", form.querySelector("[name=reason]"));
        return;
      }
      benchStore
        .takeBack({ attempt: attempt.id, position: step.position, corrects, fields })
        .then(() => location.assign(`/attempts/${attempt.id}/steps/${step.position}/`), complainOf);
    });
    return part;
  }

  async function readingsOf(attempt, step) {
    const here = await waitingIds();
    const rows = attempt.readings
      .filter((each) => each.position === step.position)
      .map((each, number) =>
        make(
          "li",
          {},
          make("span", { class: "margin" }, `${number + 1}`),
          make("div", {}, each.where),
          make(
            "span",
            { class: "end" },
            here.has(each.id) ? unsent(each.says) : make("span", { class: "reading" }, each.says),
            " ",
            make("a", { class: "button quiet", href: `/attempts/${attempt.id}/readings/${each.id}/` }, "Correct"),
          ),
        ),
      );
    const none = make("p", { class: "note" }, "None yet. Measure in any order, and as often as you need.");
    return section("Your readings", rows.length ? make("ol", { class: "log", role: "list" }, rows) : none);
  }

  async function showReading({ attempt, content }, id) {
    const reading = attempt.readings.find((each) => each.id === id);
    if (reading === undefined || attempt.status !== "open") return showAttempt({ attempt, content });
    const step = content.steps.find((each) => each.position === reading.position);
    head("Correct a reading", content.tag, `${reading.where}: ${reading.says}`, { isStep: true });
    show(
      formOf(step.correct, attempt, step, id),
      make(
        "details",
        { class: "more" },
        make("summary", {}, "Logged by mistake?"),
        backForm(content.back, attempt, step, id),
      ),
    );
  }

  /* --- The list of steps ------------------------------------------------------------------------------ */

  async function showAttempt({ attempt, content }) {
    const isOpen = attempt.status === "open";
    const here = await waitingIds();
    const purpose = attempt.purpose === "practice" ? "Practice" : "Assessment";
    head(content.task, content.tag, `${purpose}. ${STANDS[attempt.status] ?? IN}`);
    const rows = content.steps.map((step) => rowOf(step, attempt, here, isOpen));
    const missing = content.steps.filter((each) => each.required && !stands(attempt, each));
    show(
      section("Steps", make("ol", { class: isOpen ? "log big" : "log", role: "list" }, rows)),
      isOpen ? handingIn(attempt, content, missing) : null,
      isOpen && missing.length
        ? make(
            "div",
            { class: "actions" },
            anchor(`/attempts/${attempt.id}/steps/${missing[0].position}/`, `Carry on: ${missing[0].title}`, "main"),
          )
        : null,
    );
  }

  const stands = (attempt, step) =>
    step.kind === "measurements"
      ? attempt.readings.some((each) => each.position === step.position)
      : Boolean(attempt.standing[step.position]);

  function rowOf(step, attempt, here, isOpen) {
    const entry = attempt.standing[step.position];
    const count = attempt.readings.filter((each) => each.position === step.position).length;
    const says = entry ? entry.says : count ? `${count} reading${count === 1 ? "" : "s"}` : "";
    const end = make("span", { class: "end" }, entry && here.has(entry.id) ? unsent(says) : says);
    const margin = make("span", { class: "margin" }, `${step.position}`);
    const what = make("div", {}, make("span", {}, step.title));
    if (!isOpen) return make("li", {}, margin, what, end);
    const href = `/attempts/${attempt.id}/steps/${step.position}/`;
    return make("li", {}, make("a", { class: "row", href }, margin, what, end));
  }

  function handingIn(attempt, content, missing) {
    const count = `${missing.length} step${missing.length === 1 ? "" : "s"} of this task`;
    const words = missing.length
      ? `${count} ${missing.length === 1 ? "is" : "are"} not logged yet. You can hand in without, but nothing ` +
        "can be added afterwards."
      : "Every step is logged. After handing in nothing can be changed.";
    const handIn = async () => {
      const reasoned = ["diagnosis", "conclusion"];
      const lacking = content.steps.find((each) => reasoned.includes(each.kind) && !stands(attempt, each));
      if (lacking) {
        complain(`Log your ${lacking.kind} first: it is part of the task.`);
        return;
      }
      await benchStore.handIn({ attempt: attempt.id });
      location.assign(`/attempts/${attempt.id}/`);
    };
    return section(
      "Hand in",
      make("p", {}, words),
      make(
        "p",
        { class: "buttons" },
        button("Hand in", () => handIn().catch(complainOf), missing.length ? "" : "main"),
      ),
    );
  }

  /* --- All that is on this phone ----------------------------------------------------------------------- */

  function age(ticket) {
    const minutes = Math.max(0, Math.round((Date.now() - ticket.received) / 60_000));
    const old = minutes < 60 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${minutes % 60} min`;
    const state = ticket.held ? "On hold" : "In service";
    return `${state}, as known at ${bench.clock(new Date(ticket.as_of))}, ${old} ago`;
  }

  /* By the site's clock, as far as this phone's has run since the ticket came. */
  const hasRunOut = (ticket) =>
    Date.parse(ticket.as_of) + (Date.now() - ticket.received) >= Date.parse(ticket.expires_at);

  async function showAll(rig = null) {
    const [tickets, attempts, queue] = await Promise.all(
      ["tickets", "attempts", "queue"].map((name) => benchStore.mine(name, person)),
    );
    const packs = new Map((await benchStore.read("packs")).map((each) => [each.id, each.content]));
    const undecided = queue.filter((each) => each.state !== "waiting");
    const open = attempts.filter((each) => each.status === "open" || each.status === "handed-in-here");
    const fresh = tickets.filter((each) => !each.used && (rig === null || each.rig === rig));
    const away = "There is no network. What you log is kept here and sent later.";
    head("On this phone", "", navigator.onLine ? "" : away);
    const decisions = undecided.map((each) => decisionOn(each, packs, attempts));
    const rows = open.map((each) => attemptRow(each, packs));
    show(
      decisions.length ? section("For you to decide", decisions) : null,
      rows.length ? section("Carry on", make("ol", { class: "log big", role: "list" }, rows)) : null,
      section("Tickets", ...(fresh.length ? fresh.map(ticketPart) : [noTicket(rig)])),
      make("p", { class: "buttons" }, anchor("/bench/", "To the bench")),
    );
  }

  function noTicket(rig) {
    const where = rig === null ? "" : " for this rig";
    return make(
      "p",
      { class: "note" },
      `No ticket${where} is on this phone. Fetch one where a task is started, while there is a network.`,
    );
  }

  function attemptRow(attempt, packs) {
    const content = packs.get(attempt.digest);
    const end = attempt.status === "open" ? "" : "Handed in here";
    return make(
      "li",
      {},
      make(
        "a",
        { class: "row", href: `/attempts/${attempt.id}/` },
        make("span", { class: "margin" }, content.tag),
        make("div", {}, make("span", {}, content.task), make("p", { class: "note" }, age(attempt))),
        make("span", { class: "end" }, end),
      ),
    );
  }

  function ticketPart(ticket) {
    const out = hasRunOut(ticket);
    const purpose = ticket.purpose === "practice" ? "Practice" : "Assessment";
    const until = bench.clock(new Date(ticket.expires_at));
    const good = out
      ? `The ticket ran out at ${until}: what is begun now is practice.`
      : `${purpose}, begin before ${until}.`;
    return make(
      "div",
      { class: "both" },
      make("p", {}, make("strong", {}, `${ticket.tag} · ${ticket.task}`)),
      make("p", { class: "note" }, `${age(ticket)}. ${good}`),
      make(
        "p",
        { class: "buttons" },
        button(out ? "Begin as practice" : "Begin", () => showStart(ticket, out).catch(complainOf), "main"),
        navigator.onLine ? button("Give the ticket back", () => giveBack(ticket).catch(complainOf)) : null,
      ),
    );
  }

  async function giveBack(ticket) {
    const { token } = await (await fetch("/bench/sync/", { redirect: "manual" })).json();
    const response = await fetch(`/tickets/${ticket.id}/end/`, { method: "POST", headers: { "X-CSRFToken": token } });
    if (response.ok || response.status === 404) await benchStore.remove("tickets", ticket.id);
    else complain((await response.json()).words);
    await showAll();
  }

  async function showStart(ticket, practice) {
    const { content } = await benchStore.read("packs", ticket.digest);
    head(content.task, content.tag, content.purpose);
    const id = crypto.randomUUID();
    const tick = make("input", { type: "checkbox", id: "id_cautions_read" });
    const start = async () => {
      if (!tick.checked) {
        complain("Read the cautions and confirm them first.", tick);
        return;
      }
      await benchStore.begin({ id, ticket, practice });
      location.assign(`/attempts/${id}/steps/${content.steps[0].position}/`);
    };
    const local =
      "Training exercise only. Your centre’s risk assessment, local rules and the maker’s instructions come first. " +
      "If you are unsure or something looks wrong: stop, step back, ask.";
    show(
      written(content.cautions),
      make("p", { class: "note" }, local),
      make("p", { class: "note" }, age(ticket)),
      make(
        "div",
        { class: "field" },
        make("label", { class: "tick", for: "id_cautions_read" }, tick, make("span", {}, "I have read the cautions")),
      ),
      make("div", { class: "actions" }, button("Start", () => start().catch(complainOf), "main")),
    );
  }

  /* --- What the site didn't take ------------------------------------------------------------------------ */

  function decisionOn(entry, packs, attempts) {
    const attempt = attempts.find((each) => each.id === entry.attempt);
    const content = attempt && packs.get(attempt.digest);
    const what = [content?.tag, entry.title ?? "The start of an attempt", entry.where].filter(Boolean).join(" · ");
    const parts = entry.state === "conflict" ? conflict(entry) : refused(entry);
    return make("div", { class: "both", "data-entry": entry.id }, make("h3", {}, what), parts);
  }

  function conflict(entry) {
    const { says, at } = entry.answer.standing;
    const name = `stands-${entry.id}`;
    const option = (value, words) =>
      make(
        "label",
        { class: "choice" },
        make("input", { type: "radio", name, value }),
        make("span", {}, words),
      );
    const list = make(
      "div",
      { class: "choice-list" },
      option("this", `On this phone: ${entry.says}`),
      option("that", `On the site, logged ${bench.clock(new Date(at))}: ${says}`),
    );
    const why = make("input", { type: "text", id: `why-${entry.id}`, maxlength: "200" });
    const decide = async () => {
      const chosen = list.querySelector("input:checked");
      if (chosen === null) return complain("Choose which one stands.");
      if (!why.value.trim()) return complain("Say why that one stands.", why);
      await benchStore.decide(entry.id, chosen.value, why.value.trim());
      return decided();
    };
    return [
      make("p", {}, "It was logged otherwise on another device. Both are kept; which one stands?"),
      make("fieldset", { class: "field choices" }, make("legend", {}, "This one stands"), list),
      make("div", { class: "field" }, make("label", { for: why.id }, "Why?"), why),
      make("p", { class: "buttons" }, button("Decide", () => decide().catch(complainOf), "main")),
    ];
  }

  function refused(entry) {
    const { answer } = entry;
    const choices = [];
    const choice = (words, act) => choices.push(button(words, () => act().then(decided).catch(complainOf)));
    if (entry.kind === "start" && answer.attempt) {
      choice("Put it into the attempt that is open", () => benchStore.moveTo(entry.attempt, answer.attempt, person));
    } else if (entry.kind === "start" && entry.payload.ticket) {
      choice("Keep it as practice", () => benchStore.asPractice(entry.id));
    } else if (entry.payload.position) {
      choices.push(anchor(`/attempts/${entry.attempt}/steps/${entry.payload.position}/`, "To the step"));
    }
    const all = entry.kind === "start" ? "Leave the whole attempt out" : "Leave it out";
    const leave = () => benchStore.leaveOut(entry.id).then(decided);
    const sure = make("details", { class: "more" }, make("summary", {}, all));
    sure.append(
      make("p", {}, "What is left out is gone from this phone, and never comes to the site."),
      make("p", { class: "buttons" }, button(all, () => leave().catch(complainOf), "danger")),
    );
    return [
      make("p", {}, `On this phone: ${entry.says}`),
      make("p", {}, `The site didn’t take it: ${answer.words}`),
      make("p", { class: "buttons" }, choices),
      sure,
    ];
  }

  async function decided() {
    await bench.keepSending(() => {});
    await showAll();
  }

  /* --- Which page -------------------------------------------------------------------------------------- */

  async function route() {
    const { pathname, search } = location;
    const found = Object.fromEntries(Object.entries(ADDRESS).map(([name, form]) => [name, form.exec(pathname)]));
    const whose = found.step ?? found.reading ?? found.attempt;
    const about = whose === null ? null : await loaded(whose[1]);
    if (about === null) await showAll(found.rig?.[1] ?? null);
    else if (found.step) await showStep(about, Number(found.step[2]));
    else if (found.reading) await showReading(about, found.reading[2]);
    else await showAttempt(about);
    const problem = new URLSearchParams(search).get("problem");
    if (problem) complain(problem === "full" ? FULL : problem);
  }

  function nobody() {
    head("On this phone", "", "Nobody is signed in on this phone.");
    show(
      make("p", {}, "What was logged here is kept until whoever logged it signs in again. Signing in needs a network."),
      make("p", { class: "buttons" }, anchor("/sign-in/", "Sign in")),
    );
  }

  async function begin() {
    person = await benchStore.meta("person");
    if (person === null) nobody();
    else await route();
    // Once what was begun here is on the site, its own pages are there again.
    await bench.keepSending(() => (location.pathname === "/bench/offline/" ? showAll() : bench.showAgain()));
  }

  begin();
})();
