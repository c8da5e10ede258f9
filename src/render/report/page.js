"use strict";
(() => {
  const table = document.getElementById("matrix-table");
  const tools = document.getElementById("matrix-tools");
  const dialog = document.getElementById("cell");
  const told = document.getElementById("matrix-told");
  if (tools) tools.hidden = false;

  // A cell opens what the page says of its pair further below.
  const show = (link) => {
    const target = document.getElementById(link.hash.slice(1));
    if (!target || !dialog.showModal) return false;
    const body = dialog.querySelector("div");
    body.replaceChildren();
    const title = document.createElement("h2");
    if (target.tagName === "LI") {
      const text = document.createElement("p");
      title.textContent = target.firstChild.textContent;
      text.textContent = target.lastChild.textContent;
      body.append(title, text);
    } else {
      title.textContent = target.querySelector("summary").firstChild.textContent;
      body.append(title, target.querySelector("div").cloneNode(true));
    }
    dialog.showModal();
    return true;
  };
  for (const table of document.querySelectorAll("table.heat")) {
    table.addEventListener("click", (event) => {
      const link = event.target.closest("a");
      if (link && link.hash && show(link)) event.preventDefault();
    });
    // Arrow keys go from cell to cell that says something.
    table.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] }[event.key];
      const cell = event.target.closest("td");
      if (!step || !cell) return;
      let row = cell.parentElement.rowIndex, column = cell.cellIndex;
      for (;;) {
        row += step[0];
        column += step[1];
        const next = table.rows[row] && table.rows[row].cells[column];
        if (!next || next.tagName !== "TD") return;
        const link = next.querySelector("a");
        if (link) {
          link.focus();
          event.preventDefault();
          return;
        }
      }
    });
  }

  const service = document.getElementById("by-service");
  const zone = document.getElementById("by-zone");
  const filter = () => {
    const sets = service.value === "" ? null : new Set(service.value.split(" "));
    let count = 0;
    for (const row of table.tBodies[0].rows) {
      row.hidden = zone.value !== "" && row.dataset.zone !== zone.value;
      for (const cell of row.cells) {
        if (cell.tagName !== "TD") continue;
        const passes = cell.dataset.s !== undefined && (sets === null || sets.has(cell.dataset.s));
        cell.classList.toggle("off", sets !== null && !passes);
        if (passes && !row.hidden) count += 1;
      }
    }
    const what = service.value === "" ? "something" : service.selectedOptions[0].textContent;
    told.textContent = count + (count === 1 ? " cell" : " cells") + " where " + what + " passes";
  };
  const order = document.getElementById("by-order");
  let numbered = false;
  const sort = () => {
    // Columns keep their number when they change places.
    for (const line of numbered ? [] : table.rows) {
      for (let at = 1; at < line.cells.length; at += 1) line.cells[at].dataset.c = at - 1;
    }
    numbered = true;
    const rows = [...table.tBodies[0].rows];
    const number = (row, key) => Number(row.dataset[key]);
    const by = {
      file: (a, b) => number(a, "at") - number(b, "at"),
      name: (a, b) => a.dataset.name.localeCompare(b.dataset.name) || number(a, "at") - number(b, "at"),
      trust: (a, b) => number(b, "trust") - number(a, "trust") || number(a, "at") - number(b, "at"),
      open: (a, b) => number(b, "open") - number(a, "open") || number(a, "at") - number(b, "at"),
    }[order.value];
    rows.sort(by);
    const first = rows.map((row) => number(row, "at"));
    const head = table.tHead.rows[0];
    const lines = [head, ...rows];
    for (const line of lines) {
      const cells = [...line.cells].slice(1);
      const place = new Map(cells.map((cell) => [Number(cell.dataset.c), cell]));
      const rest = cells.filter((cell) => !first.includes(Number(cell.dataset.c)));
      line.append(...first.map((at) => place.get(at)).filter((cell) => cell), ...rest);
    }
    table.tBodies[0].append(...rows);
    told.textContent = "Sorted by " + order.selectedOptions[0].textContent;
  };
  if (service) {
    service.addEventListener("change", filter);
    zone.addEventListener("change", filter);
    order.addEventListener("change", sort);
    document.getElementById("by-all").addEventListener("click", () => {
      service.value = "";
      zone.value = "";
      order.value = "file";
      sort();
      filter();
    });
  }

  // Whoever filters or sorts, or follows a link to something folded up, wants to see it.
  const unfold = (one) => {
    for (; one; one = one.parentElement) if (one.tagName === "DETAILS") one.open = true;
  };
  for (const choice of [service, zone, order]) if (choice) choice.addEventListener("change", () => unfold(table));
  const followed = () => unfold(document.getElementById(decodeURIComponent(location.hash.slice(1))));
  addEventListener("hashchange", followed);
  followed();
  // Paper has no folds; what is folded up because there is too much of it stays so.
  let folded = [];
  addEventListener("beforeprint", () => {
    folded = [...document.querySelectorAll("details:not([open]):not(.bulk):not(.bulk *)")];
    for (const one of folded) one.open = true;
  });
  addEventListener("afterprint", () => {
    for (const one of folded) one.open = false;
  });
})();
