// Arrow keys move between stints, Enter opens one under its row, Escape closes it.
// Without this script every stint is a plain link to its own page.
"use strict";
(() => {
  const table = document.querySelector("table.weeks");
  if (!table) return;
  const links = (row) => (row ? [...row.querySelectorAll("svg.r a")] : []);
  const middle = (link) => {
    const box = link.getBoundingClientRect();
    return box.left + box.width / 2;
  };

  function rowBeside(row, step) {
    const rows = [...table.querySelectorAll("tr")].filter((one) => links(one).length);
    return rows[rows.indexOf(row) + step];
  }

  function move(link, key) {
    const row = link.closest("tr");
    const mine = links(row);
    if (key === "ArrowLeft" || key === "ArrowRight") {
      return mine[mine.indexOf(link) + (key === "ArrowRight" ? 1 : -1)];
    }
    const there = links(rowBeside(row, key === "ArrowDown" ? 1 : -1));
    const at = middle(link);
    return there.sort((a, b) => Math.abs(middle(a) - at) - Math.abs(middle(b) - at))[0];
  }

  function close() {
    const open = table.querySelector("tr.opened");
    if (!open) return false;
    const from = table.querySelector("a[data-open]");
    open.remove();
    if (from) {
      delete from.dataset.open;
      from.focus();
    }
    return true;
  }

  async function open(link) {
    const address = link.getAttribute("href");
    let answer;
    try {
      answer = await fetch(address, { headers: { "HX-Request": "true" }, credentials: "same-origin" });
    } catch {
      location.href = address;
      return;
    }
    if (!answer.ok || answer.redirected || answer.headers.get("HX-Redirect")) {
      location.href = address;
      return;
    }
    const text = await answer.text();
    close();
    const row = document.createElement("tr");
    row.className = "opened";
    row.innerHTML = '<td colspan="2"><div class="inside" tabindex="-1"></div></td>';
    row.querySelector(".inside").innerHTML = text;
    link.closest("tr").after(row);
    link.dataset.open = "1";
    if (window.htmx) window.htmx.process(row);
    row.querySelector(".inside").focus();
  }

  table.addEventListener("click", (event) => {
    const link = event.target.closest("svg.r a");
    if (!link || event.metaKey || event.ctrlKey || event.shiftKey || event.button) return;
    event.preventDefault();
    open(link);
  });
  table.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && close()) {
      event.preventDefault();
      return;
    }
    const link = event.target.closest("svg.r a");
    if (!link || !event.key.startsWith("Arrow")) return;
    const next = move(link, event.key);
    if (!next) return;
    event.preventDefault();
    next.focus();
    next.scrollIntoView({ block: "nearest", inline: "nearest" });
  });
  // The day of today is what one looks for first.
  const scroll = table.closest(".weeks-scroll");
  const now = table.querySelector("ol.days .now");
  if (scroll && now && now.offsetLeft > scroll.clientWidth * 0.8) {
    scroll.scrollLeft = now.offsetLeft - scroll.clientWidth / 3;
  }
})();
