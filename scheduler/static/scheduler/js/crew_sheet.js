// A finished sheet: looked through on the spot, kept on the telephone with its photographs in one
// go, sent when there is signal. What comes back is shown at its field.
"use strict";

(() => {
  const { crew, crewStore: store, crewApp: app, crewCheck } = self;
  const { clearErrors, showErrors } = crewCheck;
  const facts = document.getElementById("sheet-facts");
  const sheet = document.querySelector("form[data-crew-sheet]");
  const abandon = document.querySelector("form[data-crew-abandon]");
  if (!app || !facts || !sheet) {
    return;
  }
  const job = JSON.parse(facts.textContent);
  const kept = document.querySelector("[data-kept]");
  const DRAFT = `ebbmark-sheet-${sheet.dataset.draft}`;

  // --- kept, and sent ---

  const valuesOf = (form) =>
    [...new FormData(form).entries()].filter(([name, what]) => name !== "csrfmiddlewaretoken" && typeof what === "string");

  const entry = (kind, sheetKey, more) => ({
    key: crypto.randomUUID(),
    user: crew.user,
    kind,
    job: job.job,
    stop: null,
    name: job.name,
    seen: job.seen,
    sheetKey,
    madeAt: new Date().toISOString(),
    state: "waiting",
    ...more,
  });

  const keyOf = (form) => form.querySelector("input[name$=sheet_key]").value;

  const keep = async (form, photos) => {
    const sheetKey = keyOf(form);
    const before = await store.entriesOfSheet(sheetKey);
    // A sheet put right takes the place of the one that came back; its photographs stay queued.
    for (const old of before.filter((one) => one.kind !== "photo" && one.state !== "taken")) {
      await store.remove(old.seq);
    }
    const queued = new Set(before.filter((one) => one.kind === "photo").map((one) => one.photo));
    const pictures = photos
      .filter((photo) => !queued.has(photo.key))
      .map((photo) => entry("photo", sheetKey, { photo: photo.key, fields: [] }));
    const kind = form === sheet ? "sheet" : "abandoned";
    await store.add([...pictures, entry(kind, sheetKey, { fields: valuesOf(form) })]);
  };

  const forgetDraft = () => {
    try {
      localStorage.removeItem(DRAFT);
    } catch {
      // There was none.
    }
  };

  const latest = async (sheetKey) => (await store.entriesOfSheet(sheetKey)).filter((one) => one.kind !== "photo").at(-1);

  let following = "";

  const show = (entryNow) => {
    const already = !kept.hidden;
    following = entryNow.sheetKey;
    kept.querySelector("[data-kept-open]").onclick = () => reopen(entryNow);
    const waits = entryNow.state === "waiting";
    kept.hidden = false;
    kept.querySelector("[data-kept-waits]").hidden = !waits;
    kept.querySelector("[data-kept-disputed]").hidden = waits;
    kept.querySelector("[data-kept-words]").textContent = waits ? "" : entryNow.answer.words || "";
    kept.querySelector("[data-kept-open]").hidden = !waits;
    const done = entryNow.kind === "sheet";
    kept.querySelectorAll("[data-kept-next]").forEach((words) => {
      words.hidden = !done || !waits;
    });
    sheet.hidden = true;
    document.querySelectorAll("[data-beside-sheet]").forEach((other) => {
      other.hidden = true;
    });
    if (!already) {
      kept.focus();
      kept.scrollIntoView();
    }
  };

  const after = async (form, sheetKey) => {
    const now = await latest(sheetKey);
    if (now.state === "taken") {
      location.assign(`/jobs/${job.job}/recorded/`);
    } else if (now.state === "sent_back") {
      delete form.dataset.busy;
      showErrors(form, now.answer.errors || { "": [now.answer.words] }, now.answer.confirm);
    } else {
      forgetDraft();
      show(now);
    }
  };

  const finish = async (form) => {
    const photos = await store.photosOfSheet(keyOf(form));
    const { errors, confirm } = crewCheck.faultsOf(form, photos, job);
    if (Object.keys(errors).length) {
      showErrors(form, errors, confirm);
      return false;
    }
    clearErrors(form);
    try {
      await keep(form, photos);
    } catch {
      showErrors(form, { "": ["This telephone's storage is full, so the sheet could not be made ready to send. What you typed is still here. Make room, then press again; do not close the page before."] });
      return false;
    }
    app.sendLater();
    await app.send();
    await after(form, keyOf(form));
    return true;
  };

  [sheet, abandon].filter(Boolean).forEach((form) => {
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      if (form.dataset.busy) {
        return;
      }
      form.dataset.busy = "yes";
      const done = await finish(form);
      if (!done) {
        delete form.dataset.busy;
      }
    });
  });

  // --- a sheet of this job that is on the telephone already ---

  const reopen = async (entryNow) => {
    for (const one of await store.entriesOfSheet(entryNow.sheetKey)) {
      if (one.state === "waiting") {
        await store.remove(one.seq);
      }
    }
    if (entryNow.kind === "sheet") {
      localStorage.setItem(DRAFT, JSON.stringify({ at: Date.now(), values: entryNow.fields }));
    }
    location.reload();
  };

  const fillIn = (form, values) => {
    const told = new Map();
    values.forEach(([name, what]) => told.set(name, [...(told.get(name) || []), what]));
    for (const field of form.elements) {
      const own = told.get(field.name);
      if (field.type === "checkbox" || field.type === "radio") {
        field.checked = Boolean(own && own.includes(field.value));
      } else if (own && field.type !== "file") {
        [field.value] = own;
      }
    }
    form.dispatchEvent(new Event("sheet-filled"));
  };

  const meet = async () => {
    const own = (await store.entries(crew.user)).filter(
      (one) => one.job === job.job && (one.kind === "sheet" || one.kind === "abandoned"),
    );
    const now = own.filter((one) => one.state !== "taken").at(-1);
    if (!now) {
      return;
    }
    if (now.state === "sent_back") {
      const form = now.kind === "sheet" ? sheet : abandon;
      fillIn(form, now.fields);
      form.closest("details")?.setAttribute("open", "");
      showErrors(form, now.answer.errors || { "": [now.answer.words] }, now.answer.confirm);
    } else {
      show(now);
    }
  };

  // Whoever sent it, this page, another or the worker: the page goes on to what became of it.
  document.addEventListener("crew-entries", async () => {
    if (kept.hidden || !following) {
      return;
    }
    const now = await latest(following);
    if (now && now.state === "taken") {
      location.assign(`/jobs/${job.job}/recorded/`);
    } else if (now && now.state === "sent_back") {
      location.reload();
    } else if (now && now.state !== "waiting") {
      show(now);
    }
  });
  meet();
})();
