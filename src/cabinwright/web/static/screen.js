// What must not wait for the server: the scheme before the first paint, and the list of pages on a phone.
const cabinwright = {
  set(scheme) { document.documentElement.dataset.scheme = scheme; },
  flip() {
    const scheme = document.documentElement.dataset.scheme === "garage" ? "sunlight" : "garage";
    localStorage.setItem("cabinwright-scheme", scheme);
    cabinwright.set(scheme);
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
  menu() {
    const open = document.body.classList.toggle("menu-open");
    document.querySelector("button.menu").setAttribute("aria-expanded", String(open));
  },
};
// What is drawn anew keeps the keyboard where it was: a field by its id, a button by its words.
cabinwright.here = null;
addEventListener("focusin", (event) => {
  const one = event.target;
  cabinwright.here = { one, id: one.id, tag: one.tagName, says: cabinwright.says(one) };
});
cabinwright.says = (one) => (one.getAttribute("aria-label") || one.textContent).replace("✓", "").trim();
addEventListener("DOMContentLoaded", () => {
  new MutationObserver(() => {
    const here = cabinwright.here;
    if (!here || here.one.isConnected || document.activeElement !== document.body) return;
    const same = (here.id && !/^c[0-9]+$/.test(here.id) && document.getElementById(here.id))
      || [...document.querySelectorAll(here.tag)].find((one) => cabinwright.says(one) === here.says);
    if (same) same.focus({ preventScroll: true });
  }).observe(document.body, { childList: true, subtree: true });
});
cabinwright.set(localStorage.getItem("cabinwright-scheme")
  || (matchMedia("(prefers-color-scheme: dark)").matches ? "garage" : "sunlight"));
