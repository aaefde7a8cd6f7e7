// Pages work without this. It adds a sound and a buzz to what a scan was answered, and puts the cursor back to scan on.
"use strict";
const answer = document.querySelector("[data-answer]");
if (answer) {
  const no = answer.dataset.answer === "no";
  if (navigator.vibrate && navigator.userActivation?.hasBeenActive) navigator.vibrate(no ? [300, 100, 300] : 80);
  try {
    const sound = new AudioContext();
    const tone = sound.createOscillator();
    tone.frequency.value = no ? 180 : 880;
    tone.connect(sound.destination);
    tone.start();
    tone.stop(sound.currentTime + (no ? 0.5 : 0.1));
  } catch { /* a device without sound still shows the word and the shape */ }
}
for (const form of document.querySelectorAll("form")) {
  form.addEventListener("submit", () => {
    for (const button of form.querySelectorAll("button")) setTimeout(() => { button.disabled = true; });
  });
}
if (document.querySelector("[data-look-again]")) setTimeout(() => location.reload(), 1000);
