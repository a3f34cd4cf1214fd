"use strict";
// Finding and filtering in the week's table, and turning pages by keyboard. Without scripts the table is whole.
(() => {
  const words = JSON.parse(document.getElementById("week-words").textContent);
  const tables = [...document.querySelectorAll("table.grid")]; // the body lines, then the further details
  const bar = document.getElementById("filters");
  const rows = tables.flatMap((table) => [...table.tBodies[0].rows]);
  const everybody = new Set(rows.map((row) => row.dataset.athlete)).size;

  const field = (label, element) => {
    const box = document.createElement("div");
    const name = document.createElement("label");
    element.id = name.htmlFor = `filter-${bar.children.length}`;
    name.textContent = label;
    box.append(name, element);
    bar.append(box);
    return element;
  };
  const choice = (label, all, options) => {
    const select = field(label, document.createElement("select"));
    select.append(new Option(all, ""), ...options.map(([value, text]) => new Option(text, value)));
    return select;
  };

  if (everybody > 1) {
    const find = document.createElement("input");
    find.type = "search";
    find.autocomplete = "off";
    find.spellcheck = false;
    field(words.athlete, find);
    const cohorts = [...new Set(rows.map((row) => row.dataset.cohort).filter(Boolean))].sort();
    const cohort = choice(words.cohort, words.all_cohorts, cohorts.map((name) => [name, name]));
    const heads = tables.flatMap((table) => [...table.tHead.rows[0].cells].slice(1));
    const skills = new Map(heads.map((head) => [head.dataset.skill, head.textContent]));
    const skill = choice(words.skill, words.all_skills, [...skills]);
    const verdict = choice(words.verdict, words.all_verdicts, words.verdicts);
    const count = bar.appendChild(document.createElement("output"));
    bar.hidden = false;

    const apply = () => {
      const code = find.value.trim().toLowerCase();
      const shown = new Set();
      for (const cell of document.querySelectorAll("table.grid [data-skill]")) cell.hidden = Boolean(skill.value) && cell.dataset.skill !== skill.value;
      for (const row of rows) {
        const marks = [...row.querySelectorAll("td:not([hidden]) .chip")];
        for (const mark of marks) mark.classList.toggle("faint", Boolean(verdict.value) && mark.dataset.verdict !== verdict.value);
        const fits = row.dataset.athlete.toLowerCase().includes(code) && (!cohort.value || row.dataset.cohort === cohort.value);
        row.hidden = !(fits && (!(verdict.value || skill.value) || marks.some((mark) => !mark.classList.contains("faint"))));
        if (!row.hidden) shown.add(row.dataset.athlete);
      }
      count.textContent = shown.size === everybody ? "" : words.shown.replace("%(shown)d", shown.size).replace("%(all)d", everybody);
      const chosen = { athlete: find.value.trim(), cohort: cohort.value, skill: skill.value, verdict: verdict.value };
      const kept = new URLSearchParams(Object.entries(chosen).filter(([, value]) => value)).toString();
      try {
        history.replaceState(null, "", (kept ? `?${kept}` : location.pathname) + location.hash);
      } catch {
        // pages opened from the disk may not be allowed to; the filters work all the same
      }
    };
    const asked = new URLSearchParams(location.search);
    for (const [name, element] of Object.entries({ athlete: find, cohort, skill, verdict })) {
      if (asked.get(name)) element.value = asked.get(name);
      element.addEventListener("input", apply);
    }
    apply();

    // A heading sorts its table, the attempt furthest from what is wanted first; once more, and the codes are in order again.
    for (const table of tables) {
      const body = table.tBodies[0], inOrder = [...body.rows];
      const heads = [...table.tHead.rows[1].cells];
      for (const head of heads) {
        const button = document.createElement("button");
        button.type = "button";
        button.className = "sort";
        button.title = words.sort.replace("%s", head.textContent);
        button.append(...head.childNodes);
        head.append(button);
        button.addEventListener("click", () => {
          const sorted = head.ariaSort === "descending";
          for (const one of heads) one.removeAttribute("aria-sort");
          const off = (row) => parseFloat(row.cells[head.cellIndex + 1].dataset.apart ?? "-1");
          if (!sorted) head.setAttribute("aria-sort", "descending");
          body.append(...(sorted ? inOrder : [...inOrder].sort((a, b) => off(b) - off(a))));
        });
      }
    }
    addEventListener("keydown", (event) => {
      if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input, select, textarea")) return;
      event.preventDefault();
      find.focus();
    });
  }
})();
