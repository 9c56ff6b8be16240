// Looks a sheet through on the telephone, and shows what is wrong at its field: what the office's
// computer would refuse in any case is said while the crew still stands at the tank.
"use strict";

self.crewCheck = (() => {
  // As servicing/visit_checks.py: a quarter more than the working volume is asked about.
  const MOST_REMOVED_SHARE = 1.25;

  // --- errors at their fields ---

  const clearErrors = (form) => {
    document.querySelectorAll(".error-list").forEach((list) => list.remove());
    form.querySelectorAll(".is-invalid").forEach((field) => {
      field.classList.remove("is-invalid");
      field.removeAttribute("aria-invalid");
    });
    form.querySelectorAll(".invalid-feedback").forEach((text) => text.remove());
  };

  const fieldsNamed = (form, name) => {
    const found = name ? form.elements[name] : null;
    if (!found) {
      return [];
    }
    return found instanceof RadioNodeList ? [...found] : [found];
  };

  const labelOf = (field) => {
    const legend = field.closest("[id^=div_]")?.querySelector("legend, label");
    return (legend?.textContent || "").replace("*", "").trim();
  };

  const markField = (field, fields, texts) => {
    fields.forEach((one) => {
      one.classList.add("is-invalid");
      one.setAttribute("aria-invalid", "true");
    });
    const told = document.createElement("p");
    told.className = "invalid-feedback";
    told.id = `${field.id}-wrong`;
    told.textContent = texts.join(" ");
    (field.closest(".choices") || field.closest(".form-check") || field).after(told);
    field.setAttribute("aria-describedby", told.id);
    const putRight = () => {
      told.remove();
      fields.forEach((one) => {
        one.classList.remove("is-invalid");
        one.removeAttribute("aria-invalid");
      });
    };
    fields.forEach((one) => one.addEventListener("input", putRight, { once: true }));
    for (let details = field.closest("details"); details; details = details.parentElement.closest("details")) {
      details.open = true;
    }
  };

  const showErrors = (form, errors, confirm) => {
    clearErrors(form);
    const list = document.createElement("div");
    list.className = "error-list";
    list.setAttribute("role", "alert");
    list.tabIndex = -1;
    const head = document.createElement("h2");
    const lines = document.createElement("ul");
    const order = [...form.elements].map((field) => field.name);
    const sorted = Object.entries(errors).sort(([one], [other]) => order.indexOf(one) - order.indexOf(other));
    for (const [name, texts] of sorted) {
      const fields = fieldsNamed(form, name).filter((field) => field.type !== "hidden");
      const line = document.createElement("li");
      if (fields.length) {
        markField(fields[0], fields, texts);
        const link = document.createElement("a");
        link.href = `#${fields[0].id}`;
        link.textContent = `${labelOf(fields[0])}: ${texts.join(" ")}`;
        line.append(link);
      } else {
        line.textContent = texts.join(" ");
      }
      lines.append(line);
    }
    const number = lines.children.length;
    head.textContent = number === 1 ? "One thing needs putting right" : `${number} things need putting right`;
    list.append(head, lines);
    form.before(list);
    const sure = form.querySelector("[data-sure]");
    if (sure && confirm) {
      sure.hidden = false;
    }
    list.focus();
    list.scrollIntoView();
  };

  // --- looked through before it is kept: what the office's computer would refuse in any case ---

  const number = (form, name) => {
    const field = form.elements[name];
    return field && field.value !== "" ? Number(field.value) : null;
  };
  const value = (form, name) => (form.elements[name] ? form.elements[name].value : "");

  const add = (errors, name, text) => {
    errors[name] = [...(errors[name] || []), text];
  };

  const plainFaults = (form, errors) => {
    const seen = new Set();
    for (const field of form.elements) {
      if (field.name && !seen.has(field.name) && field.type !== "file" && !field.validity.valid) {
        seen.add(field.name);
        add(errors, field.name, (field.validity.valueMissing && field.dataset.missing) || field.validationMessage);
      }
    }
  };

  const removalFaults = (form, errors, job) => {
    const removed = value(form, "removed");
    if (["all", "part"].includes(removed) && number(form, "volume_removed") === null) {
      add(errors, "volume_removed", "Say how much was taken out.");
    }
    if (removed === "part" && number(form, "volume_left") === null) {
      add(errors, "volume_left", "Say about how much sludge stayed in.");
    }
    if (removed === "none" && job.emptying) {
      add(errors, "removed", "This job is an emptying. If nothing could be taken out, close it with a reason under “It could not be done”.");
    }
  };

  const odd = (form, job) => {
    const volume = number(form, "volume_removed");
    const litres = volume === null ? 0 : volume * job.litresPerUnit;
    const said = `${Math.round(litres).toLocaleString("en-GB")} L`;
    if (job.tankLitres && litres > MOST_REMOVED_SHARE * job.tankLitres) {
      return `${said} out of a tank of ${Math.round(job.tankLitres).toLocaleString("en-GB")} L: look again, or confirm below.`;
    }
    if (job.tankerLitres && litres > job.tankerLitres) {
      return `${said} is more than one load of ${job.tankerLitres.toLocaleString("en-GB")} L: look again, or confirm below.`;
    }
    return "";
  };

  const closingFaults = (form, errors, photos) => {
    if (!photos.some((photo) => photo.kind === "lid_back") && !value(form, "no_photo_because").trim()) {
      add(errors, "photo_lid_back", "Photograph the cover back on, or say below why no photo can be taken.");
    }
    const how = value(form, "signed_how");
    const points = (value(form, "signature").match(/\d+ \d+/g) || []).map((point) => Number(point.split(" ")[0]));
    if (how === "drawn" && (points.length < 8 || Math.max(...points) - Math.min(...points) < 40)) {
      add(errors, "signed_how", "The signature is blank. Sign in the frame, type the name, or say that nobody is at home.");
    }
    if (how === "typed" && value(form, "signed_by").trim().length < 2) {
      add(errors, "signed_by", "Type the name of who signs.");
    }
  };

  // As servicing/visit_checks.py and scheduler/job_sheets.py: a cover that was lifted goes back on.
  const undoneFaults = (form, errors, photos) => {
    const own = (name) => `left-undone-${name}`;
    if (value(form, own("cover_lifted")) !== "yes") {
      return false;
    }
    if (!photos.some((photo) => photo.kind === "lid_back") && !value(form, own("no_photo_because")).trim()) {
      add(errors, own("photo_lid_back"), "Photograph the cover back on, or say below why no photo can be taken.");
    }
    const off = !form.elements[own("lid_back_on")].checked;
    if (off && !form.elements[own("sure")].checked) {
      add(errors, own("lid_back_on"), "The cover is not said to be back on. Guard the opening, ring in, then confirm.");
    }
    return off;
  };

  const faultsOf = (form, photos, job) => {
    const errors = {};
    plainFaults(form, errors);
    let confirm = false;
    if (form.hasAttribute("data-crew-sheet")) {
      removalFaults(form, errors, job);
      closingFaults(form, errors, photos);
      const strange = odd(form, job);
      confirm = Boolean(strange);
      if (strange && !form.elements.sure.checked) {
        add(errors, "volume_removed", strange);
      }
    }
    if (form.hasAttribute("data-crew-abandon")) {
      confirm = undoneFaults(form, errors, photos);
    }
    return { errors, confirm };
  };

  return { clearErrors, showErrors, faultsOf };
})();
