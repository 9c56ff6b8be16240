// The service worker of the crew's pages: today's round, its job sheets and their photographs open
// without signal. No other page is ever kept.
"use strict";

(() => {
  const { crew, crewSend } = self;
  const SHELL = `ebbmark-shell-${crew.version}`;
  const PAGES = "ebbmark-pages";
  const PATIENCE_MS = 3000; // a bar of signal that carries nothing is no better than none
  const SHEET = /^\/jobs\/[0-9a-f-]{36}\/sheet\/$/;
  const PHOTO = /^\/photos\/[0-9a-f-]{36}\/$/;
  const shell = new Set(crew.shell);

  self.addEventListener("install", (event) => {
    const fresh = [...crew.shell, crew.offline].map((address) => new Request(address, { cache: "reload" }));
    event.waitUntil(caches.open(SHELL).then((cache) => cache.addAll(fresh)));
  });

  // The shell before this one stays until the next: pages kept since the morning still name its files.
  const dropOldShells = async () => {
    const shells = (await caches.keys()).filter((name) => name.startsWith("ebbmark-shell-") && name !== SHELL);
    await Promise.all(shells.slice(0, -1).map((name) => caches.delete(name)));
  };

  self.addEventListener("activate", (event) => {
    event.waitUntil(dropOldShells().then(() => self.clients.claim()));
  });

  const isKept = (path) => path === crew.today || SHEET.test(path);

  const keep = async (request, response) => {
    if (response.ok && !response.redirected && response.type === "basic") {
      await (await caches.open(PAGES)).put(request.url.split("#")[0], response);
    }
  };

  const fromNetwork = async (request) => {
    const response = await fetch(request);
    const copy = response.clone();
    if (response.ok) {
      await keep(request, copy);
    }
    return response;
  };

  const waited = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

  // Fresh where the network answers in time, else as it was taken along.
  const page = async (event) => {
    const request = event.request;
    const kept = await caches.match(request.url.split("#")[0], { ignoreVary: true });
    const network = fromNetwork(request);
    event.waitUntil(network.catch(() => undefined));
    if (!kept) {
      return network.catch(() => caches.match(crew.offline));
    }
    return Promise.race([network.catch(() => kept), waited(PATIENCE_MS).then(() => kept)]);
  };

  const shellFile = async (request) => {
    const kept = await caches.match(request, { ignoreSearch: true, ignoreVary: true });
    return kept || fetch(request);
  };

  const picture = async (request) => {
    const kept = await caches.match(request.url, { ignoreVary: true });
    return kept || fetch(request);
  };

  const otherPage = (request) => fetch(request).catch(() => caches.match(crew.offline));

  self.addEventListener("fetch", (event) => {
    const { request } = event;
    const address = new URL(request.url);
    if (address.origin !== self.location.origin) {
      return;
    }
    if (request.method !== "GET") {
      if (address.pathname === crew.signOut) {
        event.waitUntil(caches.delete(PAGES));
      }
      return;
    }
    if (shell.has(address.pathname)) {
      event.respondWith(shellFile(request));
    } else if (PHOTO.test(address.pathname)) {
      event.respondWith(picture(request));
    } else if (request.mode === "navigate") {
      event.respondWith(isKept(address.pathname) ? page(event) : otherPage(request));
    }
  });

  self.addEventListener("sync", (event) => {
    if (event.tag === "ebbmark-send") {
      const sending = crewSend.all().then((outcome) => {
        if (outcome === "no-signal" || outcome === "later") {
          throw new Error(outcome); // the browser tries again by itself
        }
      });
      event.waitUntil(sending);
    }
  });

  self.addEventListener("message", (event) => {
    if (event.data === "take-over") {
      self.skipWaiting();
    }
  });
})();
