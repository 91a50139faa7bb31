"use strict";
/* The clock of the plaster day: what is due now, from the times on the page and from what was tapped since, with or
   without signal. Keeps the screen on where the browser can. */
(function () {
  const TICK_MS = 5000;
  const SHOWN_DUE = 3;
  const KINDS = ["laid", "pass"];
  const queue = window.resurfQueue;
  let drawn = "";
  let taps = [];
  let lock = null;
  let wanted = true;

  const facts = () => {
    const told = document.getElementById("clock");
    return told ? JSON.parse(told.textContent) : null;
  };
  const fill = (text, values) => text.replace(/%\((\w+)\)[sd]/g, (_, name) => values[name]);

  function clockWords(at, clock) {
    const parts = new Intl.DateTimeFormat("en-GB", {
      timeZone: clock.zone, hour: "2-digit", minute: "2-digit", hourCycle: "h23",
    }).formatToParts(at);
    const [hour, minute] = ["hour", "minute"].map((name) => Number(parts.find((part) => part.type === name).value));
    const two = String(minute).padStart(2, "0");
    return clock.units === "us" ? `${hour % 12 || 12}:${two} ${hour < 12 ? "am" : "pm"}` : `${hour}:${two}`;
  }

  const dayOf = (at, zone) => new Intl.DateTimeFormat("en-CA", { timeZone: zone }).format(at);

  /* Laid sections and passes of this page that the service has not told back yet. */
  async function readTaps() {
    if (!queue || !queue.usable() || !window.resurfPage) return;
    const rendered = Date.parse(document.querySelector("meta[name=rendered-at]").content);
    const { mine } = await queue.listed(window.resurfPage.owner);
    taps = mine
      .filter((one) => one.secret.page === location.pathname && Date.parse(one.secret.at) > rendered)
      .filter((one) => !["refused", "gone"].includes(one.state) && one.secret.choice !== "leave")
      .map((one) => ({ at: new Date(one.secret.at), ...Object.fromEntries(one.secret.fields) }))
      .filter((one) => KINDS.includes(one.kind));
  }

  /* Sections with the taps laid over them: what was laid later sets later, and so does what follows it. What is not
     laid by now is laid now at the earliest. */
  function sections(clock, now) {
    let shift = 0;
    return clock.sections.map((row) => {
      const laid = taps.filter((tap) => tap.kind === "laid" && Number(tap.section) === row.n).pop();
      const planned = Date.parse(row.laid);
      if (laid) shift = laid.at - planned;
      else if (!row.laid_at) shift = Math.max(shift, now - planned);
      const moved = laid || !row.laid_at ? shift : 0;
      return {
        n: row.n,
        laid: Boolean(row.laid_at || laid),
        passes: row.passes.map((one) => ({
          n: one.n,
          section: row.n,
          due: new Date(Date.parse(one.due) + moved),
          until: new Date(Date.parse(one.until) + moved),
          done: Boolean(one.done) || taps.some((tap) => tap.kind === "pass" && Number(tap.section) === row.n
            && Number(tap.number) === one.n),
        })),
      };
    });
  }

  function tap(kind, text, values) {
    const form = document.querySelector(`template[data-tap=${kind}]`).content.firstElementChild.cloneNode(true);
    for (const [name, value] of Object.entries(values)) form.elements[name].value = value;
    form.querySelector("button").textContent = text;
    return form;
  }

  function line(text, kind) {
    const one = document.createElement("p");
    one.textContent = text;
    if (kind) one.className = kind;
    return one;
  }

  /* "12", and from a hundred on "1 h 52": the sentence says min. */
  function minutes(span) {
    const all = Math.max(0, Math.round(span / 60000));
    return all < 100 ? `${all}` : `${Math.floor(all / 60)} h ${all % 60}`;
  }

  function draw() {
    const clock = facts();
    const box = document.getElementById("due");
    if (!clock || !box || clock.over) return;
    const now = new Date();
    const live = clock.day === dayOf(now, clock.zone);
    box.hidden = !live;
    if (!live) return;
    const said = clock.words;
    const rows = sections(clock, now);
    const open = rows.flatMap((row) => row.passes).filter((one) => !one.done);
    open.sort((a, b) => a.until - b.until || a.n - b.n || a.section - b.section);
    const due = open.filter((one) => one.due <= now);
    const coming = open.filter((one) => one.due > now).sort((a, b) => a.due - b.due)[0];
    const unlaid = rows.find((row) => !row.laid);
    const begun = clock.begun || rows.some((row) => row.laid);
    let first = said.all_done;
    let count = "";
    if (due.length) {
      const one = due[0];
      first = fill(said.due, { n: one.n, s: one.section, until: clockWords(one.until, clock) });
      const left = one.until - now;
      count = fill(left >= 0 ? said.left_min : said.over_min, { n: minutes(Math.abs(left)) });
    } else if (coming && begun) {
      first = fill(said.next, { n: coming.n, s: coming.section, at: clockWords(coming.due, clock) });
      count = fill(said.in_min, { n: minutes(coming.due - now) });
    } else if (coming) {
      first = fill(said.start, { at: clockWords(new Date(clock.starts), clock) });
      const ahead = new Date(clock.starts) - now;
      count = ahead > 0 ? fill(said.in_min, { n: minutes(ahead) }) : "";
    }
    const shown = due.slice(0, SHOWN_DUE);
    const key = [shown.map((one) => `${one.n}.${one.section}.${+one.until}`), unlaid && unlaid.n, due.length].join("|");
    const place = box.querySelector("[data-clock]");
    if (key !== drawn || !place.querySelector("[data-now]")) {
      drawn = key;
      const parts = [line("", "now"), line("", "count")];
      parts[0].dataset.now = "";
      parts[1].setAttribute("aria-live", "off");
      for (const one of shown) {
        const values = { n: one.n, s: one.section, until: clockWords(one.until, clock) };
        parts.push(tap("pass", fill(said.tap_pass, values), { section: one.section, number: one.n }));
      }
      if (due.length > SHOWN_DUE) parts.push(line(fill(said.more, { n: due.length - SHOWN_DUE }), "soft"));
      if (unlaid) parts.push(tap("laid", fill(said.tap_laid, { s: unlaid.n }), { section: unlaid.n }));
      if (taps.length) parts.push(line(said.shifted, "soft"));
      place.replaceChildren(...parts);
    }
    place.querySelector(".now").textContent = first;
    place.querySelector(".count").textContent = count;
    awake();
  }

  // The screen

  async function awake() {
    const box = document.getElementById("awake");
    const clock = facts();
    if (!navigator.wakeLock || !box || !clock || document.hidden) return;
    if (wanted && !lock) {
      try {
        lock = await navigator.wakeLock.request("screen");
        lock.addEventListener("release", () => { lock = null; });
      } catch (problem) {
        lock = null; // a nearly empty battery: the phone decides
      }
    }
    box.hidden = false;
    box.querySelector("span").textContent = lock ? clock.words.awake : clock.words.dark;
    box.querySelector("button").textContent = lock ? clock.words.let_dark : clock.words.stay_on;
  }

  document.addEventListener("click", async (event) => {
    if (!event.target.closest("#awake button")) return;
    wanted = !lock;
    if (lock) await lock.release();
    awake();
  });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) tick(); });

  async function tick() {
    await readTaps();
    draw();
  }

  document.addEventListener("resurf:kept", tick);
  document.addEventListener("resurf:swapped", () => { drawn = ""; tick(); });
  if (queue) queue.heard(() => tick());
  setInterval(draw, TICK_MS);
  tick();
})();
