// Versions of one track on one time line. All of them run, one is let through; another takes over within FADE_S, so nothing clicks
// and no version is louder than its file.
const cabinwrightListen = {
  FADE_S: 0.02,
  context: null, key: "", buffers: [], sources: [], gains: [], picked: 0, playing: false, began: 0, at: 0, busy: false,
  player() { return document.querySelector(".player"); },
  length() { return cabinwrightListen.buffers.length ? cabinwrightListen.buffers[0].duration : 0; },
  time() {
    const self = cabinwrightListen;
    if (!self.playing || !self.length()) return self.at;
    return (self.at + Math.max(0, self.context.currentTime - self.began)) % self.length();
  },
  say(words) {
    const place = document.querySelector("[data-listen=said]");
    if (place && place.textContent !== words) place.textContent = words;
  },
  async load() { // within a click: a browser lets nothing sound before one
    const self = cabinwrightListen, key = self.player().dataset.sounds;
    if (!self.context) self.context = new AudioContext();
    self.context.resume();
    if (self.key === key) return true;
    if (self.busy) return false;
    self.busy = true;
    self.silence();
    self.say(self.player().dataset.loading);
    try {
      self.buffers = await Promise.all(JSON.parse(key).map(async (url) => {
        const answer = await fetch(url);
        if (!answer.ok) throw new Error(await answer.text());
        return self.context.decodeAudioData(await answer.arrayBuffer());
      }));
      self.key = key;
      self.at = 0;
      self.say("");
    } catch (error) {
      self.buffers = [];
      self.say(`${self.player()?.dataset.failed ?? ""} ${error.message}`);
    }
    self.busy = false;
    return self.key === key;
  },
  async toggle() {
    const self = cabinwrightListen;
    if (self.playing) { self.at = self.time(); self.silence(); }
    else if (await self.load()) self.start(self.at);
    self.show();
  },
  start(at) {
    const self = cabinwrightListen, when = self.context.currentTime + 0.03;
    self.silence();
    self.gains = self.buffers.map((_, number) => {
      const gain = self.context.createGain();
      gain.gain.setValueAtTime(0, self.context.currentTime);
      gain.gain.setValueAtTime(0, when);
      gain.gain.linearRampToValueAtTime(number === self.picked ? 1 : 0, when + self.FADE_S);
      gain.connect(self.context.destination);
      return gain;
    });
    self.sources = self.buffers.map((buffer, number) => {
      const source = new AudioBufferSourceNode(self.context, { buffer, loop: true });
      source.connect(self.gains[number]);
      source.start(when, at % buffer.duration);
      return source;
    });
    self.at = at;
    self.began = when;
    self.playing = true;
  },
  silence() {
    const self = cabinwrightListen;
    if (!self.context) return;
    const now = self.context.currentTime;
    for (const gain of self.gains) self.fade(gain, 0);
    for (const source of self.sources) source.stop(now + 2 * self.FADE_S);
    self.sources = [];
    self.gains = [];
    self.playing = false;
  },
  fade(gain, to) {
    const now = cabinwrightListen.context.currentTime;
    gain.gain.cancelScheduledValues(now);
    gain.gain.setValueAtTime(gain.gain.value, now);
    gain.gain.linearRampToValueAtTime(to, now + cabinwrightListen.FADE_S);
  },
  pick(number) {
    const self = cabinwrightListen;
    self.picked = number;
    self.gains.forEach((gain, one) => self.fade(gain, one === number ? 1 : 0));
    self.show();
  },
  label(button) { // in a blind comparison the server alone knows what is behind a letter
    for (const one of document.querySelectorAll("[data-label]")) one.setAttribute("aria-pressed", String(one === button));
    if (!cabinwrightListen.playing) cabinwrightListen.toggle();
  },
  seek(at) {
    const self = cabinwrightListen;
    if (self.playing) self.start(at); else self.at = at;
    self.show();
  },
  clock(seconds) { return `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`; },
  show() {
    const self = cabinwrightListen, player = self.player();
    if (!player) { if (self.playing) self.silence(); return; }
    if (self.playing && self.key !== player.dataset.sounds) { self.silence(); self.picked = 0; self.at = 0; }
    const play = player.querySelector("[data-listen=play]"), bar = player.querySelector("[data-listen=at]");
    const words = self.playing ? play.dataset.pause : play.dataset.play;
    if (play.textContent !== words) play.textContent = words;
    const at = self.time(), whole = Number(bar.max);
    if (document.activeElement !== bar || self.playing) bar.value = at;
    bar.setAttribute("aria-valuetext", self.clock(at));
    player.querySelector("[data-listen=clock]").textContent = `${self.clock(at)} / ${self.clock(whole)}`;
    for (const one of player.querySelectorAll("[data-pick]")) {
      one.setAttribute("aria-pressed", String(Number(one.dataset.pick) === self.picked));
    }
  },
};
setInterval(cabinwrightListen.show, 200);
