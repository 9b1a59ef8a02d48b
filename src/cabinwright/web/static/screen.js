// What must not wait for the server: the scheme before the first paint, and the list of pages on a phone.
const cabinwright = {
  set(scheme) { document.documentElement.dataset.scheme = scheme; },
  flip() {
    const scheme = document.documentElement.dataset.scheme === "garage" ? "sunlight" : "garage";
    localStorage.setItem("cabinwright-scheme", scheme);
    cabinwright.set(scheme);
  },
  calm(scene) { // nothing is drawn while nothing moves: a tablet's battery, and a core where there is no graphics card
    const { renderer } = scene, draw = renderer.render.bind(renderer), size = renderer.setSize.bind(renderer);
    let was = "";
    renderer.setSize = (...given) => { was = ""; size(...given); }; // which wipes the sheet
    renderer.render = (world, camera) => {
      const now = [camera.zoom, camera.aspect];
      for (const part of [camera.position, camera.quaternion]) now.push(...part.toArray());
      world.traverse((one) => {
        now.push(one.id, one.visible, one.material?.color?.getHex(), one.material?.opacity);
        for (const part of [one.position, one.quaternion, one.scale]) now.push(...part.toArray());
      });
      const seen = now.join();
      if (seen === was) return;
      was = seen;
      draw(world, camera);
    };
  },
  png(chart, name) {
    const link = document.createElement("a");
    link.href = chart.getDataURL({ pixelRatio: 2, backgroundColor: "#fff" });
    link.download = name + ".png";
    link.click();
  },
  layer(button, name) {
    const shown = button.getAttribute("aria-pressed") !== "true";
    button.setAttribute("aria-pressed", String(shown));
    for (const group of document.querySelectorAll(`.cut g[id="${CSS.escape(name)}"]`)) group.style.display = shown ? "" : "none";
  },
  send(files, carrier) { // names only: a dropped folder's own folders are not made in the build
    const chosen = files.filter((file) => !file.name.startsWith("."));
    if (chosen.length) carrier.$refs.qRef.addFiles(chosen);
  },
  chosen(event, carrier) {
    const files = [...event.target.files];
    event.target.value = "";
    cabinwright.send(files, carrier);
  },
  async dropped(event, carrier) {
    event.preventDefault();
    const entries = [...event.dataTransfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
    if (!entries.length) return cabinwright.send([...event.dataTransfer.files], carrier);
    const files = [];
    const walk = async (entry) => {
      if (entry.isFile) { files.push(await new Promise((done, failed) => entry.file(done, failed))); return; }
      const reader = entry.createReader();
      for (;;) {
        const some = await new Promise((done, failed) => reader.readEntries(done, failed)); // at most 100 at a time
        if (!some.length) return;
        for (const one of some) await walk(one);
      }
    };
    for (const entry of entries) await walk(entry);
    cabinwright.send(files, carrier);
  },
  async photographs(event) { // one by one: one that is refused stops no other
    event.preventDefault();
    const form = event.target, about = form.dataset, says = JSON.parse(about.told), told = [];
    const files = [...form.elements.files.files], at = form.querySelector(".sending");
    if (files.length > Number(about.most)) return [{ kept: false, says: says.many }];
    for (const [number, file] of files.entries()) {
      at.textContent = `${number + 1} / ${files.length}`;
      if (file.size > Number(about.bytes)) { told.push({ kept: false, says: file.name + says.large }); continue; }
      const query = new URLSearchParams({ at: about.at, name: file.name });
      for (const key of ["task", "pinned", "words"]) query.set(key, form.elements[key].value);
      try {
        const answer = await fetch(`${about.to}?${query}`, { method: "POST", body: file });
        told.push({ kept: answer.ok, says: await answer.text() });
      } catch { told.push({ kept: false, says: file.name + says.lost }); }
    }
    return told;
  },
  menu() {
    const open = document.body.classList.toggle("menu-open");
    document.querySelector("button.menu").setAttribute("aria-expanded", String(open));
  },
};
cabinwright.set(localStorage.getItem("cabinwright-scheme")
  || (matchMedia("(prefers-color-scheme: dark)").matches ? "garage" : "sunlight"));

// A page that is drawn anew keeps the keyboard where it was: the element of the same kind and words takes the focus over.
const whose = (one) => /^(field|new)-/.test(one.id) ? one.id : [one.tagName,
  one.closest("fieldset")?.querySelector("legend")?.textContent, one.labels?.[0]?.textContent
  || one.getAttribute("aria-label") || one.textContent.replace(/[✓▸▾☐☑]/g, "").trim()].join("|");
let focused = null, typed = null;
document.addEventListener("focusin", (event) => { focused = { one: event.target, whose: whose(event.target) }; });
document.addEventListener("input", (event) => { typed = { whose: whose(event.target), value: event.target.value }; });
// A field that is taken away tells a change as well: only one that stays was left by a person.
document.addEventListener("change", (event) => setTimeout(() => { if (event.target.isConnected) typed = null; }), true);
document.addEventListener("DOMContentLoaded", () => new MutationObserver(() => {
  if (!focused || focused.one.isConnected || document.activeElement !== document.body) return;
  const one = [...document.querySelectorAll(`.page ${focused.one.tagName}`)].find((other) => whose(other) === focused.whose);
  one?.focus({ preventScroll: true });
  if (!one || typed?.whose !== focused.whose || one.value === typed.value) return;
  one.value = typed.value; // typed and not sent yet: it stays, and is sent on leaving
  const send = () => { if (typed && one.isConnected) one.dispatchEvent(new Event("change", { bubbles: true })); };
  one.addEventListener("blur", () => setTimeout(send), { once: true });
}).observe(document.body, { childList: true, subtree: true }));
