// Sends what waits, oldest first, one at a time. Whatever is interrupted is sent again under the
// same key, which the office's computer takes in once.
"use strict";

self.crewSend = (() => {
  const store = self.crewStore;
  const KEEP_TAKEN_MS = 36 * 60 * 60 * 1000;
  const talk = new BroadcastChannel("ebbmark-crew");

  class Stopped extends Error {}

  const ask = async (address, options = {}) => {
    let response;
    try {
      response = await fetch(address, {
        credentials: "same-origin",
        cache: "no-store",
        redirect: "manual",
        headers: { Accept: "application/json", ...options.headers },
        method: options.method || "GET",
        body: options.body,
      });
    } catch {
      throw new Stopped("no-signal");
    }
    if (response.type === "opaqueredirect") {
      throw new Stopped("signed-out");
    }
    if (response.status >= 500 || response.status === 429 || response.status === 408) {
      throw new Stopped("later");
    }
    return response;
  };

  const told = async (response) => {
    try {
      return await response.json();
    } catch {
      return {};
    }
  };

  // The token is fetched afresh: the one in a page kept since the morning may have died with its session.
  const whoAmI = async () => {
    const response = await ask(self.crew.token);
    if (!response.ok) {
      throw new Stopped("signed-out");
    }
    return response.json();
  };

  const sendPhoto = async (entry, token) => {
    const photo = await store.photo(entry.photo);
    if (!photo) {
      return { state: "taken" };
    }
    const form = new FormData();
    form.append("job", entry.job);
    form.append("key", photo.key);
    form.append("sheetKey", photo.sheetKey);
    form.append("kind", photo.kind);
    form.append("madeAt", photo.takenAt);
    form.append("sentAt", new Date().toISOString());
    form.append("image", new Blob([photo.bytes], { type: "image/jpeg" }), "photo.jpg");
    const response = await ask(self.crew.photo, { method: "POST", body: form, headers: { "X-CSRFToken": token } });
    const answer = await told(response);
    if (response.ok) {
      await store.removePhoto(photo.key);
      return { state: "taken" };
    }
    return { state: "refused", words: answer.words || "The office's computer does not take this photo." };
  };

  const sendEntry = async (entry, token) => {
    const body = JSON.stringify({
      key: entry.key,
      kind: entry.kind,
      job: entry.job,
      stop: entry.stop,
      fields: entry.fields,
      seen: entry.seen,
      sheetKey: entry.sheetKey,
      madeAt: entry.madeAt,
      sentAt: new Date().toISOString(),
    });
    const headers = { "X-CSRFToken": token, "Content-Type": "application/json" };
    const response = await ask(self.crew.deliver, { method: "POST", body, headers });
    const answer = await told(response);
    if (response.ok) {
      return answer;
    }
    const words =
      response.status === 403 || response.status === 404
        ? "You may not record this job any more. It is kept on this telephone: ring the office."
        : "The office's computer could not read this. It is kept on this telephone: ring the office.";
    return { state: "refused", words };
  };

  const send = async (entry, token) => {
    const answer = await (entry.kind === "photo" ? sendPhoto(entry, token) : sendEntry(entry, token));
    await store.change({ ...entry, state: answer.state, answer, doneAt: Date.now() });
  };

  const forgetOld = async () => {
    for (const entry of await store.entries()) {
      if (entry.state === "taken" && Date.now() - entry.doneAt > KEEP_TAKEN_MS) {
        await store.remove(entry.seq);
      }
    }
  };

  const work = async () => {
    const waiting = (await store.entries()).filter((entry) => entry.state === "waiting");
    if (waiting.length === 0) {
      return "done";
    }
    try {
      const me = await whoAmI();
      for (const entry of waiting.filter((one) => one.user === me.user)) {
        await send(entry, me.token);
        talk.postMessage({ changed: true });
      }
      await forgetOld();
      return waiting.some((one) => one.user !== me.user) ? "others" : "done";
    } catch (fault) {
      if (fault instanceof Stopped) {
        return fault.message;
      }
      throw fault;
    }
  };

  return {
    // One sender at a time, be it a page or the worker; who comes second waits and finds nothing left.
    all: async () => {
      const outcome = navigator.locks ? await navigator.locks.request("ebbmark-send", work) : await work();
      talk.postMessage({ changed: true, outcome });
      return outcome;
    },
  };
})();
