// What a crew has entered, kept on the telephone until the office has it. Used by the page and by
// the service worker alike. Everything is written with strict durability: a battery that dies a
// second later loses nothing.
"use strict";

if (!self.crew && self.document) {
  self.crew = JSON.parse(document.getElementById("crew-settings").textContent);
}

self.crewStore = (() => {
  const NAME = "ebbmark-crew";
  const VERSION = 1;
  let opening = null;

  const answerOf = (request) =>
    new Promise((resolve, reject) => {
      request.onsuccess = () => resolve(request.result);
      request.onerror = () => reject(request.error);
    });

  const open = () => {
    if (!opening) {
      opening = new Promise((resolve, reject) => {
        const request = indexedDB.open(NAME, VERSION);
        request.onupgradeneeded = () => {
          const base = request.result;
          const entries = base.createObjectStore("entries", { keyPath: "seq", autoIncrement: true });
          entries.createIndex("sheetKey", "sheetKey");
          const photos = base.createObjectStore("photos", { keyPath: "key" });
          photos.createIndex("sheetKey", "sheetKey");
          base.createObjectStore("facts");
        };
        request.onsuccess = () => {
          request.result.onversionchange = () => {
            request.result.close();
            opening = null;
          };
          resolve(request.result);
        };
        request.onerror = () => reject(request.error);
        request.onblocked = () => reject(new Error("blocked"));
      });
      opening.catch(() => {
        opening = null;
      });
    }
    return opening;
  };

  // Runs `work` in one transaction and gives its answer once everything has reached the disk.
  const within = async (stores, mode, work) => {
    const base = await open();
    return new Promise((resolve, reject) => {
      const all = base.transaction(stores, mode, { durability: "strict" });
      let answer;
      all.oncomplete = () => resolve(answer);
      all.onabort = () => reject(all.error || new DOMException("Not kept", "AbortError"));
      Promise.resolve(work((name) => all.objectStore(name))).then(
        (value) => {
          answer = value;
        },
        (fault) => {
          try {
            all.abort();
          } catch {
            // It has ended by itself.
          }
          reject(fault);
        },
      );
    });
  };

  const reading = (stores, work) => within(stores, "readonly", work);
  const writing = (stores, work) => within(stores, "readwrite", work);
  const every = (name) => reading([name], (store) => answerOf(store(name).getAll()));

  return {
    entries: async (user) => (await every("entries")).filter((entry) => !user || entry.user === user),
    entriesOfSheet: (sheetKey) =>
      reading(["entries"], (store) => answerOf(store("entries").index("sheetKey").getAll(sheetKey))),
    // All or nothing, in this order. An entry whose key is there already is not added twice.
    add: (list) =>
      writing(["entries"], async (store) => {
        const known = new Set((await answerOf(store("entries").getAll())).map((entry) => entry.key));
        for (const entry of list.filter((one) => !known.has(one.key))) {
          await answerOf(store("entries").add(entry));
        }
      }),
    change: (entry) => writing(["entries"], (store) => answerOf(store("entries").put(entry))),
    remove: (seq) => writing(["entries"], (store) => answerOf(store("entries").delete(seq))),
    putPhoto: (photo) => writing(["photos"], (store) => answerOf(store("photos").put(photo))),
    photo: (key) => reading(["photos"], (store) => answerOf(store("photos").get(key))),
    photosOfSheet: (sheetKey) =>
      reading(["photos"], (store) => answerOf(store("photos").index("sheetKey").getAll(sheetKey))),
    removePhoto: (key) => writing(["photos"], (store) => answerOf(store("photos").delete(key))),
    photos: () => every("photos"),
    fact: (name) => reading(["facts"], (store) => answerOf(store("facts").get(name))),
    setFact: (name, value) => writing(["facts"], (store) => answerOf(store("facts").put(value, name))),
    removeFact: (name) => writing(["facts"], (store) => answerOf(store("facts").delete(name))),
    isFull: (fault) => Boolean(fault) && (fault.name === "QuotaExceededError" || fault.name === "AbortError"),
  };
})();
