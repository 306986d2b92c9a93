"use strict";
// Draws the figures, filters the list of readings, turns light to dark. The page reads well without it.
(() => {
  const figures = JSON.parse(document.getElementById("figures").textContent);
  const common = {
    paper_bgcolor: "rgba(0,0,0,0)",
    plot_bgcolor: "rgba(0,0,0,0)",
    font: { size: 12.5, family: getComputedStyle(document.body).fontFamily },
    margin: { l: 20, r: 40, t: 30, b: 40 },
    modebar: { bgcolor: "rgba(0,0,0,0)", color: "#8a8a8a", activecolor: "#0072b2" },
    separators: ".",
    autosize: true,
  };
  const grid = { gridcolor: "rgba(138,138,138,0.35)", zerolinecolor: "#8a8a8a" };
  const config = { responsive: true, displaylogo: false, modeBarButtons: [["toImage"]] };
  const drawings = [];

  for (const figure of figures) {
    const place = document.getElementById(`drawing-${figure.name}`);
    const choice = document.getElementById(`choice-${figure.name}`);
    const draw = () => {
      const [traces, own] = figure.choices[choice ? choice.value : Object.keys(figure.choices)[0]];
      const layout = { ...common, ...figure.layout, ...own };
      for (const axis of ["xaxis", "yaxis"]) if (layout[axis]) layout[axis] = { ...grid, ...layout[axis] };
      return Plotly.react(place, traces, layout, config);
    };
    if (choice) choice.addEventListener("change", draw);
    draw();
    drawings.push(place);
  }

  // The picture of the plant: widths and rates of every quantity stand in it; a stream tells what it holds.
  const plantChoice = document.getElementById("plant-choice");
  if (plantChoice) {
    const told = document.getElementById("plant-told");
    const show = () => {
      document.getElementById("plant-quantity").textContent = plantChoice.selectedOptions[0].textContent;
      for (const drawing of document.querySelectorAll(".plant")) {
        const at = drawing.dataset.quantities.split(" ").indexOf(plantChoice.value);
        for (const stream of drawing.querySelectorAll(".stream")) {
          const width = stream.dataset.widths.split(" ")[at];
          const rate = stream.dataset.rates.split(" ")[at];
          const line = drawing.querySelector(`.line[data-band="${stream.dataset.band}"]`);
          for (const path of line.children) path.setAttribute("stroke-width", width);
          for (const text of stream.querySelectorAll(".rate")) text.textContent = rate;
          for (const part of [line, stream]) part.classList.toggle("none", Number(width) === 0);
        }
      }
    };
    plantChoice.addEventListener("change", show);
    for (const stream of document.querySelectorAll(".plant .stream"))
      for (const event of ["focus", "pointerenter"])
        stream.addEventListener(event, () => { told.textContent = stream.getAttribute("aria-label"); });
  }

  const filter = document.getElementById("filter");
  const rows = [...document.querySelectorAll("#every tbody tr")];
  const count = document.getElementById("count");
  if (filter) filter.addEventListener("input", () => {
    const wanted = filter.value.trim().toLowerCase();
    let shown = 0;
    for (const row of rows) {
      row.hidden = !row.textContent.toLowerCase().includes(wanted);
      if (!row.hidden) shown += 1;
    }
    count.textContent = `${shown} of ${rows.length}`;
  });

  const theme = document.getElementById("theme");
  theme.addEventListener("click", () => {
    const root = document.documentElement;
    const dark = root.dataset.theme ? root.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
    root.dataset.theme = dark ? "light" : "dark";
    theme.setAttribute("aria-pressed", String(!dark));
  });

  addEventListener("beforeprint", () => {
    for (const place of drawings) {
      const width = place.offsetWidth;
      place.style.width = `${width}px`; // scaled as it stands; drawing it anew would be caught in motion
      place.style.zoom = String(Math.min(1, 660 / width));
    }
  });
  addEventListener("afterprint", () => {
    for (const place of drawings) {
      place.style.width = "";
      place.style.zoom = "";
    }
  });
})();
