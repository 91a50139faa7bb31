"use strict";
/* Before the log-out: what was not sent is not left behind silently. On the login page: that something waits. */
(function () {
  const queue = window.resurfQueue;
  const form = document.querySelector("form[data-leave]");
  const told = document.getElementById("leave");
  const owner = document.querySelector("meta[name=phone-owner]")?.content || "";
  if (!queue || !queue.usable() || !told) return;

  async function waiting() {
    if (!(await queue.present())) return { mine: 0, all: 0 };
    const { mine } = await queue.listed(owner);
    return { mine: mine.filter((one) => one.state !== "sent").length, all: await queue.count() };
  }

  async function leave() {
    await queue.forget().catch(() => {});
    HTMLFormElement.prototype.submit.call(form);
  }

  if (form) {
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      if (await queue.present()) await queue.send().catch(() => {});
      const { mine } = await waiting();
      if (!mine) return leave();
      told.querySelector(".count").textContent = mine;
      if (told.showModal) told.showModal();
      else told.open = true;
    });
    told.querySelector("[data-stay]").addEventListener("click", () => told.close());
    told.querySelector("[data-go]").addEventListener("click", leave);
    queue.present().then((there) => { if (there) queue.onlyFor(owner); });
  } else {
    waiting().then(({ all }) => { told.hidden = !all; });
  }
})();
