/* What a phone keeps, and how it gets to the site. Used by the bench's pages and by the service worker.
 * Each entry is written down with its number in one transaction before anybody is told that it is kept.
 * Everything belongs to whoever logged it: another person's is never shown, nor sent. */
"use strict";

self.benchStore = (() => {
  const NAME = "makepoint-bench";
  const STORES = ["meta", "packs", "tickets", "attempts", "queue"];
  const SYNC = "/bench/sync/";
  const MOST = 60;
  const MOST_PHOTOS = 2;
  const DAY = 24 * 60 * 60 * 1000;
  let opened = null;

  function whenDone(request) {
    return new Promise((resolve, reject) => {
      request.onsuccess = () => resolve(request.result);
      request.onerror = () => reject(request.error);
    });
  }

  function database() {
    if (opened === null) {
      const request = indexedDB.open(NAME, 1);
      request.onupgradeneeded = () => {
        for (const name of STORES) request.result.createObjectStore(name, { keyPath: "id" });
      };
      opened = whenDone(request).catch((error) => {
        opened = null;
        throw error;
      });
    }
    return opened;
  }

  /* One transaction. `work` may wait for its own requests only. */
  async function transact(names, work) {
    const transaction = (await database()).transaction(names, "readwrite", { durability: "strict" });
    const stores = Object.fromEntries(names.map((name) => [name, transaction.objectStore(name)]));
    const finished = new Promise((resolve, reject) => {
      transaction.oncomplete = resolve;
      transaction.onerror = transaction.onabort = () => reject(transaction.error);
    });
    finished.catch(() => {});
    const result = await work(stores);
    await finished;
    return result;
  }

  async function read(name, id) {
    const store = (await database()).transaction(name).objectStore(name);
    return whenDone(id === undefined ? store.getAll() : store.get(id));
  }

  const put = (name, value) => transact([name], (stores) => whenDone(stores[name].put(value)));
  const remove = (name, id) => transact([name], (stores) => whenDone(stores[name].delete(id)));
  const mine = async (name, owner) => (await read(name)).filter((each) => each.owner === owner);

  async function meta(id, otherwise = null) {
    const found = await read("meta", id);
    return found === undefined ? otherwise : found.value;
  }

  const setMeta = (id, value) => put("meta", { id, value });

  async function device() {
    return transact(["meta"], async ({ meta: store }) => {
      const known = await whenDone(store.get("device"));
      if (known !== undefined) return known.value;
      const value = crypto.randomUUID();
      await whenDone(store.put({ id: "device", value }));
      return value;
    });
  }

  /* --- What comes from the site ------------------------------------------------------------------ */

  async function keepPack(pack, owner) {
    const seen = { as_of: pack.as_of, held: pack.held, received: Date.now() };
    if (pack.content !== null) await put("packs", { id: pack.digest, content: pack.content });
    if (pack.ticket !== null) {
      const { rig, version, tag, task } = pack.content;
      await put("tickets", { ...pack.ticket, ...seen, owner, digest: pack.digest, rig, version, tag, task });
    }
    if (pack.attempt !== null) await keepAttempt(pack, seen, owner);
  }

  /* The site's word on an attempt, and on top of it what waits here. */
  function keepAttempt(pack, seen, owner) {
    return transact(["attempts", "queue"], async ({ attempts, queue }) => {
      const known = await whenDone(attempts.get(pack.attempt.id));
      const waiting = (await whenDone(queue.getAll())).filter((each) => each.attempt === pack.attempt.id);
      waiting.sort((one, other) => one.sequence - other.sequence);
      const attempt = { logged: [], ...known, ...pack.attempt, ...seen, owner, digest: pack.digest };
      attempt.next = Math.max(pack.attempt.next, ...waiting.map((each) => each.sequence + 1));
      for (const entry of waiting) stand(attempt, entry);
      await whenDone(attempts.put(attempt));
    });
  }

  /* What nobody needs here any more goes: attempts that are on the site and done with, tickets that were used
   * or ran out a day ago, and pages that belong to neither. */
  function tidy() {
    return transact(["packs", "tickets", "attempts", "queue"], async ({ packs, tickets, attempts, queue }) => {
      const waiting = new Set((await whenDone(queue.getAll())).map((each) => each.attempt));
      const needed = new Set();
      for (const attempt of await whenDone(attempts.getAll())) {
        const isDone = !["open", "returned", "handed-in-here"].includes(attempt.status);
        if (isDone && !waiting.has(attempt.id)) await whenDone(attempts.delete(attempt.id));
        else needed.add(attempt.digest);
      }
      for (const ticket of await whenDone(tickets.getAll())) {
        const now = Date.parse(ticket.as_of) + (Date.now() - ticket.received); // by the site's clock
        const isOld = now - Date.parse(ticket.expires_at) > DAY;
        if (ticket.used || isOld) await whenDone(tickets.delete(ticket.id));
        else needed.add(ticket.digest);
      }
      for (const id of await whenDone(packs.getAllKeys())) {
        if (!needed.has(id)) await whenDone(packs.delete(id));
      }
    });
  }

  /* --- Writing down ------------------------------------------------------------------------------ */

  function stand(attempt, entry) {
    const { position, corrects } = entry.payload;
    if (entry.kind === "hand-in") {
      attempt.status = "handed-in-here";
    } else if (entry.kind === "take-back") {
      delete attempt.standing[position];
      attempt.readings = attempt.readings.filter((each) => each.id !== corrects);
    } else if (entry.where) {
      attempt.readings = attempt.readings.filter((each) => each.id !== corrects && each.id !== entry.id);
      attempt.readings.push({ id: entry.id, says: entry.says, position, where: entry.where });
    } else if (entry.kind !== "start") {
      attempt.standing[position] = { id: entry.id, says: entry.says };
    }
  }

  /* Write one entry down, with the next number of its attempt. Twice under one id is once. One that the site
   * has already is only remembered as standing. */
  function add(entry, { isIn = false } = {}) {
    return transact(["attempts", "queue"], async ({ attempts, queue }) => {
      if ((await whenDone(queue.get(entry.id))) !== undefined) return;
      const attempt = await whenDone(attempts.get(entry.attempt));
      const sequence = attempt.next;
      attempt.next += 1;
      if (entry.kind === "hand-in") entry.payload.needs = attempt.logged;
      else if (entry.kind !== "start") attempt.logged.push(entry.id);
      const kept = { ...entry, sequence, owner: attempt.owner, state: "waiting", answer: null };
      kept.device_at = new Date().toISOString();
      stand(attempt, kept);
      if (!isIn) await whenDone(queue.put(kept));
      await whenDone(attempts.put(attempt));
    });
  }

  async function begin({ id, ticket, practice }) {
    const { rig, version, owner, digest, as_of, held, received } = ticket;
    await transact(["attempts", "tickets"], async ({ attempts, tickets }) => {
      const known = await whenDone(attempts.get(id));
      if (known !== undefined) return;
      const purpose = practice ? "practice" : ticket.purpose;
      const blank = { status: "open", standing: {}, readings: [], logged: [], next: 1 };
      await whenDone(attempts.put({ ...blank, id, owner, digest, purpose, as_of, held, received }));
      await whenDone(tickets.put({ ...ticket, used: true }));
    });
    const payload = { ticket: practice ? null : ticket.id, rig, version, instruments: ticket.instruments };
    await add({ id, attempt: id, kind: "start", says: "Start", payload: { ...payload, cautions_read: true } });
  }

  const KINDS = { reading: "reading", measurements: "reading", photo: "photo" };

  /* Write down what a step's form holds. `corrects` names a reading of one's own choice. */
  async function log({ attempt: id, position, fields, photo, corrects, isIn }) {
    const attempt = await read("attempts", id);
    const { content } = await read("packs", attempt.digest);
    const step = content.steps.find((each) => each.position === position);
    const standing = step.kind === "measurements" ? corrects : attempt.standing[position]?.id;
    const { id: number, csrfmiddlewaretoken, ...given } = fields;
    const payload = { position, fields: given };
    if (standing) payload.corrects = standing;
    const entry = { id: number, attempt: id, kind: KINDS[step.kind] ?? "step", payload, title: step.title };
    entry.says = inWords(step, given);
    if (step.kind === "measurements") entry.where = placeOf(step, given);
    if (photo) entry.photo = photo;
    await add(entry, { isIn });
  }

  async function takeBack({ attempt: id, position, corrects, fields, isIn }) {
    const attempt = await read("attempts", id);
    const struck = corrects ?? attempt.standing[position]?.id;
    if (!struck) return;
    const payload = { position, corrects: struck, reason: fields.reason };
    await add({ id: fields.id, attempt: id, kind: "take-back", payload, says: "Taken back" }, { isIn });
  }

  async function handIn({ attempt: id, isIn }) {
    const waiting = await mine("queue", (await read("attempts", id)).owner);
    if (waiting.some((each) => each.attempt === id && each.kind === "hand-in")) return;
    await add({ id: crypto.randomUUID(), attempt: id, kind: "hand-in", payload: {}, says: "Hand in" }, { isIn });
  }

  /* The labels of what was chosen, as the step's form has them: written by the site, in the pack. */
  function labelOf(step, name, value) {
    return step.labels[name]?.[value] ?? value;
  }

  function inWords(step, fields) {
    if (step.kind === "photo") return "A photo";
    if (fields.qualifier) return labelOf(step, "qualifier", fields.qualifier);
    if (fields.text !== undefined) return [fields.text, unitIn(step, fields)].join(" ").trim();
    if (fields.answer === undefined) return "Done";
    const label = labelOf(step, "answer", fields.answer);
    return fields.note ? `${label}: ${fields.note}` : label;
  }

  function unitIn(step, fields) {
    if (fields.unit !== undefined) return fields.unit;
    return fields[`unit_${step.quantities[fields.test_point]}`] ?? "";
  }

  function placeOf(step, fields) {
    const place = labelOf(step, "test_point", fields.test_point);
    return `${place}, ${labelOf(step, "condition", fields.condition).toLowerCase()}`;
  }

  /* --- Sending ------------------------------------------------------------------------------------ */

  function inOrder(entries) {
    const first = new Map();
    for (const each of entries) {
      first.set(each.attempt, Math.min(first.get(each.attempt) ?? Infinity, Date.parse(each.device_at)));
    }
    return entries.sort(
      (one, other) =>
        first.get(one.attempt) - first.get(other.attempt) ||
        one.attempt.localeCompare(other.attempt) ||
        one.sequence - other.sequence,
    );
  }

  function batchOf(entries) {
    let photos = 0;
    const batch = [];
    for (const each of entries) {
      photos += each.photo ? 1 : 0;
      if (batch.length === MOST || photos > MOST_PHOTOS) break;
      batch.push(each);
    }
    return batch;
  }

  async function whoAsks() {
    const response = await fetch(SYNC, { redirect: "manual", cache: "no-store", credentials: "same-origin" });
    return response.ok ? response.json() : null;
  }

  async function post(batch, who) {
    const plain = ({ id, attempt, sequence, kind, device_at, payload }) =>
      ({ id, attempt, sequence, kind, device_at, payload });
    const form = new FormData();
    const whole = { owner: who.person, device: await device(), device_now: new Date().toISOString() };
    form.set("batch", JSON.stringify({ ...whole, entries: batch.map(plain) }));
    for (const each of batch) if (each.photo) form.set(each.id, each.photo, "photo.jpg");
    const headers = { "X-CSRFToken": who.token };
    return fetch(SYNC, { method: "POST", body: form, headers, redirect: "manual", credentials: "same-origin" });
  }

  /* What became of a batch. Something that changed here while it was under way is left for the next one. */
  function settleAnswers(batch, answers) {
    return transact(["queue", "attempts", "meta"], async ({ queue, attempts, meta: store }) => {
      let stored = 0;
      let moved = 0;
      let words = "";
      for (const answer of answers) {
        const entry = await whenDone(queue.get(answer.id));
        const sent = batch.find((each) => each.id === answer.id);
        if (entry === undefined || JSON.stringify(entry.payload) !== JSON.stringify(sent.payload)) continue;
        if (entry.attempt !== sent.attempt) continue;
        if (answer.result === "stored" || answer.result === "already") {
          stored += 1;
          await whenDone(queue.delete(answer.id));
          if (entry.kind === "hand-in") {
            const attempt = await whenDone(attempts.get(entry.attempt));
            await whenDone(attempts.put({ ...attempt, status: "submitted" }));
          }
        } else if (answer.result === "later") {
          words ||= answer.words;
        } else {
          moved += 1;
          await whenDone(queue.put({ ...entry, state: answer.result, answer }));
        }
      }
      if (stored) await whenDone(store.put({ id: `sent ${batch[0].owner}`, value: new Date().toISOString() }));
      return { stored, moved, words };
    });
  }

  async function sendAll() {
    let stored = 0;
    const who = await whoAsks().catch(() => undefined);
    if (who === undefined) return { stored, state: "offline" };
    if (who === null) return { stored, state: "signed-out" };
    await setMeta("person", who.person);
    for (;;) {
      const waiting = (await mine("queue", who.person)).filter((each) => each.state === "waiting");
      const batch = batchOf(inOrder(waiting));
      if (!batch.length) return { stored, state: "sent" };
      const response = await post(batch, who).catch(() => null);
      if (response === null) return { stored, state: "offline" };
      if (!response.ok) return { stored, state: response.status >= 500 ? "offline" : "signed-out" };
      const done = await settleAnswers(batch, (await response.json()).entries);
      stored += done.stored;
      if (!done.stored && !done.moved) return { stored, state: "waiting", words: done.words };
    }
  }

  /* Send what waits, one sender at a time; the id of each entry keeps it to once whatever happens. */
  function send() {
    if (!self.navigator.locks) return sendAll();
    return self.navigator.locks.request("bench-send", sendAll);
  }

  /* --- What a person decides ------------------------------------------------------------------------ */

  const change = (id, alter) =>
    transact(["queue"], async ({ queue }) => {
      const entry = await whenDone(queue.get(id));
      if (entry !== undefined) await whenDone(queue.put({ ...alter(entry), state: "waiting", answer: null }));
    });

  function decide(id, stands, reason) {
    return change(id, (entry) => {
      const decided = { against: entry.answer.standing.id, stands, reason, again: crypto.randomUUID() };
      return { ...entry, payload: { ...entry.payload, decided } };
    });
  }

  const asPractice = (id) =>
    change(id, (entry) => ({ ...entry, payload: { ...entry.payload, ticket: null } }));

  /* Put what was logged for one attempt into another, after all that this one has logged there. */
  function moveTo(from, to, owner) {
    return transact(["queue", "attempts"], async ({ queue, attempts }) => {
      const there = await whenDone(attempts.get(to));
      const here = await whenDone(attempts.get(from));
      const target = there ?? { ...here, id: to, next: 1, logged: [], standing: {}, readings: [] };
      const entries = (await whenDone(queue.getAll())).filter(
        (each) => each.attempt === from && each.owner === owner,
      );
      for (const entry of entries.sort((one, other) => one.sequence - other.sequence)) {
        if (entry.kind === "start") {
          await whenDone(queue.delete(entry.id));
          continue;
        }
        const sequence = target.next;
        target.next += 1;
        if (entry.kind !== "hand-in") target.logged.push(entry.id);
        await whenDone(queue.put({ ...entry, attempt: to, sequence, state: "waiting", answer: null }));
      }
      await whenDone(attempts.put({ ...target, status: "open" }));
      await whenDone(attempts.delete(from));
    });
  }

  /* Leave an entry out that the site didn't take; with an attempt's start, all that belongs to it. */
  function leaveOut(id) {
    return transact(["queue", "attempts"], async ({ queue, attempts }) => {
      const entry = await whenDone(queue.get(id));
      if (entry === undefined) return;
      const all = (await whenDone(queue.getAll())).filter((each) => each.attempt === entry.attempt);
      const gone = entry.kind === "start" ? all : [entry];
      for (const each of gone) await whenDone(queue.delete(each.id));
      if (entry.kind === "start") {
        await whenDone(attempts.delete(entry.attempt));
        return;
      }
      const attempt = await whenDone(attempts.get(entry.attempt));
      attempt.logged = attempt.logged.filter((each) => each !== id);
      const { position } = entry.payload;
      if (attempt.standing[position]?.id === id) delete attempt.standing[position];
      attempt.readings = attempt.readings.filter((each) => each.id !== id);
      await whenDone(attempts.put(attempt));
      const handing = all.find((each) => each.kind === "hand-in");
      if (handing !== undefined) {
        const payload = { ...handing.payload, needs: attempt.logged };
        await whenDone(queue.put({ ...handing, payload, state: "waiting", answer: null }));
      }
    });
  }

  /* --- What is kept where, in words ------------------------------------------------------------------ */

  function counted(entries) {
    const names = { reading: "reading", step: "step", photo: "photo", "take-back": "correction" };
    const words = Object.entries(names).flatMap(([kind, word]) => {
      const count = entries.filter((each) => each.kind === kind).length;
      return count ? [`${count} ${word}${count === 1 ? "" : "s"}`] : [];
    });
    if (entries.some((each) => each.kind === "hand-in")) words.push("handing in");
    return words.length ? words.join(", ") : "An attempt";
  }

  async function saved(person) {
    const all = await read("queue");
    const own = all.filter((each) => each.owner === person);
    const last = person === null ? null : await meta(`sent ${person}`);
    return {
      waiting: own.filter((each) => each.state === "waiting"),
      undecided: own.filter((each) => each.state !== "waiting"),
      others: all.length - own.length,
      last: last === null ? null : new Date(last),
    };
  }

  return {
    add, asPractice, begin, counted, database, decide, device, handIn, keepPack, leaveOut, log, meta, mine,
    moveTo, put, read, remove, saved, send, setMeta, takeBack, tidy,
  };
})();
