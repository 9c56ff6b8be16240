// Arrivals, departures, tickets and notes of today's round: kept first, sent as soon as may be.
"use strict";

(() => {
  const { crew, crewStore: store, crewApp: app } = self;
  if (!app) {
    return;
  }

  const valuesOf = (form) =>
    [...new FormData(form).entries()].filter(([name, value]) => name !== "csrfmiddlewaretoken" && typeof value === "string");

  const entryOf = (form) => ({
    key: crypto.randomUUID(),
    user: crew.user,
    kind: form.dataset.crewEntry,
    job: form.dataset.job || null,
    stop: form.dataset.stop || null,
    name: form.dataset.name,
    fields: valuesOf(form),
    seen: {},
    madeAt: new Date().toISOString(),
    state: "waiting",
  });

  const full = (form) => {
    const told = form.querySelector("[data-full]") || document.createElement("p");
    told.setAttribute("data-full", "");
    told.setAttribute("role", "alert");
    told.className = "notice notice-error";
    told.textContent = "This telephone's storage is full: this was not kept. Make room, then press again.";
    form.append(told);
  };

  document.querySelectorAll("form[data-crew-entry]").forEach((form) => {
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      if (form.dataset.busy || !form.reportValidity()) {
        return;
      }
      form.dataset.busy = "yes";
      try {
        await store.add([entryOf(form)]);
      } catch {
        delete form.dataset.busy;
        full(form);
        return;
      }
      app.sendLater();
      const outcome = await app.send();
      if (form.dataset.next) {
        location.assign(form.dataset.next);
      } else if (outcome === "done") {
        location.reload();
      } else if (form.dataset.crewEntry === "note") {
        form.reset();
        delete form.dataset.busy;
      }
    });
  });

  // What is still on the telephone shows at its stop, so that nobody enters it twice.
  const WORDS = {
    arrived: "there",
    left: "gone",
    tipped: "ticket noted",
    sheet: "sheet filled in",
    abandoned: "recorded as not done",
    note: "note written",
  };
  const TIMED = new Set(["arrived", "left"]);
  const clock = (moment) => new Date(moment).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });

  document.addEventListener("crew-entries", (event) => {
    document.querySelectorAll("[data-stop-line]").forEach((line) => {
      const own = event.detail.filter(
        (entry) =>
          entry.state === "waiting" &&
          WORDS[entry.kind] &&
          ((entry.stop && entry.stop === line.dataset.stopLine) || (entry.job && entry.job === line.dataset.job)),
      );
      const said = own.map((entry) => `${WORDS[entry.kind]}${TIMED.has(entry.kind) ? ` at ${clock(entry.madeAt)}` : ""}`);
      const place = line.querySelector("[data-stop-kept]");
      place.textContent = said.length ? `On this telephone, not yet sent: ${said.join(", ")}.` : "";
      place.hidden = said.length === 0;
      own.forEach((entry) => {
        line.querySelectorAll(`form[data-crew-entry="${entry.kind}"]`).forEach((form) => {
          form.hidden = entry.kind !== "note";
        });
        if (entry.kind === "arrived") {
          line.querySelectorAll('form[data-crew-entry="left"]').forEach((form) => {
            form.hidden = own.some((one) => one.kind === "left");
          });
        }
      });
    });
  });
  app.showWaiting();
})();
