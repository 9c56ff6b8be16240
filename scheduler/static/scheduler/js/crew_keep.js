// Takes the round along in the morning, and leaves nothing of one person on the telephone for the
// next.
"use strict";

(() => {
  const { crew, crewStore: store, crewSend, crewApp: app } = self;
  if (!app) {
    return;
  }
  const { bar, part, say, several, clock } = app;
  const PAGES = "ebbmark-pages";
  const TAKE_AGAIN_MS = 5 * 60 * 1000;
  const LITTLE_ROOM = 50 * 1024 * 1024;

  // --- taking the round along ---

  const showAge = async () => {
    const taken = await store.fact("taken");
    const made = Number(bar.dataset.madeAt) * 1000;
    const old = Math.abs(Date.now() - made) > 2 * 60 * 1000;
    const parts = [];
    if (taken) {
      const what = [several(taken.sheets, "sheet", "sheets"), several(taken.photos, "photo", "photos")];
      parts.push(`${what.join(" and ")} taken along at ${clock(taken.at)}.`);
    }
    if (old) {
      parts.push(`This page is as the office had it at ${clock(made)}.`);
    }
    say("taken", parts.join(" "));
  };

  const keepPage = async (cache, address) => {
    const response = await fetch(address, { credentials: "same-origin", redirect: "manual", cache: "no-store" });
    if (!response.ok) {
      throw new Error(`${response.status} at ${address}`);
    }
    await cache.put(new URL(address, location.href).href, response);
  };

  const dropOthers = async (cache, wanted) => {
    const entries = await store.entries();
    const busy = new Set(entries.filter((entry) => entry.state !== "taken").map((entry) => entry.job));
    for (const request of await cache.keys()) {
      const path = new URL(request.url).pathname;
      const stays = wanted.has(path) || [...busy].some((job) => job && path.includes(job)) || hasDraft(path);
      if (!stays) {
        await cache.delete(request);
      }
    }
  };

  const hasDraft = (path) =>
    Object.keys(localStorage).some((key) => key.startsWith("ebbmark-sheet-") && path.includes(key.slice(-36)));

  let taking = false;
  const takeAlong = async () => {
    if (taking) {
      return;
    }
    taking = true;
    try {
      await takeAll();
    } catch (fault) {
      say(
        "taken",
        store.isFull(fault)
          ? "This telephone's storage is full: not every sheet could be taken along. Make room and press again."
          : "The round could not be taken along: no signal. What is on the telephone already stays.",
      );
    } finally {
      taking = false;
    }
  };

  const takeAll = async () => {
    const answer = await fetch(crew.takeAlong, { credentials: "same-origin", redirect: "manual", cache: "no-store" });
    if (!answer.ok) {
      throw new Error("no pack");
    }
    const pack = await answer.json();
    const cache = await caches.open(PAGES);
    const all = [...pack.pages, ...pack.photos];
    for (const [index, address] of all.entries()) {
      say("taken", `Taking the round along: ${index} of ${all.length}.`);
      await keepPage(cache, address);
    }
    await dropOthers(cache, new Set(all));
    await store.setFact("taken", { at: Date.now(), sheets: pack.pages.length - 1, photos: pack.photos.length });
    await askToStay();
    await showAge();
  };

  // Without this a browser short of room may throw everything away by itself.
  const askToStay = async () => {
    if (navigator.storage && navigator.storage.persist) {
      await navigator.storage.persist();
      const { quota, usage } = await navigator.storage.estimate();
      say("room", quota - usage < LITTLE_ROOM ? "This telephone has little room left for photos." : "");
    }
  };

  part("take").addEventListener("click", takeAlong);

  // --- one person's telephone after the other's ---

  const forgetPages = async () => {
    await caches.delete(PAGES);
    await store.removeFact("taken");
  };

  const isMine = async () => {
    const before = await store.fact("user");
    if (before && before !== crew.user) {
      await forgetPages();
    }
    if (before !== crew.user) {
      await store.setFact("user", crew.user);
    }
  };

  const unsent = async () => (await store.entries(crew.user)).filter((entry) => entry.state !== "taken").length;

  const clearAll = async () => {
    await forgetPages();
    for (const entry of await store.entries(crew.user)) {
      if (entry.state === "taken") {
        await store.remove(entry.seq);
      }
    }
    await store.removeFact("user");
  };

  document.querySelectorAll(`form[action="${crew.signOut}"]`).forEach((form) => {
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      await crewSend.all().catch(() => "");
      const left = await unsent();
      if (left && form.dataset.asked !== "yes") {
        form.dataset.asked = "yes";
          say(
          "sign-out",
          `${several(left, "entry has", "entries have")} not reached the office. If you sign out all the same, ` +
            "they stay locked on this telephone and are sent once you sign in here again. Press Sign out again to do so.",
        );
        bar.scrollIntoView();
        return;
      }
      await clearAll();
      HTMLFormElement.prototype.submit.call(form);
    });
  });

  window.addEventListener("online", showAge);

  const start = async () => {
    await isMine();
    const taken = await store.fact("taken");
    await showAge();
    const due = !taken || Date.now() - taken.at > TAKE_AGAIN_MS || Date.now() < taken.at;
    await app.started;
    if (bar.hasAttribute("data-crew-takes") && navigator.onLine && due) {
      await navigator.serviceWorker.ready;
      await takeAlong();
    }
    bar.dataset.ready = "yes";
  };
  start();
})();
