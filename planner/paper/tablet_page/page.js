"use strict";
// Filters narrow the list and the orders together; without a script everything is simply shown.
(function () {
  const form = document.querySelector("form.filters");
  const rows = Array.from(document.querySelectorAll("#set-list tbody tr"));
  const orders = new Map(Array.from(document.querySelectorAll("article[data-tag]"), a => [a.dataset.tag, a]));
  const count = document.getElementById("count");
  function narrow() {
    const asked = {};
    for (const field of form.querySelectorAll("[data-filter]")) asked[field.dataset.filter] = field.value;
    const words = asked.words.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    for (const row of rows) {
      const data = row.dataset;
      const fits = ["kind", "way", "wish"].every(name => !asked[name] || data[name] === asked[name]) &&
        words.every(word => data.words.includes(word));
      row.hidden = !fits;
      const order = orders.get(data.tag);
      if (order) order.hidden = !fits;
      if (fits) shown += 1;
    }
    const note = document.getElementById("filtered");
    note.hidden = shown === rows.length;
    note.textContent = "Only " + shown + " of " + rows.length + " sets are printed here: the list was filtered";
    count.textContent = shown === rows.length ? shown + " sets" : shown + " of " + rows.length + " sets";
  }
  if (form && rows.length) {
    form.hidden = false;
    form.addEventListener("input", narrow);
    form.addEventListener("reset", () => setTimeout(narrow, 0));
    form.addEventListener("submit", event => event.preventDefault());
    narrow();
  }
  for (const button of document.querySelectorAll("[data-print]")) {
    button.addEventListener("click", () => {
      const what = button.dataset.print;
      document.body.classList.add(what === "lists" ? "only-lists" : "only-order");
      const order = document.getElementById(what);
      if (order) order.classList.add("at-hand");
      window.print();
      document.body.classList.remove("only-lists", "only-order");
      if (order) order.classList.remove("at-hand");
    });
  }
})();
