// Keeps what a crew types on the phone itself until the sheet is recorded: a dead battery, a page
// that will not load or a session that ran out loses nothing. The sheet's key is kept with it, so
// a sheet sent twice is still one visit.
(() => {
  "use strict";

  const PREFIX = "ebbmark-sheet-";
  const KEEP_DAYS = 7;
  const NEVER_KEPT = new Set(["csrfmiddlewaretoken"]);

  // Storage can be full or switched off; the sheet then works without a draft.
  const store = {
    read(key) {
      try {
        return JSON.parse(localStorage.getItem(key));
      } catch {
        return null;
      }
    },
    write(key, value) {
      try {
        localStorage.setItem(key, JSON.stringify(value));
        return true;
      } catch {
        return false;
      }
    },
    remove(key) {
      try {
        localStorage.removeItem(key);
      } catch {
        // Nothing was kept, so nothing is left behind.
      }
    },
    keys() {
      try {
        return Object.keys(localStorage).filter((key) => key.startsWith(PREFIX));
      } catch {
        return [];
      }
    },
  };

  const tooOld = Date.now() - KEEP_DAYS * 24 * 60 * 60 * 1000;
  store.keys().forEach((key) => {
    const draft = store.read(key);
    if (!draft || draft.at < tooOld) {
      store.remove(key);
    }
  });

  document.querySelectorAll("[data-draft-done]").forEach((done) => {
    store.remove(PREFIX + done.dataset.draftDone);
  });

  const form = document.querySelector("form[data-draft]");
  if (!form) {
    return;
  }
  const key = PREFIX + form.dataset.draft;
  const notice = document.querySelector("[data-draft-notice]");
  const fields = () =>
    [...form.elements].filter((field) => field.name && field.type !== "file" && !NEVER_KEPT.has(field.name));
  const isTick = (field) => field.type === "checkbox" || field.type === "radio";

  const keep = () => {
    const values = fields()
      .filter((field) => !isTick(field) || field.checked)
      .map((field) => [field.name, field.value]);
    if (!store.write(key, { at: Date.now(), values }) && notice) {
      notice.hidden = false;
      notice.textContent = "This phone cannot keep a draft: record the visit before you leave the page.";
    }
  };

  const putBack = (draft) => {
    const values = new Map();
    draft.values.forEach(([name, value]) => values.set(name, [...(values.get(name) || []), value]));
    fields().forEach((field) => {
      const kept = values.get(field.name);
      if (isTick(field)) {
        field.checked = Boolean(kept && kept.includes(field.value));
      } else if (kept) {
        field.value = kept[0];
      }
    });
    form.querySelectorAll("details").forEach((details) => {
      const filled = [...details.querySelectorAll("input, textarea")].some((field) => field.value && !isTick(field));
      details.open = details.open || filled;
    });
    form.dispatchEvent(new Event("sheet-filled"));
  };

  // A sheet that came back with errors already holds what was typed, newer than the draft.
  const cameBack = Boolean(document.querySelector(".error-list"));
  const draft = store.read(key);
  if (draft && !cameBack) {
    putBack(draft);
    if (notice) {
      notice.hidden = false;
    }
  }

  let waiting = 0;
  const keepSoon = () => {
    clearTimeout(waiting);
    waiting = setTimeout(keep, 200);
  };
  form.addEventListener("input", keepSoon);
  form.addEventListener("change", keepSoon);
  form.addEventListener("submit", keep);
  window.addEventListener("pagehide", () => {
    if (waiting) {
      clearTimeout(waiting);
      keep();
    }
  });

  document.querySelectorAll("[data-draft-forget]").forEach((button) => {
    button.addEventListener("click", () => {
      form.reset();
      clearTimeout(waiting);
      waiting = 0;
      store.remove(key);
      notice.hidden = true;
    });
  });
})();
