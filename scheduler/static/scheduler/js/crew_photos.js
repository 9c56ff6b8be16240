// Photographs: made smaller on the telephone, kept there beside the sheet, shown, taken out again.
"use strict";

(() => {
  const { crew, crewStore: store } = self;
  const forms = document.querySelectorAll("form[data-crew-sheet], form[data-crew-abandon]");
  if (!forms.length || !store) {
    return;
  }
  const LONGEST = 1600;
  const QUALITY = 0.8;
  const MOST_BYTES = 20 * 1024 * 1024;
  const named = (box, name) => box.closest("form").querySelector(`[name$=${name}]`);
  const sheetKey = (box) => named(box, "sheet_key").value;
  const shown = new Map();

  class NoPhoto extends Error {}

  const shrink = async (file) => {
    if (file.size > MOST_BYTES) {
      const size = Math.round(file.size / 1024 / 1024);
      throw new NoPhoto(`This photo has ${size} MB; at most 20 MB are taken. Set the camera to a smaller size.`);
    }
    let picture;
    try {
      picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    } catch {
      throw new NoPhoto("This file is no photo that this telephone can read. Take a photo, or choose another.");
    }
    const scale = Math.min(1, LONGEST / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(picture.width * scale));
    canvas.height = Math.max(1, Math.round(picture.height * scale));
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", QUALITY));
    if (!blob) {
      throw new NoPhoto("The telephone could not make this photo smaller. Take it again.");
    }
    return blob.arrayBuffer();
  };

  const button = (text, act) => {
    const made = document.createElement("button");
    made.type = "button";
    made.className = "button";
    made.textContent = text;
    made.addEventListener("click", act);
    return made;
  };

  const say = (box, text, ...acts) => {
    const told = box.querySelector("[data-photo-said]");
    const words = document.createElement("p");
    words.textContent = text;
    const row = document.createElement("div");
    row.className = "actions";
    row.append(...acts);
    told.replaceChildren(words, ...(acts.length ? [row] : []));
    told.hidden = !text;
  };

  const keep = async (box, photo) => {
    try {
      await store.putPhoto(photo);
      say(box, "");
      await show();
    } catch {
      // The text comes first: it is on the telephone already. The photo goes only if the crew says so.
      say(
        box,
        "This telephone's storage is full: this photo is not kept. What you typed is kept. Make room and try again, or go on without it.",
        button("Try again", () => keep(box, photo)),
        button("Go on without this photo", () => goWithout(box, photo)),
      );
    }
  };

  const goWithout = (box, photo) => {
    say(box, "");
    const reason = named(box, "no_photo_because");
    if (photo.kind === "lid_back" && !reason.value) {
      reason.value = "The telephone's storage was full";
      reason.dispatchEvent(new Event("input", { bubbles: true }));
    }
  };

  const take = async (box, input) => {
    const [file] = input.files;
    if (!file) {
      return;
    }
    say(box, "Making the photo smaller…");
    let bytes;
    try {
      bytes = await shrink(file);
    } catch (fault) {
      say(box, fault instanceof NoPhoto ? fault.message : "This photo could not be read. Take it again.");
      return;
    } finally {
      input.value = "";
    }
    await keep(box, {
      key: crypto.randomUUID(),
      user: crew.user,
      sheetKey: sheetKey(box),
      kind: box.dataset.photo,
      takenAt: new Date().toISOString(),
      bytes,
    });
  };

  const line = (photo, number) => {
    const item = document.createElement("li");
    const picture = document.createElement("img");
    if (!shown.has(photo.key)) {
      shown.set(photo.key, URL.createObjectURL(new Blob([photo.bytes], { type: "image/jpeg" })));
    }
    picture.src = shown.get(photo.key);
    picture.alt = `Photo ${number}, on this telephone`;
    const drop = button("Take it out", async () => {
      await store.removePhoto(photo.key);
      await show();
    });
    item.append(picture, drop);
    return item;
  };

  const show = async () => {
    document.querySelectorAll("[data-photo]").forEach(async (box) => {
      const photos = await store.photosOfSheet(sheetKey(box));
      const own = photos.filter((photo) => photo.kind === box.dataset.photo);
      box.querySelector("[data-photo-list]").replaceChildren(...own.map((photo, index) => line(photo, index + 1)));
      box.dataset.count = String(own.length);
    });
  };

  document.querySelectorAll("[data-photo]").forEach((box) => {
    const input = box.querySelector("input[type=file]");
    input.addEventListener("change", () => take(box, input));
  });
  forms.forEach((form) => form.addEventListener("sheet-filled", show));
  show();
})();
