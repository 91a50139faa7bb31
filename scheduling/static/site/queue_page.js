"use strict";
/* The queue on a page: takes over the forms, says in words what waits, shows both versions of a conflict. */
(function () {
  const queue = window.resurfQueue;
  const { words, box, fill, counted, hour, moment, make, button } = window.resurfSaid;
  const owner = document.querySelector("meta[name=phone-owner]").content;
  const FIRST_WAIT_MS = 2000;
  const LONGEST_WAIT_MS = 60000;
  const PATIENT_MS = 1500; // then the tap counts as kept and the next one may come
  const COPY_S = 60;
  const SHOWN = 40;
  let wait = FIRST_WAIT_MS;
  let timer = null;
  let state = "";
  let busy = 0;
  let drawn = "";

  // What is typed goes into the queue

  const seen = () => {
    const told = document.getElementById("seen");
    return told ? JSON.parse(told.textContent) : { job: "", stints: {} };
  };

  /* The entry as its form says it: the button, then what was filled in. */
  function said(form, pressed) {
    const parts = [];
    for (const field of form.querySelectorAll(".field")) {
      const input = field.querySelector("input:not([type=hidden]), select, textarea");
      const label = field.querySelector("label");
      if (!input || !input.value || !label || (input.type === "radio" && !field.querySelector(":checked"))) continue;
      const value = input.tagName === "SELECT" ? input.selectedOptions[0].textContent : input.value;
      const [name, unit] = [label.firstChild.textContent.trim(), field.querySelector(".unit")];
      parts.push(`${name} ${value}${unit ? " " + unit.textContent.trim() : ""}`);
    }
    const title = (pressed || form.querySelector("button")).textContent.trim();
    return (parts.length ? `${title}: ${parts.join(", ")}` : title).slice(0, 240);
  }

  /* What the form itself says: a field of the same name ("action") would stand before its property. */
  function told(form, name) {
    return form.getAttribute(name) || "";
  }

  function read(form, pressed) {
    const data = new FormData(form, pressed);
    const fields = [];
    for (const [name, value] of data) {
      if (typeof value !== "string") return null; // a file: that form goes the plain way
      if (!["csrfmiddlewaretoken", "client_id", "at"].includes(name)) fields.push([name, value]);
    }
    const shown = seen();
    const address = new URL(told(form, "action") || location.href, location.href).pathname;
    return {
      address, fields, said: said(form, pressed), at: new Date().toISOString(), seen: shown.stints,
      page: location.pathname, thread: shown.job || address,
    };
  }

  const hasKey = queue.keyOf(owner).then(Boolean).catch(() => false);

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.closest("#main") || told(form, "method").toLowerCase() !== "post" || !form.querySelector("[name=client_id]")) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    if (form.dataset.busy) return;
    form.dataset.busy = "yes";
    take(form, event.submitter).finally(() => { delete form.dataset.busy; });
  }, true);

  async function take(form, pressed) {
    const entry = read(form, pressed);
    const clientId = crypto.randomUUID();
    let kept = null;
    if (entry) {
      try {
        if (!(await hasKey)) await queue.hello();
        kept = await queue.add(owner, clientId, entry);
      } catch (problem) {
        kept = null;
      }
    }
    if (!kept) { // a file, or no key, or no room: as if there were no script
      const who = await queue.hello().catch(() => ({ ok: false }));
      if (who.ok) HTMLFormElement.prototype.submit.call(form);
      else note(form, words.not_kept, "error");
      return;
    }
    if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => {});
    note(form, fill(words.kept, { at: hour(entry.at) }), "kept");
    document.dispatchEvent(new CustomEvent("resurf:kept", { detail: entry }));
    plan();
    const sending = sendNow(clientId);
    const done = await Promise.race([sending, new Promise((resolve) => setTimeout(resolve, PATIENT_MS, null))]);
    if (!done) {
      clear(form);
      sending.then((found) => follow(found, clientId, typing() ? null : form));
    } else {
      await follow(done, clientId, form);
    }
  }

  /* What the page does once its own entry was answered. */
  async function follow(found, clientId, form) {
    const answer = (found.answers || {})[clientId];
    if (answer && answer.outcome === "refused" && form && form.isConnected && swap(answer.page, ".error")) {
      await queue.drop(clientId); // what was typed stands in the form again, with what is wrong with it
    } else if (answer && answer.taken && answer.next && answer.next !== location.pathname && form) {
      location.assign(answer.next);
    } else if (answer && answer.taken) {
      if (form && form.isConnected) {
        clear(form);
        if (form.contains(document.activeElement)) document.activeElement.blur();
      }
      await refresh(false); // not under the fingers of somebody who types the next already
    } else if (form && form.isConnected) {
      clear(form);
    }
  }

  function note(form, text, kind) {
    const old = form.querySelector(".kept-note");
    if (old) old.remove();
    const said = make("p", text, `kept-note ${kind}`);
    said.setAttribute("role", "status");
    form.append(said);
  }

  function clear(form) {
    if (form.isConnected) form.reset();
  }

  // The page itself

  /* Put a page of the service in place of this one, if it holds what it has to. */
  function swap(html, needed) {
    const fresh = new DOMParser().parseFromString(html || "", "text/html");
    const [now, then] = [document.getElementById("main"), fresh.getElementById("main")];
    if (!then || (needed && !then.querySelector(needed))) return false;
    const title = (one) => one.querySelector("summary")?.textContent;
    const unfolded = new Set([...now.querySelectorAll("details[open]")].map(title));
    for (const one of then.querySelectorAll("details")) if (unfolded.has(title(one))) one.open = true;
    now.replaceWith(document.adoptNode(then));
    const [told, old] = [fresh.getElementById("seen"), document.getElementById("seen")];
    if (told && old) old.replaceWith(document.adoptNode(told));
    const [at, newer] = [document, fresh].map((one) => one.querySelector("meta[name=rendered-at]"));
    if (newer && newer.content) at.content = newer.content;
    document.title = fresh.title || document.title;
    if (window.htmx) window.htmx.process(then);
    document.dispatchEvent(new CustomEvent("resurf:swapped"));
    return true;
  }

  const typing = () => {
    const main = document.getElementById("main");
    const fields = main.querySelectorAll("form input:not([type=hidden]), form textarea, form select");
    return [...fields].some((one) => one === document.activeElement || (one.type !== "radio" && one.type !== "checkbox"
      && one.tagName !== "SELECT" && one.value !== one.defaultValue));
  };

  /* Show the page as it is now, unless somebody is typing in it. */
  async function refresh(always) {
    if (!always && typing()) return;
    try {
      const answer = await fetch(location.href, { credentials: "same-origin", cache: "no-store" });
      if (answer.redirected && !answer.url.startsWith(location.origin + location.pathname)) location.assign(answer.url);
      else if (answer.status === 200) {
        const html = await answer.text();
        if (always || !typing()) swap(html);
      }
    } catch (problem) {
      /* no signal: the page stays as it is */
    }
    copyNote();
  }

  // Sending

  async function sendNow(looking) {
    busy += 1;
    draw();
    let found;
    try {
      found = await queue.send(looking);
    } catch (problem) {
      found = { ok: false, why: "signal" };
    }
    busy -= 1;
    state = found.ok ? "" : found.why;
    wait = found.ok ? FIRST_WAIT_MS : Math.min(LONGEST_WAIT_MS, 2 * wait);
    await draw();
    copyNote();
    plan();
    if (found.sent && !looking) refresh(false);
    return found;
  }

  /* Try again later, as long as something waits. */
  async function plan() {
    clearTimeout(timer);
    const { mine } = await queue.listed(owner);
    if (!mine.some((one) => one.state === "waiting")) return;
    if (!held(mine)) timer = setTimeout(() => sendNow(), wait);
    const worker = navigator.serviceWorker && (await navigator.serviceWorker.getRegistration());
    if (worker && worker.sync) worker.sync.register(queue.NAME).catch(() => {});
  }

  const held = (mine) => {
    const first = mine.find((one) => one.state !== "sent" && one.state !== "waiting");
    return Boolean(first) && mine.every((one) => one.state !== "waiting" || one.secret.thread === first.secret.thread);
  };

  // What waits, in words

  const OPEN = ["conflict", "refused", "gone", "failed"];

  async function draw() {
    const { mine, others } = await queue.listed(owner);
    const waiting = mine.filter((one) => one.state === "waiting");
    const open = mine.filter((one) => OPEN.includes(one.state));
    const sent = mine.filter((one) => one.state === "sent");
    const lines = [];
    if (open.length) lines.push(counted("choice", open.length));
    if (waiting.length) {
      const why = busy ? words.sending : state === "login" ? "" : words["why_" + state] || "";
      lines.push([counted("waiting", waiting.length), why].filter(Boolean).join(" "));
    }
    if (!waiting.length && !open.length) lines.push(sent.length ? counted("sent", sent.length) : words.nothing);
    if (others) lines.push(words.others);
    const said = make("div", "", "said");
    said.setAttribute("role", "status");
    for (const line of lines) said.append(make("p", line));
    const parts = [said];
    const acts = make("p", "", "acts");
    if (waiting.length && state === "login") {
      const link = make("a", fill(words.login, { name: box.dataset.name }), "act");
      link.href = `${box.dataset.login}?next=${encodeURIComponent(location.pathname + location.search)}`;
      acts.append(link);
    } else if (waiting.length && !busy) {
      acts.append(button(words.send_now, "quiet", () => sendNow()));
    }
    if (acts.childNodes.length) parts.push(acts);
    if (mine.length) parts.push(list(mine));
    if (waiting.length < Number(box.dataset.waiting || 0) && !busy) refresh(false); // sent by the worker or another tab
    box.dataset.waiting = waiting.length;
    box.dataset.open = open.length;
    box.classList.toggle("asks", Boolean(open.length || state === "login"));
    box.classList.toggle("waits", Boolean(waiting.length));
    box.hidden = false;
    const shape = parts.map((part) => part.outerHTML.replace(" open=\"\"", "")).join("");
    if (shape === drawn) return; // a finger may be on its way to a button
    drawn = shape;
    const focused = document.activeElement && document.activeElement.closest("#queue");
    if (focused && document.activeElement.dataset.id) lastFocus = document.activeElement.dataset.id;
    box.replaceChildren(...parts);
    if (focused && lastFocus) box.querySelector(`[data-id="${lastFocus}"]`)?.focus();
  }
  let lastFocus = "";

  function list(mine) {
    const all = make("details");
    all.open = box.querySelector("details") ? box.querySelector("details").open : false;
    if (mine.some((one) => OPEN.includes(one.state))) all.open = true;
    const title = make("summary", words.list);
    title.dataset.id = "list";
    const rows = make("ol", "", "entries");
    const first = (one) => (OPEN.includes(one.state) ? 0 : one.state === "waiting" ? 1 : 2);
    const sorted = [...mine].sort((a, b) => first(a) - first(b) || (first(a) < 2 ? a.seq - b.seq : b.seq - a.seq));
    for (const one of sorted.slice(0, SHOWN)) rows.append(row(one));
    all.append(title, rows);
    return all;
  }

  function row({ client_id: id, state: now, secret }) {
    const line = make("li");
    const place = secret.page === location.pathname ? "" : ` (${secret.place || secret.page})`;
    line.append(make("p", `${hour(secret.at)} ${secret.said}${place.length > 40 ? "" : place}: ${words["state_" + now]}`));
    const answer = secret.answer || {};
    if (now === "conflict") {
      line.append(make("p", `${words.mine} ${secret.said}, ${moment(secret.at)}. ${answer.mine ? words.shown + " " + answer.mine : ""}`, "version"));
      line.append(make("p", `${words.theirs} ${answer.theirs}`, "version"));
    }
    for (const text of answer.words || []) if (now !== "sent") line.append(make("p", text, "error"));
    const acts = make("p", "", "acts");
    const act = (text, choice) => {
      const one = button(text, "quiet", async () => {
        await queue.choose(id, choice);
        await sendNow();
        refresh(false);
      });
      one.dataset.id = id + choice;
      acts.append(one);
    };
    if (now === "conflict") for (const choice of answer.choices) act(words["choose_" + choice + "_" + answer.why] || words["choose_" + choice], choice);
    if (now === "refused") acts.append(button(words.put_right, "quiet", () => putRight(id, secret.page)));
    if (now === "failed") act(words.send_now, "");
    if (["refused", "gone", "failed"].includes(now)) act(words.leave_out, "leave");
    if (acts.childNodes.length) line.append(acts);
    return line;
  }

  /* Open the page it was typed on, with what was typed and what is wrong with it. */
  async function putRight(id, page) {
    if (location.pathname !== page) {
      sessionStorage.setItem("resurf-put-right", id);
      location.assign(page);
      return;
    }
    await queue.choose(id, "");
    const found = await sendNow(id);
    const answer = (found.answers || {})[id];
    if (answer && swap(answer.page, ".error")) {
      await queue.drop(id);
      document.querySelector("#main .error")?.scrollIntoView({ block: "center" });
    } else if (answer && answer.taken) {
      refresh(true);
    }
  }

  // A page kept on the phone says so

  let answeredAt = null; // the service's clock, when it last answered

  function copyNote() {
    const shown = document.getElementById("copy");
    const rendered = document.querySelector("meta[name=rendered-at]").content;
    if (!shown || !rendered) return;
    shown.hidden = navigator.onLine && state !== "signal" && state !== "server";
    shown.textContent = fill(words.copy, { at: moment(rendered) });
    days();
  }

  /* "Today" and "Tomorrow" by the date of the phone, where the page is of another day. */
  function days() {
    const local = (at) => new Date(at.getTime() - 60000 * at.getTimezoneOffset()).toISOString().slice(0, 10);
    const rendered = new Date(document.querySelector("meta[name=rendered-at]").content);
    const passed = Math.round((Date.parse(local(new Date())) - Date.parse(local(rendered))) / 86400000);
    if (passed < 1) return;
    for (const title of document.querySelectorAll("[data-day]")) {
      const text = title.textContent.replace(words.today, "").replace(words.tomorrow, "");
      const ahead = Number(title.dataset.day) - passed;
      title.textContent = (ahead === 0 ? words.today : ahead === 1 ? words.tomorrow : "") + text;
    }
  }

  /* Ask the worker to keep this page and those of today and tomorrow. */
  function keepDay() {
    if (navigator.serviceWorker) navigator.serviceWorker.controller?.postMessage({ keep: location.pathname, owner });
  }

  async function greet() {
    const who = await queue.hello().catch(() => ({ ok: false, why: "signal" }));
    state = who.ok ? "" : who.why;
    if (who.ok) {
      answeredAt = who.now;
      const rendered = document.querySelector("meta[name=rendered-at]").content;
      if (rendered && (Date.parse(answeredAt) - Date.parse(rendered)) / 1000 > COPY_S) await refresh(false);
      keepDay();
    }
    await draw();
    copyNote();
    return who.ok;
  }

  async function back() {
    wait = FIRST_WAIT_MS;
    if (await greet()) await sendNow();
    copyNote();
  }

  async function begin() {
    if (!owner || !queue.usable()) return;
    await queue.open();
    if (navigator.serviceWorker) {
      navigator.serviceWorker.register(box.dataset.worker, { scope: "/", updateViaCache: "none" }).catch(() => {});
      navigator.serviceWorker.addEventListener("controllerchange", keepDay);
    }
    queue.heard(() => draw());
    window.addEventListener("online", back);
    window.addEventListener("offline", () => { state = "signal"; draw(); copyNote(); });
    document.addEventListener("visibilitychange", () => { if (!document.hidden) back(); });
    await draw();
    await back();
    const id = sessionStorage.getItem("resurf-put-right");
    sessionStorage.removeItem("resurf-put-right");
    if (id) await putRight(id, location.pathname);
  }

  window.resurfPage = { fill, hour, refresh, owner };
  begin();
})();
