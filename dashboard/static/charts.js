// Draws the charts the service describes, in the look of the page, and draws them again every minute.
"use strict";
(() => {
  const AGAIN_MS = 60000;
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const places = [...document.querySelectorAll("[data-figure]")];
  const config = { displayModeBar: false, responsive: true, showTips: false };

  async function draw(place) {
    try {
      const answer = await fetch(`${place.dataset.figure}&look=${dark.matches ? "dark" : "light"}`, { headers: { accept: "application/json" } });
      const said = await answer.json();
      if (!answer.ok) throw new Error(said.detail || `status ${answer.status}`);
      place.classList.remove("failed");
      await Plotly.react(place, said.data, said.layout, config);
    } catch (error) {
      if (place.classList.contains("js-plotly-plot")) Plotly.purge(place);
      place.classList.add("failed");
      place.textContent = `The chart could not be drawn: ${error.message}. Load the page again.`;
    }
  }
  async function all() { for (const place of places) await draw(place); document.body.dataset.drawn = "yes"; }

  dark.addEventListener("change", all);
  all();
  setInterval(() => { if (!document.hidden) all(); }, AGAIN_MS);
})();
