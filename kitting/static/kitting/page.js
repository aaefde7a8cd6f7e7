// Pages work without this. It adds a sound and a buzz to what a scan was answered, puts the cursor back to scan on, sends the
// picture of a code once it is taken, and says what time it is by the clock of this device when something is sent.
"use strict";
let speaker; // one for the page, made with the first sound
function sound(no) {
  if (navigator.vibrate && navigator.userActivation?.hasBeenActive) navigator.vibrate(no ? [300, 100, 300] : 80);
  try {
    speaker ??= new AudioContext();
    const tone = speaker.createOscillator();
    tone.frequency.value = no ? 180 : 880;
    tone.connect(speaker.destination);
    tone.start();
    tone.stop(speaker.currentTime + (no ? 0.5 : 0.1));
  } catch { /* a device without sound still shows the word and the shape */ }
}
const answer = document.querySelector("[data-answer]");
if (answer) {
  sound(answer.dataset.answer === "no");
  // The cursor scrolls its field into sight; a long answer above it is read first, and scans go into the field all the same.
  addEventListener("load", () => requestAnimationFrame(() => answer.getBoundingClientRect().top < 0 && answer.scrollIntoView()));
}
const HELD = 3000; // milliseconds; an answer that is a file leaves the page where it is
function hold(form, held) {
  for (const button of form.querySelectorAll("button")) button.disabled = held;
}
for (const form of document.querySelectorAll("form")) {
  form.addEventListener("submit", () => {
    if (form.method === "post") {
      const clock = form.elements.device_at ?? document.createElement("input");
      clock.type = "hidden";
      clock.name = "device_at";
      clock.value = new Date().toISOString();
      form.append(clock);
    }
    setTimeout(() => hold(form, true)); // once the form has been read, with the button that was pressed
    setTimeout(() => {
      hold(form, false);
      for (const number of form.querySelectorAll("[data-print]")) { // what is printed again is another print
        const [made, again = 0] = number.value.split("+");
        number.value = `${made}+${Number(again) + 1}`;
      }
    }, HELD);
  });
}
window.addEventListener("pageshow", () => { // somebody came back to a page as they left it
  for (const form of document.querySelectorAll("form")) hold(form, false);
});
for (const photo of document.querySelectorAll(".photo")) { // the picture sends itself
  const button = photo.querySelector("button");
  button.hidden = true;
  photo.querySelector("input").addEventListener("change", () => button.form.requestSubmit(button));
}
if (document.querySelector("[data-look-again]")) setTimeout(() => location.reload(), 1000);
