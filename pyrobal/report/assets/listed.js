// Tables of many rows: those that hold every word asked for, in the order of a column, copied or saved as they
// stand. A table may be in parts beside each other's rows, each with the columns that name a row. A long one shows
// its first rows until all are asked for or one is looked for; what is copied or saved is never cut short.
for (const place of document.querySelectorAll(".listed")) {
  const tables = [...place.querySelectorAll("table")];
  const [tools, search, count] = [".tools", "input", "[role=status]"].map((what) => place.querySelector(what));
  const stub = Number(place.dataset.stub);
  const rows = [...tables[0].tBodies[0].rows].map((_, i) => tables.map((table) => table.tBodies[0].rows[i]));
  const all = place.querySelector(".all");
  tools.hidden = false;
  const left = () => rows.filter(([row]) => !row.hidden);
  const say = () => {
    const short = Boolean(all) && !all.hidden && !search.value;
    place.classList.toggle("short", short);
    count.textContent = short ? `the first 35 of ${rows.length}` : `${left().length} of ${rows.length}`;
  };
  say();
  all?.addEventListener("click", () => {
    all.hidden = true;
    search.focus(); // where a keyboard stood is gone
    say();
  });
  search.addEventListener("input", () => {
    const wanted = search.value.toLowerCase().split(/\s+/);
    for (const parts of rows) {
      const text = parts.map((row) => row.textContent).join(" ").toLowerCase();
      for (const row of parts) row.hidden = !wanted.every((word) => text.includes(word));
    }
    say();
  });
  tables.forEach((table, part) => [...table.tHead.rows[0].cells].forEach((head, at) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const down = head.getAttribute("aria-sort") === "ascending";
      for (const other of place.querySelectorAll("thead [aria-sort]")) other.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      const order = (a, b) => {
        const [x, y] = [a, b].map((parts) => parts[part].cells[at].textContent);
        return Number(x) - Number(y) || x.localeCompare(y, "en", { numeric: true });
      };
      rows.sort((a, b) => (down ? order(b, a) : order(a, b)));
      tables.forEach((one, k) => one.tBodies[0].append(...rows.map((parts) => parts[k])));
    });
  }));
  const shown = (mark) => [tables.map((table) => table.tHead.rows[0]), ...left()]
    .map((parts) => parts.flatMap((row, k) => [...row.cells].slice(k ? stub : 0)).map((cell) => mark(cell.textContent.trim())));
  const quoted = (text) => {
    if (/^[=+\-@]./.test(text) && Number.isNaN(Number(text))) text = `'${text}`; // no formula for a spreadsheet
    return /[",\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
  };
  place.querySelector(".copy").addEventListener("click", async () => {
    await navigator.clipboard.writeText(shown((cell) => cell).map((cells) => cells.join("\t")).join("\n"));
    count.textContent = "copied";
  });
  place.querySelector(".save").addEventListener("click", () => {
    const text = shown(quoted).map((cells) => cells.join(",")).join("\r\n");
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
    link.download = "results.csv";
    link.click();
    URL.revokeObjectURL(link.href);
  });
}
