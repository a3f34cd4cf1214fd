"use strict";
// A bookmark lands: what is folded away opens, and what has moved to the page of its month is followed there. One button opens all.
(() => {
  const folds = [...document.querySelectorAll("article > details.fold, details.further")];
  const bar = document.querySelector(".foldbar");
  if (bar && folds.length > 1) {
    const all = bar.appendChild(document.createElement("button"));
    Object.assign(all, { type: "button", className: "soft-button", textContent: bar.dataset.open });
    let opened = false;
    all.addEventListener("click", () => {
      opened = !opened;
      for (const fold of folds) fold.open = opened;
      all.textContent = opened ? bar.dataset.close : bar.dataset.open;
    });
  }
  const land = () => {
    const name = decodeURIComponent(location.hash.slice(1));
    if (!name) return;
    const target = document.getElementById(name);
    const moved = target ? (target.matches("li.earlier") ? target : null) : [...document.querySelectorAll("li.earlier")].find((one) => name.startsWith(`${one.id}-`));
    if (moved) return location.replace(`${moved.querySelector("a").getAttribute("href").split("#")[0]}#${name}`);
    for (let box = target?.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
    const own = target?.querySelector(":scope > details.fold");
    if (own) own.open = true;
    target?.scrollIntoView();
  };
  addEventListener("hashchange", land);
  land();
})();
