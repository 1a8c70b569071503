"use strict";
(() => {
  document.documentElement.classList.add("live");
  for (const link of document.querySelectorAll("a[data-own]")) link.href = link.closest("figure").querySelector("img").src;
  const number = (v) => {
    const size = Math.abs(v);
    if (v === 0) return "0";
    if (size >= 1000) return v.toFixed(0);
    if (size < 0.1) return String(Number(v.toPrecision(3)));
    return size < 10 ? v.toFixed(2) : v.toFixed(1);
  };

  const ranking = document.getElementById("ranking-data");
  if (ranking) {
    const data = JSON.parse(ranking.textContent), slider = document.getElementById("along");
    const bars = document.getElementById("bars"), chosen = [...document.querySelectorAll("[data-choice]")];
    const most = Math.max(1e-9, ...data.rows.map((row) => (row.b ? Math.max(row.b[1], row.t) : row.t)));
    const cell = (tag, text, kind) => {
      const found = document.createElement(tag);
      found.textContent = text;
      if (kind) found.className = kind;
      return found;
    };
    const show = () => {
      const x = Number(slider.value), place = chosen.map((select) => Number(select.value));
      const rows = data.rows.filter((row) => row.x === x && row.o.every((v, i) => v === place[i]));
      rows.sort((a, b) => b.t - a.t || a.p.localeCompare(b.p));
      bars.replaceChildren(...rows.map((row, k) => {
        const line = document.createElement("tr"), bar = document.createElement("td"), box = document.createElement("span");
        const name = cell("th", (k + 1) + ". " + row.p);
        name.scope = "row";
        bar.className = "bar";
        box.style.width = (100 * row.t / most).toFixed(2) + "%";
        bar.append(box);
        if (row.b) {
          const band = cell("i", "");
          band.style.left = (100 * row.b[0] / most).toFixed(2) + "%";
          band.style.width = (100 * (row.b[1] - row.b[0]) / most).toFixed(2) + "%";
          bar.append(band);
        }
        const told = (v) => number(v / data.unit[0]);
        const value = told(row.t) + " " + data.unit[1] + (row.b ? " (" + told(row.b[0]) + " to " + told(row.b[1]) + ")" : "");
        line.append(name, bar, cell("td", value, "n"), cell("td", row.e));
        return line;
      }));
      document.getElementById("along-value").textContent = data.values[x];
      slider.setAttribute("aria-valuetext", data.values[x] + ", best: " + (rows.length && rows[0].t > 0 ? rows[0].p : "none"));
    };
    slider.addEventListener("input", show);
    chosen.forEach((select) => select.addEventListener("change", show));
    show();
  }

  const table = document.getElementById("all"), body = table.tBodies[0], lines = [...body.rows];
  const keys = lines.map((line) => [...line.cells].map((one) => {
    const raw = one.dataset.v;
    return raw === undefined ? one.textContent : raw === "" ? null : Number(raw);
  }));
  const heads = [...table.tHead.rows[0].cells];
  heads.forEach((head, column) => head.querySelector("button").addEventListener("click", () => {
    const down = head.getAttribute("aria-sort") === "ascending", sign = down ? -1 : 1;
    heads.forEach((other) => other.removeAttribute("aria-sort"));
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    const order = lines.map((_, i) => i).sort((i, j) => {
      const a = keys[i][column], b = keys[j][column];
      if (a === null || b === null) return (a === null) - (b === null) || i - j;
      return sign * (typeof a === "number" && typeof b === "number" ? a - b : String(a).localeCompare(String(b), "en", { numeric: true })) || i - j;
    });
    body.append(...order.map((i) => lines[i]));
  }));
  const words = document.getElementById("filter"), ends = document.getElementById("ends");
  const filter = () => {
    const wanted = words.value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    lines.forEach((line) => {
      const text = line.textContent.toLowerCase();
      const on = (!ends || !ends.value || line.dataset.end === ends.value) && wanted.every((word) => text.includes(word));
      line.hidden = !on;
      shown += on;
    });
    document.getElementById("shown").textContent = shown + " of " + lines.length + " cases";
  };
  words.addEventListener("input", filter);
  if (ends) ends.addEventListener("change", filter);
  filter();
})();
