// Every crew page: says what waits to be sent, sends it when there is signal, and tells of a new
// version.
"use strict";

(() => {
  const { crew, crewStore: store, crewSend } = self;
  const SEND_AGAIN_MS = 60 * 1000;
  const bar = document.querySelector("[data-crew-bar]");
  const can = "serviceWorker" in navigator && "indexedDB" in self && "caches" in self;
  if (!bar || !can) {
    return;
  }
  const part = (name) => bar.querySelector(`[data-crew-${name}]`);
  const say = (name, text) => {
    const place = part(name);
    if (place.textContent !== text) {
      place.textContent = text;
    }
    place.hidden = !text;
  };
  bar.hidden = false;

  const clock = (moment) =>
    new Date(moment).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
  const several = (number, one, many) => `${number} ${number === 1 ? one : many}`;

  // --- what the bar says ---

  const OUTCOMES = {
    "no-signal": "No signal. It is sent by itself once there is.",
    later: "The office's computer does not answer just now. It is tried again by itself.",
    "signed-out": "You are signed out. Sign in, and it is sent; nothing is lost.",
    others: "Some of it was entered by somebody else, and is sent once they sign in here.",
  };
  let outcome = "";

  const showWaiting = async () => {
    const entries = await store.entries();
    const mine = entries.filter((entry) => entry.user === crew.user);
    const waiting = entries.filter((entry) => entry.state === "waiting");
    const acts = waiting.filter((entry) => entry.kind !== "photo").length;
    const photos = waiting.length - acts;
    const parts = [
      acts ? several(acts, "entry", "entries") : "",
      photos ? several(photos, "photo", "photos") : "",
    ].filter(Boolean);
    say("waiting", parts.length ? `${parts.join(" and ")} on this telephone, not yet at the office.` : "");
    say("outcome", waiting.length ? OUTCOMES[outcome] || (navigator.onLine ? "" : OUTCOMES["no-signal"]) : "");
    part("send").hidden = waiting.length === 0;
    part("sign-in").hidden = outcome !== "signed-out" || waiting.length === 0;
    showTrouble(mine);
    document.dispatchEvent(new CustomEvent("crew-entries", { detail: mine }));
  };

  const showTrouble = (mine) => {
    const troubled = mine.filter((entry) => ["sent_back", "disputed", "refused"].includes(entry.state));
    const list = part("trouble");
    list.replaceChildren(...troubled.map(troubleLine));
    list.hidden = troubled.length === 0;
  };

  const NAMES = {
    sheet: "Sheet",
    abandoned: "Sheet (not done)",
    photo: "Photo",
    arrived: "Arrival",
    left: "Departure",
    tipped: "Tip ticket",
    note: "Note",
  };

  const troubleLine = (entry) => {
    const line = document.createElement("li");
    line.className = "notice notice-warning";
    const words = document.createElement("p");
    const what = document.createElement("strong");
    what.textContent = `${NAMES[entry.kind]}, ${entry.name}: `;
    words.append(what, entry.answer.words || "The office has a question.");
    const faults = Object.values(entry.answer.errors || {}).flat();
    words.append(faults.length ? ` ${faults.join(" ")}` : "");
    const box = document.createElement("div");
    box.append(words, ...troubleActs(entry));
    line.append(box);
    return line;
  };

  const button = (text, act) => {
    const made = document.createElement("button");
    made.type = "button";
    made.className = "button";
    made.textContent = text;
    made.addEventListener("click", act);
    return made;
  };

  const troubleActs = (entry) => {
    const acts = [];
    const isSheet = entry.kind === "sheet" || entry.kind === "abandoned";
    if (entry.state === "sent_back" && isSheet && !location.pathname.includes(entry.job)) {
      const link = document.createElement("a");
      link.className = "button button-main";
      link.href = `/jobs/${entry.job}/sheet/`;
      link.textContent = "Put it right";
      acts.push(link);
    }
    if (entry.state === "refused") {
      acts.push(
        button("Send again", async () => {
          await store.change({ ...entry, state: "waiting" });
          send();
        }),
      );
    }
    if (entry.state !== "sent_back" || !isSheet) {
      acts.push(
        button("I have read it", async () => {
          await store.remove(entry.seq);
          showWaiting();
        }),
      );
    }
    return acts;
  };

  // --- sending ---

  const send = async () => {
    outcome = await crewSend.all();
    await showWaiting();
    return outcome;
  };

  const sendLater = async () => {
    try {
      const registration = await navigator.serviceWorker.ready;
      await registration.sync.register("ebbmark-send");
    } catch {
      // No Background Sync here: the page sends by itself when signal is back.
    }
  };

  self.crewApp = { bar, part, say, several, clock, send, sendLater, showWaiting };
  part("send").addEventListener("click", send);
  window.addEventListener("online", () => {
    send();
  });
  window.addEventListener("offline", showWaiting);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && send());
  setInterval(send, SEND_AGAIN_MS);
  new BroadcastChannel("ebbmark-crew").addEventListener("message", showWaiting);

  // --- the worker, and a new version of it ---

  const offerNew = (worker) => {
    part("new").hidden = false;
    part("new-take").onclick = () => worker.postMessage("take-over");
  };

  const watchForNew = (registration) => {
    if (registration.waiting && navigator.serviceWorker.controller) {
      offerNew(registration.waiting);
    }
    registration.addEventListener("updatefound", () => {
      const worker = registration.installing;
      worker.addEventListener("statechange", () => {
        if (worker.state === "installed" && navigator.serviceWorker.controller) {
          offerNew(worker);
        }
      });
    });
  };

  const start = async () => {
    const controlled = Boolean(navigator.serviceWorker.controller);
    navigator.serviceWorker.addEventListener("controllerchange", () => {
      if (controlled) {
        location.reload();
      }
    });
    await showWaiting();
    const registration = await navigator.serviceWorker.register(crew.worker, { scope: "/" }).catch(() => null);
    if (registration) {
      watchForNew(registration);
    }
    await send();
  };
  self.crewApp.started = start();
})();
