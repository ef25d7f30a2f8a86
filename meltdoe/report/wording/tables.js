// Every table of the report can be put in order by a column and copied for a spreadsheet.
"use strict";
(() => {
  const words = new Intl.Collator("en", { numeric: true });

  // "12.5 %", "+0.31 (-1 to 2)", "1100 °C": by the number at the start; anything else by its letters.
  function key(cell) {
    const text = (cell?.textContent ?? "").trim().replace("−", "-");
    const number = /^(under |over )?([+-]?\d+(\.\d+)?)/.exec(text);
    return { text, number: number ? Number(number[2]) + (number[1] === "under " ? -0.5 : number[1] ? 0.5 : 0) : NaN };
  }

  function compare(a, b) {
    if (Number.isNaN(a.number) !== Number.isNaN(b.number)) return Number.isNaN(a.number) ? 1 : -1;
    return a.number - b.number || words.compare(a.text, b.text);
  }

  function sort(table, heading, column) {
    const up = heading.getAttribute("aria-sort") !== "ascending";
    for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
    heading.setAttribute("aria-sort", up ? "ascending" : "descending");
    const body = table.tBodies[0];
    const rows = [...body.rows].map((row) => ({ row, key: key(row.cells[column]) }));
    rows.sort((a, b) => (up ? 1 : -1) * compare(a.key, b.key));
    body.append(...rows.map(({ row }) => row));
  }

  const clean = (cell) => cell.textContent.trim().replace(/\s+/g, " ");

  async function copy(table, button) {
    const text = [...table.rows].map((row) => [...row.cells].map(clean).join("\t")).join("\n");
    try {
      await navigator.clipboard.writeText(text);
      button.textContent = "Copied";
    } catch {
      getSelection().selectAllChildren(table); // the browser forbids it: then by hand
      button.textContent = "Selected: press Ctrl+C";
    }
  }

  for (const table of document.querySelectorAll("main table")) {
    if (table.closest("#what-if-panel")) continue;
    [...table.tHead.rows[0].cells].forEach((heading, column) => {
      const button = document.createElement("button");
      button.type = "button";
      button.title = "Put in order by this column";
      button.append(...heading.childNodes);
      button.addEventListener("click", () => sort(table, heading, column));
      heading.append(button);
    });
    const button = document.createElement("button");
    button.type = "button";
    button.className = "copy";
    button.textContent = "Copy this table";
    button.setAttribute("aria-describedby", table.caption.id);
    button.addEventListener("click", () => copy(table, button));
    table.parentElement.after(button);
  }
})();
