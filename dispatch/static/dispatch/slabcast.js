// Pages work without this. It only keeps a form from being sent twice by one impatient thumb,
// and brings today into view where the week is wider than the screen.
"use strict";

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  // A page restored by the back button must be able to send again.
  window.addEventListener("pageshow", () => delete form.dataset.sent, { once: true });
  window.setTimeout(() => delete form.dataset.sent, 4000);
});

document.addEventListener("DOMContentLoaded", () => {
  const today = document.querySelector(".picture-wrap .day-today");
  const frame = today && today.closest(".picture-wrap");
  if (frame && frame.scrollWidth > frame.clientWidth) {
    const left = today.getBoundingClientRect().left - frame.getBoundingClientRect().left;
    frame.scrollLeft = Math.max(0, left - 120);
  }
});
