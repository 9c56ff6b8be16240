// Signing with a finger. The strokes are kept as the path of an SVG in a field of the form.
"use strict";

(() => {
  const pad = document.querySelector("[data-sign-pad]");
  if (!pad) {
    return;
  }
  const form = pad.closest("form");
  const field = form.elements.signature;
  const path = pad.querySelector("path");
  const frame = document.querySelector("[data-sign-frame]");
  const MOST = 19_000;
  const NEAR = 3; // closer points tell nothing more
  let drawing = null;
  let last = null;

  const place = (event) => {
    const box = pad.getBoundingClientRect();
    return [
      Math.min(600, Math.max(0, Math.round(((event.clientX - box.left) / box.width) * 600))),
      Math.min(200, Math.max(0, Math.round(((event.clientY - box.top) / box.height) * 200))),
    ];
  };

  const show = () => path.setAttribute("d", field.value);
  const told = () => field.dispatchEvent(new Event("input", { bubbles: true }));

  pad.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    drawing = event.pointerId;
    pad.setPointerCapture(event.pointerId);
    last = place(event);
    field.value += `M${last.join(" ")}`;
  });
  pad.addEventListener("pointermove", (event) => {
    if (event.pointerId !== drawing) {
      return;
    }
    const now = place(event);
    if (Math.hypot(now[0] - last[0], now[1] - last[1]) >= NEAR && field.value.length < MOST) {
      field.value += `L${now.join(" ")}`;
      last = now;
      show();
    }
  });
  const lift = (event) => {
    if (event.pointerId === drawing) {
      drawing = null;
      show();
      told();
    }
  };
  pad.addEventListener("pointerup", lift);
  pad.addEventListener("pointercancel", lift);
  document.querySelector("[data-sign-again]").addEventListener("click", () => {
    field.value = "";
    show();
    told();
  });

  // Only what belongs to the chosen way is shown. Without this script everything is.
  const name = document.querySelector("[data-sign-name]");
  const choose = () => {
    const how = form.elements.signed_how.value;
    frame.hidden = how !== "drawn";
    name.hidden = how !== "drawn" && how !== "typed";
    show();
  };
  form.addEventListener("change", choose);
  form.addEventListener("reset", () => setTimeout(choose));
  form.addEventListener("sheet-filled", choose);
  choose();

  // The moment at which the cautions were acknowledged.
  const read = form.elements.cautions_read;
  const at = form.elements.cautions_at;
  if (read && at) {
    read.addEventListener("change", () => {
      at.value = read.checked ? new Date().toISOString() : "";
    });
  }
})();
