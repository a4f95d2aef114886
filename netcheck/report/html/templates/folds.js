"use strict";
(() => {
  // Folded sections start closed. On a narrow screen every section starts closed, except leading ones.
  const narrow = matchMedia("(max-width: 60rem)").matches;
  const folds = [...document.querySelectorAll("details.fold")];
  for (const fold of folds) {
    fold.open = !("folded" in fold.dataset || (narrow && !("leading" in fold.dataset)));
  }
  const reveal = () => {
    const target = location.hash.length > 1 ? document.getElementById(location.hash.slice(1)) : null;
    if (!target) return;
    for (let fold = target.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
    const own = target.querySelector(":scope > details.fold");
    if (own) own.open = true;
    target.scrollIntoView();
  };
  addEventListener("hashchange", reveal);
  reveal();
  let closed = [];
  addEventListener("beforeprint", () => {
    closed = folds.filter((fold) => !fold.open);
    for (const fold of closed) fold.open = true;
  });
  addEventListener("afterprint", () => {
    for (const fold of closed) fold.open = false;
  });
})();
