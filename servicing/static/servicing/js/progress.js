// Follow a list on its way into the register. Without this the page offers "Look again".
(() => {
  "use strict";

  const shown = document.querySelector("[data-progress]");
  if (!shown) {
    return;
  }
  const stage = (told) => told.working && told.stage;
  let before;

  const look = async () => {
    const answer = await fetch(shown.dataset.progress, { headers: { Accept: "application/json" } });
    if (!answer.ok) {
      return;
    }
    const told = await answer.json();
    before = before ?? stage(told);
    if (!told.working || stage(told) !== before) {
      window.location.reload();
      return;
    }
    const bar = shown.querySelector("progress");
    if (bar) {
      bar.value = told.rows_behind;
      shown.querySelector("[data-rows-behind]").textContent = told.rows_behind;
    }
    window.setTimeout(look, 1000);
  };

  window.setTimeout(look, 500);
})();
