"use strict";
/* Words and elements of the queue on a page: counts, times as the pages say them, buttons. */
window.resurfSaid = (function () {
  const words = JSON.parse(document.getElementById("queue-words").textContent);
  const box = document.getElementById("queue");
  const fill = (text, values) => text.replace(/%\((\w+)\)[sd]/g, (_, name) => values[name]);
  const counted = (name, n) => fill(n === 1 ? words[name + "_1"] : words[name + "_n"], { n });
  const language = document.documentElement.lang;
  const timeZone = box.dataset.zone;

  /* As the pages say it: "6:40 am" or "6:40", "Tuesday 14 April, 6:40 am", in the zone of the site. */
  function hour(at) {
    const clock = new Intl.DateTimeFormat("en-GB", { timeZone, hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
    const [hours, minutes] = clock.format(new Date(at)).split(":").map(Number);
    const two = String(minutes).padStart(2, "0");
    return box.dataset.units === "us" ? `${hours % 12 || 12}:${two} ${hours < 12 ? "am" : "pm"}` : `${hours}:${two}`;
  }

  function moment(at) {
    const day = new Intl.DateTimeFormat(language, { timeZone, weekday: "long", day: "numeric", month: "long" });
    const part = (kind) => day.formatToParts(new Date(at)).find((one) => one.type === kind).value;
    const of = language.startsWith("es") ? " de " : " ";
    return `${part("weekday")} ${part("day")}${of}${part("month")}, ${hour(at)}`;
  }

  function make(tag, text, kind) {
    const one = document.createElement(tag);
    if (text) one.textContent = text;
    if (kind) one.className = kind;
    return one;
  }

  function button(text, kind, act) {
    const one = make("button", text, kind);
    one.type = "button";
    one.addEventListener("click", act);
    return one;
  }

  return { words, box, fill, counted, hour, moment, make, button };
})();
