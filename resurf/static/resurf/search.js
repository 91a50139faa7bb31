// "/" goes to the search; while one types, jobs with their dates appear under it. Without this script Enter lists them.
"use strict";
(() => {
  const field = document.getElementById("q");
  const found = document.getElementById("found");
  if (!field || !found) return;
  let waiting = 0;
  let asked = "";

  const close = () => {
    clearTimeout(waiting);
    asked = "";
    found.hidden = true;
  };
  const links = () => [...found.querySelectorAll("a")];

  async function ask() {
    const words = field.value.trim();
    if (words === asked) return;
    asked = words;
    if (!words) {
      close();
      return;
    }
    const address = new URL(field.form.action);
    address.search = new URLSearchParams({ q: words, quick: "1" });
    try {
      const answer = await fetch(address, { headers: { "HX-Request": "true" } });
      if (answer.status !== 200 || asked !== words) return;
      found.innerHTML = await answer.text(); // our own page's fragment; the policy of the page runs no script in it
      found.hidden = !found.textContent.trim();
    } catch {
      close(); // no signal: Enter still asks for the list
    }
  }

  field.addEventListener("input", () => {
    clearTimeout(waiting);
    waiting = setTimeout(ask, 150);
  });
  field.form.addEventListener("submit", (event) => {
    const only = links();
    if (found.hidden || asked !== field.value.trim() || only.length !== 1) return;
    event.preventDefault();
    window.location.assign(only[0].href);
  });
  field.form.addEventListener("keydown", (event) => {
    const all = [field, ...links()];
    const at = all.indexOf(document.activeElement);
    if (event.key === "Escape" && !found.hidden) {
      close();
      field.focus();
    } else if ((event.key === "ArrowDown" || event.key === "ArrowUp") && !found.hidden) {
      all[(at + (event.key === "ArrowDown" ? 1 : all.length - 1)) % all.length].focus();
    } else return;
    event.preventDefault();
  });
  document.addEventListener("keydown", (event) => {
    if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.target.closest("input, textarea, select, [contenteditable]")) return;
    event.preventDefault();
    field.focus();
    field.select();
  });
  document.addEventListener("click", (event) => {
    if (!field.form.contains(event.target)) close();
  });
  field.form.addEventListener("focusout", (event) => {
    if (event.relatedTarget && !field.form.contains(event.relatedTarget)) close();
  });
})();
