/* Answers for the site while the network is away: with the page that fills itself, and by writing down what a
 * form was sending. KEPT is put before this by the site. Nothing of a person's pages is ever cached. */
"use strict";

importScripts(KEPT.store, ...KEPT.files.filter((name) => name.endsWith("bench-photos.js")));

const CACHE = `bench-${KEPT.version}`;
const ATTEMPT = /^\/attempts\/([0-9a-f-]{36})\//;
const STEP = /^\/attempts\/([0-9a-f-]{36})\/steps\/(\d+)\/(readings\/|back\/)?$/;
const READING = /^\/attempts\/([0-9a-f-]{36})\/readings\/([0-9a-f-]{36})\/(back\/)?$/;
const HAND_IN = /^\/attempts\/([0-9a-f-]{36})\/hand-in\/$/;

self.addEventListener("install", (event) => {
  event.waitUntil(keep().then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(forgetOlder().then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.mode === "navigate" && request.method === "GET") event.respondWith(shown(request, url));
  else if (request.mode === "navigate" && request.method === "POST") event.respondWith(sent(request, url));
  else if (KEPT.files.includes(url.pathname)) event.respondWith(file(request, url));
});

async function keep() {
  const cache = await caches.open(CACHE);
  // Without cookies: the page is a stranger's, and holds nobody's name.
  const requests = [KEPT.page, ...KEPT.files].map(
    (address) => new Request(address, { credentials: "omit", cache: "reload" }),
  );
  await cache.addAll(requests);
}

async function forgetOlder() {
  const names = await caches.keys();
  const older = names.filter((name) => name.startsWith("bench-") && name !== CACHE);
  await Promise.all(older.map((name) => caches.delete(name)));
}

const kept = async (address) => (await caches.open(CACHE)).match(address);

async function file(request, url) {
  try {
    return await fetch(request);
  } catch (error) {
    const found = await kept(url.pathname);
    if (found) return found;
    throw error;
  }
}

async function shown(request, url) {
  if (await isOnlyHere(url)) return kept(KEPT.page);
  try {
    return await fetch(request);
  } catch (error) {
    const page = await kept(KEPT.page);
    if (page) return page;
    throw error;
  }
}

/* Whether an attempt was begun on this phone, and the site doesn't know of it yet. */
async function isOnlyHere(url) {
  const found = ATTEMPT.exec(url.pathname);
  if (found === null) return false;
  const start = await benchStore.read("queue", found[1]).catch(() => undefined);
  return start !== undefined && start.owner === (await benchStore.meta("person"));
}

async function sent(request, url) {
  const copy = [STEP, READING, HAND_IN].some((form) => form.test(url.pathname)) ? request.clone() : null;
  // Nothing overtakes what waits: the site numbers what it is sent as it comes.
  if (copy !== null && (await stillWaits(url))) return written(copy, url, new TypeError("Nothing was kept"));
  let response;
  try {
    response = await fetch(request);
  } catch (error) {
    if (copy === null) throw error;
    return written(copy, url, error);
  }
  // A form that was taken leads on; one with something wrong in it comes back as a page.
  const taken = response.type === "opaqueredirect";
  if (url.pathname === KEPT.signOut && taken) await benchStore.setMeta("person", null);
  if (copy !== null && taken) await remembered(copy, url).catch(() => {});
  return response;
}

/* Whether something of this attempt is still on its way after trying to send it. */
async function stillWaits(url) {
  const attempt = ATTEMPT.exec(url.pathname)[1];
  const waits = async () => {
    const mine = await benchStore.mine("queue", await benchStore.meta("person"));
    return mine.some((each) => each.attempt === attempt && each.state === "waiting");
  };
  if (!(await waits())) return false;
  await benchStore.send().catch(() => {});
  return waits();
}

/* What the site took is remembered as logged, for when the network goes before the next page is there. */
async function remembered(request, url) {
  const attempt = ATTEMPT.exec(url.pathname)[1];
  if (await isMine(attempt)) await write(attempt, url, await request.formData(), { isIn: true });
}

async function isMine(attempt) {
  const known = await benchStore.read("attempts", attempt);
  return known !== undefined && known.owner === (await benchStore.meta("person"));
}

/* Write down what a form was sending. Its id goes with it, in case the site had it after all. */
async function written(request, url, error) {
  const attempt = ATTEMPT.exec(url.pathname)[1];
  if (!(await isMine(attempt))) throw error;
  try {
    await write(attempt, url, await request.formData(), { isIn: false });
  } catch (problem) {
    const words = problem instanceof benchPhotos.NoPhoto ? problem.message : "full";
    return Response.redirect(`${url.pathname}?problem=${encodeURIComponent(words)}`, 303);
  }
  return Response.redirect(await next(attempt, url), 303);
}

async function write(attempt, url, form, { isIn }) {
  const step = STEP.exec(url.pathname);
  const reading = READING.exec(url.pathname);
  if (step === null && reading === null) return benchStore.handIn({ attempt, isIn });
  const fields = Object.fromEntries([...form].filter(([, value]) => typeof value === "string"));
  const known = await benchStore.read("attempts", attempt);
  const corrects = reading === null ? undefined : reading[2];
  const position = step !== null ? Number(step[2]) : known.readings.find((each) => each.id === corrects)?.position;
  if ((step ?? reading)[3] === "back/") return benchStore.takeBack({ attempt, position, corrects, fields, isIn });
  const photo = form.has("photo") && !isIn ? await benchPhotos.fit(form.get("photo")) : undefined;
  return benchStore.log({ attempt, position, fields, photo, corrects, isIn });
}

/* Where the site would have led: to the next step without an entry, or to the list. */
async function next(attempt, url) {
  const step = STEP.exec(url.pathname);
  if (step === null) return `/attempts/${attempt}/`;
  const known = await benchStore.read("attempts", attempt);
  const { content } = await benchStore.read("packs", known.digest);
  const position = Number(step[2]);
  if (step[3] === "back/") return `/attempts/${attempt}/steps/${position}/`;
  if (step[3] === "readings/") return url.pathname;
  const later = content.steps.find((each) => each.position > position && !known.standing[each.position]);
  return later ? `/attempts/${attempt}/steps/${later.position}/` : `/attempts/${attempt}/`;
}
