(() => {
  const bars = [...document.querySelectorAll(".filter")];
  const resets = [];
  for (const bar of bars) {
    const [text, kind, said] = ["input", "select", "output"].map((name) => bar.querySelector(name));
    const section = bar.closest("section");
    const rows = [...section.querySelectorAll(bar.dataset.rows)].map((row) => {
      const also = row.dataset.also ? document.getElementById(row.dataset.also) : null;
      return { parts: also ? [row, also] : [row], kind: row.dataset.kind, words: null };
    });
    const apply = () => {
      const wanted = text.value.trim().toLowerCase();
      let shown = 0;
      for (const row of rows) {
        row.words ??= row.parts.map((part) => part.textContent).join(" ").replace(/\s+/g, " ").toLowerCase();
        const fits = (!kind.value || row.kind === kind.value) && row.words.includes(wanted);
        for (const part of row.parts) part.hidden = !fits;
        shown += fits ? 1 : 0;
      }
      for (const group of section.querySelectorAll(".group")) {
        group.hidden = !group.querySelector(".finding:not([hidden]), .port-row:not([hidden])");
      }
      said.textContent = `${shown} of ${rows.length} shown`;
    };
    text.addEventListener("input", apply);
    kind.addEventListener("change", apply);
    resets.push(() => { text.value = ""; kind.value = ""; apply(); });
    bar.hidden = false;
  }
  addEventListener("hashchange", () => {
    const target = document.getElementById(location.hash.slice(1));
    if (target && target.closest("[hidden]")) {
      for (const reset of resets) reset();
      target.scrollIntoView();
    }
  });
})();
