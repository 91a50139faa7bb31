// Says when something could not be sent or was refused by an error, so that nobody believes it is kept.
for (const event of ["htmx:sendError", "htmx:responseError", "htmx:timeout"])
  document.addEventListener(event, () => { document.getElementById("unsent").hidden = false; });
document.addEventListener("htmx:afterSwap", () => { document.getElementById("unsent").hidden = true; });
