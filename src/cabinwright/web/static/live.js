// Curves that follow the sound. The page asks for the next picture when it has drawn the last one, so none ever waits in line.
const cabinwrightLive = {
  socket: null, last: null, drawnAt: 0, latencies: [], frames: 0,
  EVERY_MS: 45,
  canvas() { return document.querySelector("canvas.live"); },
  look() {
    const canvas = cabinwrightLive.canvas(), socket = cabinwrightLive.socket;
    if (!canvas) { if (socket) socket.close(); return; }
    if (!socket) cabinwrightLive.connect();
    else if (cabinwrightLive.last && canvas.dataset.drawn !== canvas.dataset.show) cabinwrightLive.draw(cabinwrightLive.last);
  },
  connect() {
    const socket = new WebSocket(`ws://${location.host}/live/frames`);
    cabinwrightLive.socket = socket;
    socket.onopen = () => cabinwrightLive.ask();
    socket.onclose = () => { cabinwrightLive.socket = null; };
    socket.onmessage = (event) => {
      const picture = JSON.parse(event.data);
      if (picture.panels) {
        cabinwrightLive.last = picture;
        cabinwrightLive.draw(picture);
        cabinwrightLive.say(picture);
        if (picture.on) {
          cabinwrightLive.latencies.push(Date.now() - 1000 * picture.at);
          if (cabinwrightLive.latencies.length > 500) cabinwrightLive.latencies.shift();
        }
        cabinwrightLive.frames += 1;
      }
      setTimeout(() => cabinwrightLive.ask(), Math.max(0, cabinwrightLive.EVERY_MS - (performance.now() - cabinwrightLive.drawnAt)));
    };
  },
  ask() {
    const canvas = cabinwrightLive.canvas(), socket = cabinwrightLive.socket;
    if (!socket || socket.readyState !== 1) return;
    if (!canvas) { socket.close(); return; }
    cabinwrightLive.drawnAt = performance.now();
    socket.send(JSON.stringify({ show: canvas.dataset.show, after: cabinwrightLive.last ? cabinwrightLive.last.number : 0 }));
  },
  say(picture) {
    for (const one of document.querySelectorAll("[data-live]")) {
      const value = picture.levels[one.dataset.live];
      const words = value === undefined || value === null ? "–" : value.toFixed(1);
      if (one.textContent !== words) one.textContent = words;
    }
    const text = {
      seconds: `${picture.seconds.toFixed(0)} s`, told: picture.told, unit: picture.unit,
      peak: picture.peak === null ? "–" : `${picture.peak.toFixed(1)} dBFS${picture.clipped ? " ▲ clipped" : ""}`,
    };
    for (const one of document.querySelectorAll("[data-text]")) {
      const words = text[one.dataset.text] || "";
      if (one.textContent !== words) one.textContent = words;
    }
  },
  // Always on white, as the documents are; the dim scheme turns it over with them.
  draw(picture) {
    const canvas = cabinwrightLive.canvas();
    if (!canvas) return;
    const ratio = window.devicePixelRatio || 1, width = canvas.clientWidth, height = canvas.clientHeight;
    if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(height * ratio)) {
      canvas.width = Math.round(width * ratio);
      canvas.height = Math.round(height * ratio);
    }
    const g = canvas.getContext("2d");
    g.setTransform(ratio, 0, 0, ratio, 0, 0);
    g.fillStyle = "#ffffff";
    g.fillRect(0, 0, width, height);
    g.font = '14px "Segoe UI", "Helvetica Neue", "Noto Sans", "DejaVu Sans", Arial, sans-serif';
    const inks = JSON.parse(canvas.dataset.inks);
    const key = cabinwrightLive.key(g, picture.panels, inks, width);
    let top = key;
    const room = height - key - 40;
    for (const [number, panel] of picture.panels.entries()) {
      const high = panel.height * room - (picture.panels.length > 1 ? 14 : 0);
      const place = { left: 52, right: width - 12, top: top + 6, bottom: top + high };
      cabinwrightLive.panel(g, panel, inks, place, number === picture.panels.length - 1);
      top += panel.height * room;
    }
    if (!picture.panels.length) {
      g.fillStyle = "#1f2a33";
      g.fillText(canvas.dataset.empty, 20, 40, width - 40);
    }
    canvas.dataset.drawn = canvas.dataset.show;
  },
  key(g, panels, inks, width) {
    let x = 52, y = 20;
    for (const item of panels.length ? panels[0].series : []) {
      const long = g.measureText(item.name).width + 52;
      if (x + long > width && x > 52) { x = 52; y += 22; }
      cabinwrightLive.pen(g, inks[item.ink]);
      if (item.kind === "steps") { g.globalAlpha = 0.25; g.fillStyle = inks[item.ink].colour; g.fillRect(x, y - 10, 30, 12); g.globalAlpha = 1; }
      g.beginPath(); g.moveTo(x, y - 5); g.lineTo(x + 30, y - 5); g.stroke();
      g.fillStyle = "#1f2a33"; g.setLineDash([]);
      g.fillText(item.name, x + 36, y, Math.max(40, width - x - 40));
      x += long;
    }
    return y + 6;
  },
  pen(g, ink) {
    g.strokeStyle = ink.colour;
    g.lineWidth = ink.width * 1.33;
    g.setLineDash(ink.dash.map((part) => part * 1.33));
    g.lineJoin = "round";
  },
  panel(g, panel, inks, place, last) {
    const span = Math.log(20480 / 18);
    const across = (f) => place.left + (place.right - place.left) * Math.log(f / 18) / span;
    const up = (v) => place.bottom - (place.bottom - place.top) * (v - panel.low) / (panel.high - panel.low);
    g.setLineDash([]); g.lineWidth = 1; g.strokeStyle = "#dfe4e7"; g.fillStyle = "#1f2a33"; g.textAlign = "right";
    for (let v = panel.low; v <= panel.high + 1e-9; v += panel.step) {
      g.beginPath(); g.moveTo(place.left, up(v)); g.lineTo(place.right, up(v)); g.stroke();
      g.fillText(String(+v.toFixed(2)), place.left - 6, up(v) + 5);
    }
    g.textAlign = "center";
    for (const f of [20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000]) {
      g.beginPath(); g.moveTo(across(f), place.top); g.lineTo(across(f), place.bottom); g.stroke();
      if (last && (place.right - place.left > 480 || [20, 100, 500, 2000, 10000].includes(f)))
        g.fillText(f >= 1000 ? f / 1000 + "k" : f, across(f), place.bottom + 18);
    }
    if (last) g.fillText("frequency, Hz", (place.left + place.right) / 2, place.bottom + 35);
    g.textAlign = "left";
    g.save();
    g.beginPath(); g.rect(place.left, place.top, place.right - place.left, place.bottom - place.top); g.clip();
    for (const item of panel.series) cabinwrightLive.series(g, item, panel, inks[item.ink], across, up);
    g.restore();
    g.fillStyle = "#ffffff"; g.globalAlpha = 0.8; g.fillRect(place.left + 4, place.top + 3, g.measureText(panel.label).width + 8, 20); g.globalAlpha = 1;
    g.fillStyle = "#1f2a33"; g.fillText(panel.label, place.left + 8, place.top + 18);
  },
  series(g, item, panel, ink, across, up) {
    const x = panel.x, y = item.y;
    if (item.lo && item.hi) {
      g.fillStyle = ink.colour; g.globalAlpha = 0.2;
      for (let k = 0; k + 1 < x.length; k += 1) {
        if ([item.lo[k], item.hi[k], item.lo[k + 1], item.hi[k + 1]].includes(null)) continue;
        g.beginPath(); g.moveTo(across(x[k]), up(item.lo[k])); g.lineTo(across(x[k + 1]), up(item.lo[k + 1]));
        g.lineTo(across(x[k + 1]), up(item.hi[k + 1])); g.lineTo(across(x[k]), up(item.hi[k])); g.fill();
      }
      g.globalAlpha = 1;
    }
    cabinwrightLive.pen(g, ink);
    const half = Math.pow(10, 0.05), steps = item.kind !== "line";
    if (item.kind === "steps") {
      g.fillStyle = ink.colour; g.globalAlpha = 0.25;
      for (let k = 0; k < x.length; k += 1) {
        if (y[k] === null) continue;
        const left = across(x[k] / half) + 1, right = across(x[k] * half) - 1;
        g.fillRect(left, up(y[k]), right - left, up(panel.low) - up(y[k]));
      }
      g.globalAlpha = 1;
    }
    g.beginPath();
    let open = false;
    for (let k = 0; k < x.length; k += 1) {
      if (y[k] === null) { open = false; continue; }
      const at = up(Math.max(y[k], panel.low - 5));
      const jump = panel.label.startsWith("phase") && k && y[k - 1] !== null && Math.abs(y[k] - y[k - 1]) > 180;
      for (const across_ of steps ? [across(x[k] / half), across(x[k] * half)] : [across(x[k])]) {
        if (open && !jump) g.lineTo(across_, at); else g.moveTo(across_, at);
        open = true;
      }
    }
    g.stroke();
  },
  png(name) {
    const link = document.createElement("a");
    link.href = cabinwrightLive.canvas().toDataURL("image/png");
    link.download = name + ".png";
    link.click();
  },
};
setInterval(cabinwrightLive.look, 200);
