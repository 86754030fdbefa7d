// Draws the charts the service describes, in the look of the page, and draws them again every minute.
// On paper they are always drawn in the light look, which is therefore kept at hand.
"use strict";
(() => {
  const AGAIN_MS = 60000;
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const places = [...document.querySelectorAll("[data-figure]")];
  const paper = matchMedia("print");
  const look = () => (dark.matches && !paper.matches ? "dark" : "light");
  const config = { displayModeBar: false, responsive: true, showTips: false };

  async function ask(place, kind) {
    const answer = await fetch(`${place.dataset.figure}&look=${kind}`, { headers: { accept: "application/json" } });
    const said = await answer.json();
    if (!answer.ok) throw new Error(said.detail || `status ${answer.status}`);
    return said;
  }
  async function draw(place) {
    try {
      const kind = look();
      const said = await ask(place, kind);
      place.classList.remove("failed");
      await Plotly.react(place, said.data, said.layout, config);
      place.light = kind === "light" ? said : await ask(place, "light");
    } catch (error) {
      if (place.classList.contains("js-plotly-plot")) Plotly.purge(place);
      place.classList.add("failed");
      place.textContent = `The chart could not be drawn: ${error.message}. Load the page again.`;
    }
  }
  async function all() { for (const place of places) await draw(place); document.body.dataset.drawn = "yes"; }

  function onPaper() {
    if (!dark.matches) return;
    for (const place of places) if (place.light) Plotly.react(place, place.light.data, place.light.layout, config);
  }

  dark.addEventListener("change", all);
  paper.addEventListener("change", () => (paper.matches ? onPaper() : all()));
  addEventListener("beforeprint", onPaper);
  all();
  setInterval(() => { if (!document.hidden) all(); }, AGAIN_MS);
})();
