"use strict";
/* What was logged and not sent: kept on the phone under a key of its member, sent in order, each id once.
   Shared by the pages and the service worker. */
(function (scope) {
  const NAME = "resurf-queue";
  const DOOR = "/site/queue/";
  const HELLO_MS = 8000;
  const POST_MS = 15000;
  const TRIES = 5; // answers of "server error" to one entry before it is shown and no longer holds up the others
  const SENT_KEPT_MS = 48 * 3600 * 1000;
  const DAY_CACHE = "resurf-day-";

  // Each step adds and never takes away: a page of the release before must still find its entries.
  const STEPS = [
    (db) => {
      db.createObjectStore("entries", { keyPath: "seq", autoIncrement: true })
        .createIndex("client_id", "client_id", { unique: true });
      db.createObjectStore("keys", { keyPath: "owner" });
    },
    (db, move) => move.objectStore("entries").createIndex("owner", "owner"),
  ];

  let opened = null;

  function open() {
    opened = opened || opening(STEPS.length).catch((problem) => {
      if (problem && problem.name === "VersionError") return opening(undefined); // a newer release was here
      opened = null;
      throw problem;
    });
    return opened;
  }

  function opening(version) {
    return new Promise((resolve, reject) => {
      const asked = version ? indexedDB.open(NAME, version) : indexedDB.open(NAME);
      asked.onupgradeneeded = (event) => {
        for (let step = event.oldVersion; step < STEPS.length; step += 1) STEPS[step](asked.result, asked.transaction);
      };
      asked.onerror = () => reject(asked.error);
      asked.onsuccess = () => {
        const db = asked.result;
        db.onversionchange = () => { db.close(); opened = null; };
        db.onclose = () => { opened = null; };
        resolve(db);
      };
    });
  }

  /* One transaction; once more where a newer release closed the store in between. */
  async function within(store, mode, work) {
    try {
      return await transacted(await open(), store, mode, work);
    } catch (problem) {
      if (!problem || problem.name !== "InvalidStateError") throw problem;
      opened = null;
      return transacted(await open(), store, mode, work);
    }
  }

  function transacted(db, store, mode, work) {
    return new Promise((resolve, reject) => {
      const move = db.transaction(store, mode, { durability: "strict" });
      let result;
      move.oncomplete = () => resolve(result && "result" in result ? result.result : result);
      move.onerror = move.onabort = () => reject(move.error);
      result = work(move.objectStore(store));
    });
  }

  const records = () => within("entries", "readonly", (store) => store.getAll());
  const remove = (seq) => within("entries", "readwrite", (store) => store.delete(seq));

  // Keys: never readable by a script, gone at the log-out.

  async function keyOf(owner) {
    const row = await within("keys", "readonly", (store) => store.get(owner));
    return row ? row.key : null;
  }

  async function keysTake(owners) {
    const known = new Set(owners.map((one) => one.owner));
    const rows = await within("keys", "readonly", (store) => store.getAll());
    const present = new Set(rows.map((row) => row.owner));
    for (const row of rows) {
      if (!known.has(row.owner)) await within("keys", "readwrite", (store) => store.delete(row.owner));
    }
    for (const one of owners) {
      if (present.has(one.owner)) continue;
      const bytes = Uint8Array.from(atob(one.key), (sign) => sign.charCodeAt(0));
      const key = await crypto.subtle.importKey("raw", bytes, "AES-GCM", false, ["encrypt", "decrypt"]);
      await within("keys", "readwrite", (store) => store.put({ owner: one.owner, key }));
    }
  }

  const bytesOf = (text) => new TextEncoder().encode(text);

  async function locked(owner, clientId, secret) {
    const key = await keyOf(owner);
    if (!key) return null;
    const iv = crypto.getRandomValues(new Uint8Array(12));
    const about = { name: "AES-GCM", iv, additionalData: bytesOf(clientId) };
    return { iv, data: await crypto.subtle.encrypt(about, key, bytesOf(JSON.stringify(secret))) };
  }

  async function unlocked(record) {
    const key = await keyOf(record.owner);
    if (!key) return null;
    try {
      const about = { name: "AES-GCM", iv: record.iv, additionalData: bytesOf(record.client_id) };
      return JSON.parse(new TextDecoder().decode(await crypto.subtle.decrypt(about, key, record.data)));
    } catch (problem) {
      return null; // locked under an older key; it stays
    }
  }

  /* Keep an entry; resolves once it is on the disk of the phone. Null where no key is there to lock it. */
  async function add(owner, clientId, secret) {
    const sealed = await locked(owner, clientId, secret);
    if (!sealed) return null;
    const record = { client_id: clientId, owner, state: "waiting", at: Date.now(), ...sealed };
    await within("entries", "readwrite", (store) => store.add(record));
    changed();
    return clientId;
  }

  async function write(record, state, secret) {
    const sealed = await locked(record.owner, record.client_id, secret);
    if (!sealed) return;
    await within("entries", "readwrite", (store) => store.put({ ...record, ...sealed, state, changed: Date.now() }));
    changed();
  }

  /* Entries of a member in order, opened, and how many others lie here closed. */
  async function listed(owner) {
    const all = await records();
    const mine = [];
    let others = 0;
    for (const record of all) {
      const secret = record.owner === owner ? await unlocked(record) : null;
      if (secret) mine.push({ seq: record.seq, client_id: record.client_id, state: record.state, at: record.at, secret });
      else if (record.state !== "sent") others += 1;
    }
    return { mine, others };
  }

  async function count() {
    return (await records()).filter((record) => record.state !== "sent").length;
  }

  async function find(clientId) {
    return within("entries", "readonly", (store) => store.index("client_id").get(clientId));
  }

  /* What a person decided about an entry that was not taken: it waits again, with the choice. */
  async function choose(clientId, choice) {
    const record = await find(clientId);
    const secret = record && (await unlocked(record));
    if (!secret) return;
    secret.choice = choice;
    secret.version = secret.answer ? secret.answer.version : "";
    secret.tries = 0;
    await write(record, "waiting", secret);
  }

  async function drop(clientId) {
    const record = await find(clientId);
    if (record) await remove(record.seq);
    changed();
  }

  // Sending

  async function asked(address, options, patience) {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), patience);
    try {
      const answer = await fetch(address, {
        credentials: "same-origin", cache: "no-store", redirect: "manual", signal: stop.signal, ...options,
      });
      let body = null;
      if ((answer.headers.get("Content-Type") || "").startsWith("application/json")) body = await answer.json();
      return { status: answer.status, body };
    } catch (problem) {
      return { status: 0, body: null };
    } finally {
      clearTimeout(timer);
    }
  }

  /* Who is logged in: {ok, owners, csrf, now}, or {why: "signal" | "server" | "login" | "access"}. */
  async function hello() {
    const { status, body } = await asked(DOOR, { headers: { Accept: "application/json" } }, HELLO_MS);
    if (status === 200 && body && body.owners) {
      await keysTake(body.owners);
      return { ok: true, owners: body.owners.map((one) => one.owner), csrf: body.csrf, now: body.now };
    }
    if (status === 401 && body && body.outcome === "login") return { ok: false, why: "login" };
    if (status === 403) return { ok: false, why: "access" };
    return { ok: false, why: status >= 500 || status === 429 ? "server" : "signal" };
  }

  const withLock = (work) =>
    scope.navigator.locks ? scope.navigator.locks.request(NAME, work) : work();

  /* Send what waits, in order; what needs a person holds up only later entries of the same job. */
  function send(looking) {
    return withLock(async () => {
      await prune();
      const all = await records();
      if (!all.some((record) => record.state === "waiting")) return { ok: true, sent: 0, answers: {} };
      const who = await hello();
      if (!who.ok) return who;
      const held = new Set();
      const answers = {};
      let sent = 0;
      for (const record of all) {
        if (record.state === "sent" || !who.owners.includes(record.owner)) continue;
        const secret = await unlocked(record);
        if (!secret) continue;
        if (record.state !== "waiting") held.add(secret.thread);
        if (held.has(secret.thread)) continue;
        const answer = await post(record, secret, who.csrf, looking === record.client_id);
        answers[record.client_id] = answer;
        if (answer.stop) return { ok: false, why: answer.stop, sent, answers };
        if (answer.taken) sent += 1;
        else held.add(secret.thread);
      }
      return { ok: true, sent, answers };
    });
  }

  async function post(record, secret, csrf, looking) {
    const told = {
      client_id: record.client_id, owner: record.owner, address: secret.address, fields: secret.fields,
      said: secret.said, at: secret.at, sent_at: new Date().toISOString(), seen: secret.seen,
      choice: secret.choice || "", version: secret.version || "", looking: Boolean(looking),
    };
    const headers = { "Content-Type": "application/json", Accept: "application/json", "X-CSRFToken": csrf };
    const { status, body } = await asked(DOOR, { method: "POST", headers, body: JSON.stringify(told) }, POST_MS);
    const outcome = body ? body.outcome : "";
    if (status === 200 && ["kept", "note", "set_aside"].includes(outcome)) {
      await write(record, "sent", { ...secret, answer: body });
      return { taken: true, ...body };
    }
    if (["conflict", "refused", "gone"].includes(outcome)) {
      const { page, ...answer } = body;
      await write(record, outcome, { ...secret, answer });
      return body;
    }
    if (status === 401) return { stop: "login" };
    if (status === 403) return { stop: outcome === "other" ? "other" : "access" };
    if (status < 500) return { stop: status === 429 ? "server" : "signal" };
    const tries = (secret.tries || 0) + 1;
    const state = tries >= TRIES ? "failed" : "waiting";
    await write(record, state, { ...secret, tries, answer: { outcome: "failed", status } });
    return state === "failed" ? { outcome: "failed" } : { stop: "server" };
  }

  async function prune() {
    const old = Date.now() - SENT_KEPT_MS;
    for (const record of await records()) {
      if (record.state === "sent" && (record.changed || 0) < old) await remove(record.seq);
    }
  }

  /* The log-out: keys, sent entries and pages go; what was not sent stays, closed. */
  async function forget() {
    await within("keys", "readwrite", (store) => store.clear());
    for (const record of await records()) if (record.state === "sent") await remove(record.seq);
    await pagesForget(null);
  }

  /* Remove the pages kept for anybody but this owner. */
  async function pagesForget(owner) {
    if (!scope.caches) return;
    for (const name of await scope.caches.keys()) {
      if (name.startsWith(DAY_CACHE) && name !== DAY_CACHE + owner) await scope.caches.delete(name);
    }
  }

  /* Somebody is logged in: keys and pages of others go; what they did not send stays, closed. */
  async function onlyFor(owner) {
    for (const row of await within("keys", "readonly", (store) => store.getAll())) {
      if (row.owner !== owner) await within("keys", "readwrite", (store) => store.delete(row.owner));
    }
    await pagesForget(owner);
  }

  // Other pages and the worker hear of every change.

  const news = scope.BroadcastChannel ? new BroadcastChannel(NAME) : null;
  const hearers = [];
  function changed() {
    if (news) news.postMessage("changed");
    for (const hearer of hearers) hearer();
  }
  function heard(hearer) {
    hearers.push(hearer);
    if (news) news.addEventListener("message", hearer);
  }

  /* False where the browser has no store or no encryption (plain http): forms then go the plain way. */
  const usable = () => Boolean(scope.indexedDB && scope.crypto && scope.crypto.subtle && scope.crypto.randomUUID);

  /* Whether this phone has a queue at all, without making one. */
  async function present() {
    if (!usable()) return false;
    if (!indexedDB.databases) return true;
    return (await indexedDB.databases()).some((one) => one.name === NAME);
  }

  scope.resurfQueue = {
    NAME, STEPS, DAY_CACHE, usable, present, open, add, listed, count, find, choose, drop, hello, send, forget,
    pagesForget, onlyFor, keyOf, heard,
  };
})(self);
