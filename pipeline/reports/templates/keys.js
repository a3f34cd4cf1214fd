"use strict";
// n and p turn to the next and the previous page, as the links at the top do.
addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input, select, textarea")) return;
  const link = { n: "next", p: "prev" }[event.key];
  document.querySelector(link ? `.turn a[rel=${link}]` : "none")?.click();
});
