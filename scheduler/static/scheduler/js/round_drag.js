// Dragging a job onto another job of the plan: the page that shows what the move would do opens.
// On an accepted round a job can also be dropped on another round of the list below it.
// The Move link beside each job does the same by keyboard and without this file.
(() => {
  "use strict";

  let dragged = null;
  const rowOf = (event) => event.target.closest("tr[data-move]");
  const dropOf = (event) => rowOf(event) || event.target.closest("[data-drop]");
  const clear = () => document.querySelectorAll(".drop-here").forEach((row) => row.classList.remove("drop-here"));

  document.addEventListener("dragstart", (event) => {
    dragged = rowOf(event);
    if (dragged) {
      event.dataTransfer.effectAllowed = "move";
      event.dataTransfer.setData("text/plain", dragged.dataset.move);
    }
  });
  document.addEventListener("dragover", (event) => {
    const row = dropOf(event);
    if (dragged && row && row !== dragged) {
      event.preventDefault();
      clear();
      row.classList.add("drop-here");
    }
  });
  document.addEventListener("dragend", () => {
    dragged = null;
    clear();
  });
  document.addEventListener("drop", (event) => {
    const row = dropOf(event);
    if (!dragged || !row || row === dragged) {
      return;
    }
    event.preventDefault();
    const round = row.closest("[data-tanker]");
    const sameRound = round === dragged.closest("tbody");
    const after = sameRound && Number(dragged.dataset.position) < Number(row.dataset.position);
    const place = Number(row.dataset.position) - (after ? 1 : 0);
    const target = new URL(dragged.dataset.move, window.location.href);
    target.searchParams.set("tanker", round.dataset.tanker);
    target.searchParams.set("day", round.dataset.day);
    target.searchParams.set("position", "position" in row.dataset ? String(place) : "best");
    window.location.assign(target);
  });
})();
