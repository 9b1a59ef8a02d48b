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
cabinwright.set(localStorage.getItem("cabinwright-scheme")
  || (matchMedia("(prefers-color-scheme: dark)").matches ? "garage" : "sunlight"));
