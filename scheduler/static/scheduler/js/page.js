// Small manners every page has. No page needs this file to work.
(() => {
  "use strict";

  // After a form came back with errors, the list of them is where reading starts.
  const errors = document.querySelector("[data-take-focus]");
  if (errors) {
    errors.focus();
  }

  // A form that is on its way is not sent twice by a second press.
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (event.defaultPrevented || form.method !== "post" || form.hasAttribute("hx-post") || form.hasAttribute("data-again")) {
      return;
    }
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "yes";
  });
  window.addEventListener("pageshow", (event) => {
    if (event.persisted) {
      document.querySelectorAll("form[data-sent]").forEach((form) => delete form.dataset.sent);
    }
  });

  // Filters marked so are applied as soon as one changes; the button stays for those without script.
  document.querySelectorAll("form[data-submit-on-change] select").forEach((select) => {
    select.addEventListener("change", () => select.form.requestSubmit());
  });

  // Printing is a button where the page offers it.
  document.querySelectorAll("[data-print]").forEach((button) => {
    button.hidden = false;
    button.addEventListener("click", () => window.print());
  });
})();
