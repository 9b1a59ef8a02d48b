// One key for each answer, from wherever the keyboard stands; any key stops what plays. A voice where it is wanted.
const cabinwrightRecord = {
  keys: { Enter: "go", " ": "go", a: "again", s: "skip", k: "keep" },
  say(words) {
    if (!window.speechSynthesis) return;
    speechSynthesis.cancel();
    const voice = speechSynthesis.getVoices().find((one) => one.localService && one.lang.startsWith("en"));
    if (!words || !voice) return; // a voice of another computer would be heard there first
    const made = new SpeechSynthesisUtterance(words);
    made.voice = voice;
    speechSynthesis.speak(made);
  },
};
document.addEventListener("keydown", (event) => {
  const stage = document.querySelector(".stage");
  if (!stage || event.repeat || event.ctrlKey || event.metaKey || event.altKey) return;
  const stop = stage.querySelector('[data-key="stop"]');
  if (stop && event.key !== "Tab" && event.key !== "Shift") {
    event.preventDefault();
    stop.click();
    return;
  }
  if (event.target.closest("input, select, textarea, summary, a")) return;
  if (event.target.closest("button") && (event.key === "Enter" || event.key === " ")) return;
  const key = cabinwrightRecord.keys[event.key.length === 1 ? event.key.toLowerCase() : event.key];
  const made = key && stage.querySelector(`[data-key="${key}"]`);
  if (made) {
    event.preventDefault();
    made.click();
  }
});
