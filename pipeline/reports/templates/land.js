"use strict";
// A bookmark lands: what is folded away opens, and what has moved to the page of its month is followed there.
(() => {
  const land = () => {
    const name = decodeURIComponent(location.hash.slice(1));
    if (!name) return;
    const target = document.getElementById(name);
    const moved = target ? (target.matches("li.earlier") ? target : null) : [...document.querySelectorAll("li.earlier")].find((one) => name.startsWith(`${one.id}-`));
    if (moved) return location.replace(`${moved.querySelector("a").getAttribute("href").split("#")[0]}#${name}`);
    for (let box = target?.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
    target?.scrollIntoView();
  };
  addEventListener("hashchange", land);
  land();
})();
