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
if (answer) sound(answer.dataset.answer === "no");
for (const form of document.querySelectorAll("form")) {
  form.addEventListener("submit", () => {
    if (form.method === "post") {
      const clock = document.createElement("input");
      clock.type = "hidden";
      clock.name = "device_at";
      clock.value = new Date().toISOString();
      form.append(clock);
    }
    for (const button of form.querySelectorAll("button")) setTimeout(() => { button.disabled = true; });
  });
}
for (const photo of document.querySelectorAll(".photo")) { // the picture sends itself
  const button = photo.querySelector("button");
  button.hidden = true;
  photo.querySelector("input").addEventListener("change", () => button.form.requestSubmit(button));
}
if (document.querySelector("[data-look-again]")) setTimeout(() => location.reload(), 1000);
