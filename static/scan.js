// Catches what a label scanner types, wherever the focus stands.
//
// A scanner is a keyboard: it types a label into whatever has the focus, very fast, and then perhaps
// Enter or Tab. A label of ours is taken out of the field again and opened, and that Enter presses
// nothing. Without this script a label is read where the scan field has the focus.
"use strict";
(() => {
  // All figures are common practice, no source.
  //
  // Milliseconds between two characters of a scanner. Wired ones take 1 to 10, ones by radio up to
  // about 30; a fast typist takes 80 and more, and two fingers that roll may be as fast, six may not.
  const GAP = 50;
  // Characters that must follow each other so fast before they count as a scan.
  const SHORTEST = 6;
  // Milliseconds of silence that end a scan without Enter: many gaps, and still at once to the eye.
  const SILENCE = 300;
  // Milliseconds after its last character in which Enter and Tab are still the scanner's; some wait
  // before they send it. Nobody reads what was scanned and answers it faster.
  const LATE = 1000;
  // Milliseconds in which the same label counts as read once: a trigger held too long reads it again.
  const AGAIN = 2000;
  const REMEMBERED = "mendpost-read";

  // What our labels begin with, first as it is, then as other keyboard layouts type it.
  const [beginning, ...moved] = document.currentScript.dataset.beginnings.split(" ");

  let scan = null; // what follows fast: its text, when its last key came, the field as it was before
  let timer = 0;

  // On the window and before all others, so that no button sees the Enter.
  addEventListener("keydown", (event) => {
    if (event.key === "Shift" || event.key === "CapsLock") return; // a scanner presses them for capitals
    if (event.key === "Enter" || event.key === "Tab") return end(event);
    const written = event.key.length === 1 && !event.ctrlKey && !event.altKey && !event.metaKey;
    if (!written || event.repeat || event.isComposing) return forget();
    const follows = scan !== null && !scan.taken && event.timeStamp - scan.at <= GAP;
    if (!follows) begin();
    // Space would press a button as Enter does.
    if (follows && event.key === " " && scan.field === null) stop(event);
    scan.text += event.key;
    scan.at = event.timeStamp;
    clearTimeout(timer);
    timer = setTimeout(take, SILENCE);
  }, true);

  // What came before, if it was a scan without an end of its own, is over.
  function begin() {
    if (scan !== null && !scan.taken) take();
    scan = { text: "", field: field(), taken: false };
  }

  function end(event) {
    const fast = scan !== null && scan.text.length >= SHORTEST;
    if (!fast || event.timeStamp - scan.at > LATE) return forget();
    const ours = label(scan.text) !== null;
    // After somebody else's label, as a maker's number read into its field, Tab may go on.
    if (ours || event.key === "Enter") stop(event);
    if (!scan.taken) take(event.key === "Enter");
  }

  // The scan is over: opens a label of ours. Of others only one that went into no field is shown.
  function take(entered) {
    clearTimeout(timer);
    if (scan === null || scan.text.length < SHORTEST) return;
    scan.taken = true;
    const text = label(scan.text);
    if (text !== null) {
      restore(scan.field);
      if (!again(text)) open(text);
    } else if (entered === true && scan.field === null && !again(scan.text)) {
      open(scan.text);
    }
  }

  // From where it begins as our labels do; null where it does not.
  function label(text) {
    const capitals = text.toUpperCase();
    const at = capitals.indexOf(beginning);
    if (at >= 0) return text.slice(at);
    return moved.some((other) => capitals.startsWith(other)) ? text : null;
  }

  // The field that the keys go to, as it is before the first; null where they go to none.
  function field() {
    const to = document.activeElement;
    const takesKeys = to instanceof HTMLTextAreaElement || to instanceof HTMLSelectElement ||
      (to instanceof HTMLInputElement && !["button", "submit", "radio", "checkbox", "file"].includes(to.type));
    if (!takesKeys) return null;
    return { to, value: to.value, from: to.selectionStart, until: to.selectionEnd };
  }

  function restore(field) {
    if (field === null) return;
    field.to.value = field.value;
    // Only text has a place for the next letter.
    if (typeof field.from === "number") field.to.setSelectionRange(field.from, field.until);
  }

  function again(text) {
    const now = Date.now();
    const last = JSON.parse(sessionStorage.getItem(REMEMBERED) ?? "null");
    sessionStorage.setItem(REMEMBERED, JSON.stringify({ text, at: now }));
    return last !== null && last.text === text && Math.abs(now - last.at) < AGAIN;
  }

  // Leaves the page, unless something typed on it would be lost.
  function open(text) {
    const address = "/scan?read=" + encodeURIComponent(text);
    if (unsaved()) tell(address);
    else location.assign(address);
  }

  function unsaved() {
    const forms = [...document.querySelectorAll("main form[method=post]")];
    return forms.some((form) => form.querySelector("[aria-invalid]") || [...form.elements].some(changed));
  }

  // Secrets are typed again anyhow.
  function changed(control) {
    if (control instanceof HTMLSelectElement) {
      const first = [...control.options].findIndex((option) => option.defaultSelected);
      return control.selectedIndex !== Math.max(first, 0);
    }
    if (control instanceof HTMLTextAreaElement) return control.value !== control.defaultValue;
    if (!(control instanceof HTMLInputElement)) return false;
    if (control.type === "hidden" || control.type === "password") return false;
    return control.checked !== control.defaultChecked ||
      (control.type === "file" ? control.files.length > 0 : control.value !== control.defaultValue);
  }

  function tell(address) {
    const notices = document.createElement("div");
    notices.className = "notices read";
    notices.setAttribute("role", "alert");
    notices.innerHTML = '<div class="notice waits"><p><b>READ.</b> What is typed on this page is not saved: ' +
      'save it first, or leave it.</p><a class="second small">Open the label</a></div>';
    notices.querySelector("a").href = address;
    document.querySelector(".notices.read")?.remove();
    document.querySelector(".head").after(notices);
  }

  function stop(event) {
    event.preventDefault();
    event.stopImmediatePropagation();
  }

  function forget() {
    clearTimeout(timer);
    scan = null;
  }
})();
