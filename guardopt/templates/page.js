"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const slider = document.getElementById("slider");
  if (!slider) return;

  const find = (id) => document.getElementById(id);
  const kitRows = find("kit-rows");
  const outRows = find("out-rows");
  const rows = [...document.querySelectorAll("tr[data-guard]")].sort((a, b) => a.dataset.guard - b.dataset.guard);
  const least = Number(slider.min);
  const most = Number(slider.max);

  const money = (cents) =>
    data.currency + " " + (cents / 100).toLocaleString("en-GB", { minimumFractionDigits: 2, maximumFractionDigits: 2 });

  const stepAt = (budget) => {
    let row = 0;
    while (row + 1 < data.steps.length && data.steps[row + 1].budget <= budget) row += 1;
    return row;
  };

  const moveMarks = (budget, cost) => {
    const from = data.steps[data.own];
    for (const mark of data.cursors) {
      const right = (mark.across * (budget - data.budget)) / 100;
      const down = mark.up * (from.cost - cost);
      find("curve-" + mark.size + "-now-line").setAttribute("transform", "translate(" + right + ",0)");
      find("curve-" + mark.size + "-now-dot").setAttribute("transform", "translate(" + right + "," + down + ")");
    }
  };

  let shown = data.own;
  const show = (budget) => {
    const row = stepAt(budget);
    const step = data.steps[row];
    slider.value = String(budget);
    slider.setAttribute("aria-valuetext", money(budget));
    find("chosen-budget").textContent = money(budget);
    moveMarks(budget, step.cost);
    // Disabled buttons would lose the focus of whoever has just pressed them.
    find("less").setAttribute("aria-disabled", String(row === 0));
    find("more").setAttribute("aria-disabled", String(row === data.steps.length - 1));
    if (row === shown) return;
    shown = row;
    find("chosen-summary").textContent = step.summary;
    const kit = new Set(step.kit);
    rows.forEach((line, guard) => {
      line.querySelector(".why").textContent = data.texts[step.reasons[guard]];
      (kit.has(guard) ? kitRows : outRows).append(line);
    });
  };

  const go = (by) => {
    const row = stepAt(Number(slider.value)) + by;
    show(data.steps[Math.min(data.steps.length - 1, Math.max(0, row))].budget);
  };

  const keys = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 10, PageDown: -10 };
  slider.addEventListener("keydown", (event) => {
    if (!(event.key in keys) || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    go(keys[event.key]);
  });
  // A hand on the slider means whole units of money; both ends and steps reached by key are exact.
  slider.addEventListener("input", () => {
    const value = Number(slider.value);
    show(value === least || value === most ? value : Math.min(most, Math.max(least, Math.round(value / 100) * 100)));
  });
  find("less").addEventListener("click", () => go(-1));
  find("more").addEventListener("click", () => go(1));
  find("own").addEventListener("click", () => show(data.budget));

  document.querySelector(".slider").hidden = false;
  show(data.budget);
})();
