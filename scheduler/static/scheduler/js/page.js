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

  // What was typed survives a session that ran out in the middle: after signing in again the form
  // is filled in once more. Kept in this tab only, never passwords, dropped once it has arrived.
  const KEPT = "kept-form";
  const keepable = (field) =>
    field.name &&
    field.name !== "csrfmiddlewaretoken" &&
    !["password", "file", "submit", "button"].includes(field.type);

  function restore(form, kept) {
    for (const field of form.elements) {
      if (!keepable(field)) {
        continue;
      }
      const values = kept.fields[field.name] || [];
      if (field.type === "checkbox" || field.type === "radio") {
        field.checked = values.includes(field.value);
      } else if (values.length > 0) {
        field.value = values[0];
      }
    }
    const notice = document.createElement("p");
    notice.className = "notice";
    notice.setAttribute("role", "status");
    notice.textContent = "What you had typed before signing in is back in the form. It is not saved yet.";
    form.before(notice);
  }

  const kept = JSON.parse(sessionStorage.getItem(KEPT) || "null");
  const signingIn = document.querySelector("[data-sign-in]") !== null;
  if (kept && !signingIn) {
    const form = document.querySelector("form[data-keep]");
    if (form && !errors && kept.signedOut && kept.path === window.location.pathname) {
      restore(form, kept);
    }
    sessionStorage.removeItem(KEPT);
  } else if (kept) {
    sessionStorage.setItem(KEPT, JSON.stringify({ ...kept, signedOut: true }));
  }
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.hasAttribute("data-keep")) {
      return;
    }
    const fields = {};
    for (const field of form.elements) {
      const chosen = !["checkbox", "radio"].includes(field.type) || field.checked;
      if (keepable(field) && chosen) {
        fields[field.name] = [...(fields[field.name] || []), field.value];
      }
    }
    sessionStorage.setItem(KEPT, JSON.stringify({ path: window.location.pathname, fields }));
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
