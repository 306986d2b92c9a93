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

  // Unpacked when the first figure is drawn; the policy of the page lets it run by its SHA-256.
  let unpacked;
  const plotly = () => (unpacked ??= (async () => {
    const bytes = Uint8Array.from(atob(document.getElementById("plotly").textContent), (c) => c.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
    const script = document.createElement("script");
    script.textContent = await new Response(stream).text();
    document.head.append(script);
    return window.Plotly;
  })());

  for (const figure of figures) {
    const place = document.getElementById(`drawing-${figure.name}`);
    const choice = document.getElementById(`choice-${figure.name}`);
    const draw = async () => {
      if (!window.DecompressionStream) {
        place.textContent = "Figures need a browser of 2023 or later; the numbers are in the table below.";
        return;
      }
      const Plotly = await plotly();
      if (choice) document.getElementById(`chosen-${figure.name}`).textContent = `: ${choice.value}`;
      const [traces, own] = figure.choices[choice ? choice.value : Object.keys(figure.choices)[0]];
      const layout = { ...common, ...figure.layout, ...own };
      for (const axis of ["xaxis", "yaxis"]) if (layout[axis]) layout[axis] = { ...grid, ...layout[axis] };
      return Plotly.react(place, traces, layout, config);
    };
    if (choice) choice.addEventListener("change", draw);
    drawings.push(place);
    const folded = place.closest("details.step"); // drawn when it is unfolded: a hidden place has no width
    if (!folded || folded.open) draw();
    else folded.addEventListener("toggle", draw, { once: true });
  }

  // The picture of the plant: widths and rates of every quantity stand in it; a stream tells what it holds.
  const plantChoice = document.getElementById("plant-choice");
  if (plantChoice) {
    const told = document.getElementById("plant-told");
    const show = () => {
      document.getElementById("plant-quantity").textContent = plantChoice.selectedOptions[0].textContent;
      for (const drawing of document.querySelectorAll(".plant")) {
        const at = drawing.dataset.quantities.split(" ").indexOf(plantChoice.value);
        document.querySelector(".swatch-heat")?.classList.toggle("unchosen", plantChoice.value !== "heat");
        drawing.parentElement.classList.toggle("unchosen", at < 0);
        if (at < 0) continue; // heat has a drawing of its own, with what no stream carries
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
        stream.addEventListener(event, () => { told.textContent = stream.querySelector("title").textContent; });
  }

  // All results: those that hold every word asked for, in the order of a column, copied or saved as they stand.
  const list = document.getElementById("every");
  const filter = document.getElementById("filter");
  if (filter) {
    const body = list.tBodies[0];
    const rows = [...body.rows];
    const count = document.getElementById("count");
    filter.addEventListener("input", () => {
      const wanted = filter.value.toLowerCase().split(/\s+/);
      for (const row of rows) {
        const text = row.textContent.toLowerCase();
        row.hidden = !wanted.every((word) => text.includes(word));
      }
      const folded = list.closest("details");
      if (folded && filter.value) folded.open = true;
      count.textContent = `${rows.filter((row) => !row.hidden).length} of ${rows.length}`;
    });
    for (const button of document.querySelectorAll("button.find"))
      button.addEventListener("click", () => {
        filter.value = button.dataset.find;
        filter.dispatchEvent(new Event("input"));
        filter.focus();
        filter.scrollIntoView();
      });
    [...list.tHead.rows[0].cells].forEach((head, at) => {
      const button = document.createElement("button");
      button.type = "button";
      button.append(...head.childNodes);
      head.append(button);
      button.addEventListener("click", () => {
        const down = head.getAttribute("aria-sort") === "ascending";
        for (const other of list.tHead.rows[0].cells) other.removeAttribute("aria-sort");
        head.setAttribute("aria-sort", down ? "descending" : "ascending");
        const order = (a, b) => {
          const [x, y] = [a.cells[at].textContent, b.cells[at].textContent];
          return Number(x) - Number(y) || x.localeCompare(y, "en", { numeric: true });
        };
        body.append(...rows.sort((a, b) => (down ? order(b, a) : order(a, b))));
      });
    });
    const shown = (mark) => [list.tHead.rows[0], ...rows.filter((row) => !row.hidden)]
      .map((row) => [...row.cells].map((cell) => mark(cell.textContent.trim())));
    const quoted = (text) => {
      if (/^[=+\-@]./.test(text) && Number.isNaN(Number(text))) text = `'${text}`; // no formula for a spreadsheet
      return /[",\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
    };
    document.getElementById("copy")?.addEventListener("click", async () => {
      const text = shown((cell) => cell).map((cells) => cells.join("\t")).join("\n");
      await navigator.clipboard.writeText(text);
      count.textContent = "copied";
    });
    document.getElementById("save")?.addEventListener("click", () => {
      const text = shown(quoted).map((cells) => cells.join(",")).join("\r\n");
      const link = document.createElement("a");
      link.href = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
      link.download = "results.csv";
      link.click();
      URL.revokeObjectURL(link.href);
    });
  }
  const whole = document.getElementById("print-all");
  if (whole) whole.addEventListener("change", () => {
    document.documentElement.classList.toggle("everything", whole.checked);
    for (const part of document.querySelectorAll("details.step, details.rest")) part.open = whole.checked;
  });

  const theme = document.getElementById("theme");
  theme.addEventListener("click", () => {
    const root = document.documentElement;
    const dark = root.dataset.theme ? root.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
    root.dataset.theme = dark ? "light" : "dark";
    theme.setAttribute("aria-pressed", String(!dark));
  });

  const folded = [];
  const plant = document.getElementById("plant");
  const above = plant && plant.previousElementSibling; // on paper the summary comes first, the picture has a sheet
  addEventListener("beforeprint", () => {
    if (plant) document.querySelector(".answer, .first-sheet")?.after(plant);
    for (const part of document.querySelectorAll("details.step:not([open]), .everything details.rest:not([open])")) {
      part.open = true;
      folded.push(part);
    }
    for (const place of drawings) {
      const width = place.offsetWidth;
      place.style.width = `${width}px`; // scaled as it stands; drawing it anew would be caught in motion
      place.style.zoom = String(Math.min(1, 660 / width));
    }
  });
  addEventListener("afterprint", () => {
    for (const part of folded.splice(0)) part.open = false;
    if (plant) above ? above.after(plant) : document.getElementById("main").prepend(plant);
    for (const place of drawings) {
      place.style.width = "";
      place.style.zoom = "";
    }
  });
})();
