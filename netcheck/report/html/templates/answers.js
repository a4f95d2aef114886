(() => {
  // Decisions and grants are chosen on the page and saved as a file. The page sends nothing.
  const bar = document.getElementById("answers");
  if (!bar) return;
  const columns = bar.dataset.columns.split(" ");
  const [name, said] = ["input", "output"].map((each) => bar.querySelector(each));
  const kept = `netcheck answers ${bar.dataset.plan}`;
  const cells = [...document.querySelectorAll("td.decide, td.grant")];
  let state = { by: "", rows: {}, unsaved: false };
  let stored = true;

  const idOf = (cell) => {
    const row = cell.closest("tr");
    return cell.classList.contains("decide") ? row.dataset.key ?? row.id : row.dataset.request;
  };
  const keep = () => {
    try {
      localStorage.setItem(kept, JSON.stringify(state));
      stored = true;
    } catch {
      stored = false;  // some browsers store nothing for a page that is a local file
    }
  };
  const restore = () => {
    try {
      const found = JSON.parse(localStorage.getItem(kept));
      if (found && typeof found.by === "string" && found.rows && typeof found.rows === "object") state = found;
    } catch {
      stored = false;
    }
  };
  const ids = new Set(cells.map(idOf));
  const answered = () => Object.keys(state.rows).filter((id) => ids.has(id) && state.rows[id].choice);
  const tell = (more) => {
    const parts = [`${answered().length} of ${ids.size} answered${state.unsaved ? ", not saved yet" : ""}`];
    if (more) parts.push(more);
    if (!stored) parts.push("This browser stores no answers: save before you close the page");
    said.textContent = parts.join(". ");
  };
  const note = (id, field, value) => {
    const row = (state.rows[id] ??= {});
    row[field] = value;
    state.unsaved = true;
    keep();
    tell();
  };

  const labelled = (words, field) => {
    const label = document.createElement("label");
    label.className = "words";
    label.append(`${words} `, field);
    return label;
  };
  const wide = (id, field) => {
    const area = document.createElement("textarea");
    area.rows = 1;
    area.value = state.rows[id]?.[field] ?? "";
    area.addEventListener("input", () => note(id, field, area.value));
    return area;
  };
  const dated = (id, field) => {
    const input = document.createElement("input");
    input.type = "date";
    input.value = state.rows[id]?.[field] ?? "";
    input.addEventListener("input", () => note(id, field, input.value));
    return input;
  };
  let groups = 0;
  const upgrade = (cell) => {
    if (cell.dataset.choice !== undefined) return;
    const id = idOf(cell);
    const decides = cell.classList.contains("decide");
    const head = cell.closest("tr").querySelector("th").textContent.replace(/\s+/g, " ").trim();
    const set = document.createElement("fieldset");
    const legend = document.createElement("legend");
    legend.className = "unseen";
    legend.textContent = `${decides ? "Decision" : "Answer"}: ${head}`.slice(0, 160);
    set.append(legend);
    groups += 1;
    const chosen = state.rows[id]?.choice ?? "";
    cell.dataset.choice = chosen;
    for (const box of cell.querySelectorAll("i")) {
      const value = box.textContent.replace(/\s*…$/, "");
      const radio = document.createElement("input");
      radio.type = "radio";
      radio.name = `answer-${groups}`;
      radio.value = value;
      radio.checked = value === chosen;
      radio.addEventListener("change", () => choose(cell, value));
      radio.addEventListener("click", () => {
        if (cell.dataset.choice === value) choose(cell, "");  // a second click removes the answer
      });
      const label = document.createElement("label");
      label.className = "choice";
      label.append(radio, ` ${box.textContent}`);
      set.append(label, " ");
    }
    if (decides) {
      const change = labelled("new value", wide(id, "change-to"));
      change.classList.add("to");
      const day = dated(id, "until");
      const until = labelled("until (empty: no end)", day);
      until.classList.add("until");
      const blank = () => until.classList.toggle("blank", !day.value);  // an empty date is not printed
      day.addEventListener("input", blank);
      blank();
      set.append(change, labelled("remark", wide(id, "remark")), until);
    } else {
      set.append(labelled("ticket", wide(id, "ticket")));
    }
    cell.replaceChildren(set);
  };
  const choose = (cell, value) => {
    upgrade(cell);
    cell.dataset.choice = value;
    for (const radio of cell.querySelectorAll("input[type=radio]")) radio.checked = radio.value === value;
    note(idOf(cell), "choice", value);
  };

  // The same guard as in every file that a spreadsheet may open (netcheck/tables/formula_guard.py).
  const guarded = (text) => (/^'*[=+\-@\t\r\n\0\uff1d\uff0b\uff0d\uff20]/.test(text) ? `'${text}` : text);
  const quoted = (text) => (/[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
  const flat = (text) => text.replace(/\s+/g, " ").trim();
  const lines = (cell) => [...cell.querySelectorAll(".address")].map((one) => one.textContent);
  const ofFinding = (cell, row) => {
    const [head, what, fix] = cell.closest("tr").children;
    const subjects = [...head.querySelectorAll("b")].map((one) => one.textContent);
    const rule = cell.closest("tbody").querySelector(".rule");
    const fixes = lines(fix);
    const names = [...fix.querySelectorAll("small")].map((one) => one.textContent);
    return {
      rule: rule.querySelector("a").textContent,
      severity: cell.closest("tr").dataset.kind,
      subjects: subjects.join("; "),
      address: lines(head)[0] ?? "",
      message: flat(what.textContent).replace(/\.$/, ""),
      source: flat(rule.querySelector(".source").textContent),
      fix: fixes.map((one, at) => (names[at] ? `${names[at]}=${one}` : one)).join("; "),
      where: head.querySelector("small").textContent,
      key: idOf(cell),
      choices: [...cell.querySelectorAll("input[type=radio]")].map((one) => one.value).join(" / "),
      decision: row.choice,
      "change-to": row.choice === "change it to" ? row["change-to"] ?? "" : "",
      remark: row.remark ?? "",
      until: row.choice === "live with it as it is" ? row.until ?? "" : "",
    };
  };
  const today = () => {
    const now = new Date();
    const two = (number) => String(number).padStart(2, "0");
    return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
  };
  const ofRequest = (cell, row) => ({
    ...JSON.parse(idOf(cell)),
    [row.choice]: "x",
    ticket: flat(row.ticket ?? ""),
    date: today(),
  });
  const csv = () => {
    const written = new Set();
    const rows = [columns];
    for (const cell of cells) {
      const id = idOf(cell);
      const row = state.rows[id];
      if (!row?.choice || written.has(id)) continue;
      written.add(id);
      const own = cell.classList.contains("decide") ? ofFinding(cell, row) : ofRequest(cell, row);
      const whole = { ...own, by: state.by, "plan-sha256": bar.dataset.plan };
      rows.push(columns.map((title) => quoted(guarded(whole[title] ?? ""))));
    }
    return `\ufeff${rows.map((row) => row.join(",")).join("\r\n")}\r\n`;
  };
  const wanting = () => {
    const numbers = [];
    for (const cell of document.querySelectorAll("td.decide[data-choice]")) {
      const row = state.rows[idOf(cell)] ?? {};
      const words = /[\p{L}\p{N}]/u.test(row.remark ?? "");
      const conflict = cell.closest("tr").dataset.kind === "conflict";
      const none =
        (row.choice === "question" && !words) ||
        (row.choice === "live with it as it is" && conflict && !words) ||
        (row.choice === "change it to" && !words && !/[\p{L}\p{N}]/u.test(row["change-to"] ?? ""));
      if (none) numbers.push(cell.closest("tr").querySelector(".number").textContent);
    }
    return numbers;
  };
  const save = () => {
    state.by = flat(name.value);
    if (!state.by) {
      tell("Write your name first");
      name.focus();
      return;
    }
    if (!answered().length) {
      tell("Choose an answer first");
      return;
    }
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([csv()], { type: "text/csv" }));
    link.download = bar.dataset.file;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    state.unsaved = false;
    keep();
    const numbers = wanting();
    const more = numbers.length ? ` A remark or value is missing for finding ${numbers.join(", ")}.` : "";
    tell(`Saved as ${bar.dataset.file}: send this file back.${more}`);
  };
  const clear = () => {
    if (!confirm("Clear all answers on this page?")) return;
    state = { by: state.by, rows: {}, unsaved: false };
    keep();
    for (const cell of document.querySelectorAll("td[data-choice]")) {
      cell.dataset.choice = "";
      for (const field of cell.querySelectorAll("textarea, input[type=date]")) field.value = "";
      for (const radio of cell.querySelectorAll("input[type=radio]")) radio.checked = false;
    }
    tell();
  };

  restore();
  name.value = state.by;
  name.addEventListener("input", () => {
    state.by = name.value;
    keep();
  });
  bar.querySelector(".save").addEventListener("click", save);
  bar.querySelector(".clear").addEventListener("click", clear);
  for (const button of document.querySelectorAll(".grant-all")) {
    button.addEventListener("click", () => {
      for (const cell of document.querySelectorAll(`table.${button.dataset.table} td.grant`)) {
        if (!state.rows[idOf(cell)]?.choice) choose(cell, "granted");
      }
    });
  }
  addEventListener("beforeunload", (event) => {
    if (state.unsaved) event.preventDefault();
  });
  // A cell gets its fields when it comes near the window, so that a page with thousands of cells opens at once.
  const near = new IntersectionObserver(
    (entries) => {
      for (const entry of entries) {
        if (!entry.isIntersecting) continue;
        near.unobserve(entry.target);
        upgrade(entry.target);
      }
    },
    { rootMargin: "800px" },
  );
  for (const cell of cells) {
    if (state.rows[idOf(cell)]?.choice) upgrade(cell);
    else near.observe(cell);
  }
  document.body.classList.add("answerable");
  bar.hidden = false;
  tell(answered().length ? "Restored from your last visit" : "");
})();
