// The little that a page cannot do without a script: the field stays under the scanner, forms are sent one after
// the other without leaving the page, and an answer that does not come is said. Every form works without it.
"use strict";
(() => {
  const lost = document.getElementById("lost");
  let turn = Promise.resolve();

  const newTap = () => Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");
  const focusField = () => {
    const field = document.querySelector("main [autofocus]");
    if (field) field.focus();
  };

  async function sent(action, body) {
    for (let pause = 1; ; pause = Math.min(pause * 2, 8)) {
      try {
        const answer = await fetch(action, { method: "POST", body, redirect: "follow" });
        lost.hidden = true;
        return answer;
      } catch (fault) {
        lost.textContent = "NO ANSWER from the shop's machine: what was just sent does not count yet. NOT OUT until it answers. It is sent again by itself.";
        lost.hidden = false;
        await new Promise((later) => setTimeout(later, pause * 1000));
      }
    }
  }

  async function shown(answer) {
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const main = page.querySelector("main");
    if (!main) { location.assign(answer.url); return; }
    const typed = document.querySelector("main [autofocus]")?.value ?? "";
    document.querySelector("main").replaceWith(document.adoptNode(main));
    document.querySelector("header.head").replaceWith(document.adoptNode(page.querySelector("header.head")));
    document.title = page.title;
    const field = document.querySelector("main [autofocus]");
    if (field && typed) field.value = typed;
    focusField();
  }

  // A form with data-stay is sent in turn; the field is free for the next scan at once, with an id of its own.
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.hasAttribute("data-stay")) return;
    event.preventDefault();
    const body = new URLSearchParams(new FormData(form, event.submitter));
    if (form.elements.tap) form.elements.tap.value = newTap();
    const field = form.querySelector("[autofocus]");
    if (field) field.value = "";
    const action = event.submitter?.getAttribute("formaction") || form.action;
    turn = turn.then(() => sent(action, body)).then(shown);
  });

  // What a scanner types goes into the field, wherever the focus is.
  document.addEventListener("keydown", (event) => {
    if (event.key.length !== 1 || event.ctrlKey || event.metaKey || event.altKey || event.key === " ") return;
    if (event.target.closest("input, select, textarea")) return;
    focusField();
  });

  window.addEventListener("offline", () => {
    lost.textContent = "This tablet has lost the network: nothing counts until the shop's machine has answered.";
    lost.hidden = false;
  });
  window.addEventListener("online", () => { lost.hidden = true; });
})();
