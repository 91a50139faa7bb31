// One tick for all moves of a job, and one for all of them. Without this script each move has its own tick.
"use strict";
(() => {
  const ticks = (part) => [...part.querySelectorAll("input[name=take]")];

  function head(part, words, place) {
    const label = document.createElement("label");
    label.className = "all no-print";
    const tick = document.createElement("input");
    tick.type = "checkbox";
    label.append(tick, ` ${words}`);
    place(label);
    const show = () => {
      const mine = ticks(part);
      const on = mine.filter((one) => one.checked).length;
      tick.checked = on === mine.length;
      tick.indeterminate = on > 0 && on < mine.length;
    };
    tick.addEventListener("change", () => {
      for (const one of ticks(part)) one.checked = tick.checked;
    });
    return show;
  }

  for (const form of document.querySelectorAll("[data-some]")) {
    const words = form.dataset;
    const shows = [...form.querySelectorAll("[data-job]")].map((part) =>
      head(part, words.job, (label) => part.querySelector("h3").append(label)),
    );
    shows.push(head(form, words.every, (label) => form.querySelector(".actions").prepend(label)));
    const all = () => {
      for (const show of shows) show();
    };
    form.addEventListener("change", all);
    all();
  }
})();
