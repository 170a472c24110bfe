// Keeps a handover field by field while somebody writes it, so that a dead tablet loses nothing.
//
// The whole form is sent when a field was left changed, and when the page is left; the service writes
// only what differs, tells apart what others wrote, and answers with the number of the saving. Without
// this script the same is done by the button that keeps the draft.
"use strict";
(() => {
  // Milliseconds between leaving a field and sending: common practice, no source. Long enough that
  // tabbing through several fields is one saving.
  const QUIET = 800;

  const form = document.getElementById("draft");
  const told = document.getElementById("kept");
  let timer = 0;
  let busy = false;
  let again = false;

  form.addEventListener("change", () => {
    clearTimeout(timer);
    timer = setTimeout(keep, QUIET);
  });
  form.addEventListener("submit", () => {
    clearTimeout(timer);
    busy = true; // what is sent by the button is not sent beside it
  });

  async function keep() {
    if (busy) {
      again = true;
      return;
    }
    busy = true;
    const fields = new URLSearchParams(new FormData(form));
    for (const name of [...fields.keys()]) if (name.includes("passphrase")) fields.delete(name);
    try {
      const answer = await fetch(form.dataset.keep, { method: "POST", body: fields });
      if (!answer.ok) throw new Error(String(answer.status));
      const kept = await answer.json();
      form.elements.base.value = kept.base;
      form.elements.once.value = kept.once;
      say(kept.clash ? `${kept.clash} wrote in the same field: press here to see both` : `kept ${kept.kept}`);
    } catch {
      say("NOT KEPT: press here, or wait and type on");
    }
    busy = false;
    if (again) {
      again = false;
      keep();
    }
  }

  function say(text) {
    told.textContent = text;
  }
})();
