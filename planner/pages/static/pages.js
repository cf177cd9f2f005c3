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

  // Looks wait on the tablet, also while a page is loaded again: each with its own id, so that it counts once, and
  // with how long it waited, so that it never counts as later than it was made. Nothing else waits like that.
  const KEPT = "mountbook waiting", TYPED = "mountbook typed ";
  const stored = (name, empty) => { try { return JSON.parse(localStorage.getItem(name)) ?? empty; } catch { return empty; } };
  const store = (name, value) => { try { localStorage.setItem(name, JSON.stringify(value)); } catch { /* it waits in this page alone */ } };
  const waiting = () => stored(KEPT, []);
  const change = (tap, to) => { store(KEPT, waiting().flatMap((each) => each.tap === tap ? to(each) : [each])); tell(); };
  function keep(form, action, body, button) {
    const item = { tap: body.get("tap"), action, body: body.toString(), at: Date.now(), words: `${form.dataset.waits}: ${button}`, refused: "" };
    store(KEPT, [...waiting(), item]);
    tell();
    return item;
  }
  const bodyOf = (item) => {
    const body = new URLSearchParams(item.body);
    body.set("waited", Math.max(0, Math.round((Date.now() - item.at) / 1000)));
    return body;
  };
  async function answered(item, answer) {
    if (answer.ok && !answer.redirected) {
      const about = item.words.split(":")[0];
      store(KEPT, waiting().filter((each) => each.tap !== item.tap && !(each.refused && each.words.startsWith(`${about}:`))));
      tell();
      return;
    }
    const page = new DOMParser().parseFromString(await answer.clone().text(), "text/html");
    const said = [...page.querySelectorAll("main .say, main .cure")].map((each) => each.textContent.trim()).join(": ");
    change(item.tap, (each) => [{ ...each, refused: said || "the shop's machine did not take it" }]);
  }
  function tell() {
    const place = document.getElementById("waiting"), items = waiting();
    place.hidden = !items.length;
    place.replaceChildren(...items.map((item) => {
      const line = document.createElement("p"), word = document.createElement("b");
      word.textContent = item.refused ? "NOT ENTERED" : "WAITING";
      word.className = item.refused ? "refused" : "";
      line.append(word, ` ${item.words}. `, item.refused || "It counts once the shop's machine has answered; until then it is NOT PASSED.");
      if (item.refused) {
        line.append(document.createElement("br"));
        for (const [words, does] of [["Send it again", () => { change(item.tap, (each) => [{ ...each, refused: "" }]); flush(); }], ["Throw it away", () => change(item.tap, () => [])]]) {
          const button = document.createElement("button");
          button.type = "button";
          button.textContent = words;
          button.addEventListener("click", does);
          line.append(button);
        }
      }
      return line;
    }));
  }
  let flushing = false;
  async function flush() {
    if (flushing) return;
    flushing = true;
    for (let item; (item = waiting().find((each) => !each.refused));) {
      try {
        await answered(item, await fetch(item.action, { method: "POST", body: bodyOf(item) }));
      } catch (fault) {
        await new Promise((later) => setTimeout(later, 2000));
      }
    }
    flushing = false;
  }

  async function sent(form, action, body, item) {
    if (form.method === "get") {  // what the page knows by now goes along, such as the ski that was scanned before
      const address = new URL(action);
      const here = document.querySelector(`form[data-stay][method="get"][action="${address.pathname}"]`) || form;
      here.querySelectorAll('input[type="hidden"]').forEach((field) => body.set(field.name, field.value));
      address.search = body;
      action = address.href;
    }
    for (let pause = 1; ; pause = Math.min(pause * 2, 8)) {
      try {
        const answer = await fetch(action, form.method === "get" ? {} : { method: "POST", body: item ? bodyOf(item) : body, redirect: "follow" });
        lost.hidden = true;
        if (item) await answered(item, answer);
        return answer;
      } catch (fault) {
        lost.textContent = "NO ANSWER from the shop's machine: what was just sent does not count yet. NOT OUT until it answers. It is sent again by itself.";
        lost.hidden = false;
        await new Promise((later) => setTimeout(later, pause * 1000));
      }
    }
  }

  async function shown(form, answer) {
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    page.querySelectorAll("noscript").forEach((each) => each.remove());
    const main = page.querySelector("main");
    if (!main) { location.assign(answer.url); return; }
    const typed = document.querySelector("main [autofocus]")?.value ?? "";
    document.querySelector("main").replaceWith(document.adoptNode(main));
    document.querySelector("header.head").replaceWith(document.adoptNode(page.querySelector("header.head")));
    document.title = page.title;
    const address = document.querySelector("main").dataset.address ?? (form.method === "get" ? answer.url : "");
    if (address) history.replaceState(null, "", address);  // so that the page may be loaded again
    const field = document.querySelector("main [autofocus]");
    if (field && typed) field.value = typed;
    weighAll();
    typedAgain();
    focusField();
  }

  // A badge that is scanned into any field signs in, and is sent nowhere else.
  document.addEventListener("submit", (event) => {
    if (event.target.hasAttribute("data-badge")) return;
    const badge = [...new FormData(event.target).values()].find((value) => /^\s*BADGE-\d+-[A-Z2-7]{16}\s*$/i.test(value));
    if (!badge) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    const form = document.createElement("form");
    form.method = "post";
    form.action = "/sign/badge";
    for (const [name, value] of [["badge", badge], ["then", location.pathname + location.search]]) {
      const field = document.createElement("input");
      field.type = "hidden";
      field.name = name;
      field.value = value;
      form.append(field);
    }
    document.body.append(form);
    form.submit();
  });

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
    const item = form.dataset.waits ? keep(form, action, body, event.submitter?.textContent ?? "") : null;
    turn = turn.then(() => sent(form, action, body, item)).then((answer) => shown(form, answer));
  });

  // What a scanner types goes into the field, wherever the focus is.
  document.addEventListener("keydown", (event) => {
    if (event.key.length !== 1 || event.ctrlKey || event.metaKey || event.altKey || event.key === " ") return;
    if (event.target.closest("input, select, textarea")) return;
    focusField();
  });

  // The rings of two skis: a tap gives a ring the word that is chosen. What counts is decided by the ledger.
  const tool = (form) => form.querySelector("[data-tool]:checked");
  function paint(form, ring, word) {
    ring.dataset.state = word.value;
    ring.querySelector(".sign").textContent = word.dataset.sign;
    ring.setAttribute("aria-label", `${ring.dataset.said}: ${word.dataset.words}`);
    let field = form.querySelector(`input[name="${CSS.escape(ring.dataset.ring)}"]`);
    if (!field) {
      field = document.createElement("input");
      field.type = "hidden";
      field.name = ring.dataset.ring;
      form.append(field);
    }
    field.value = word.value;
    weigh(form);
  }
  function weigh(form) {
    const rings = [...form.querySelectorAll("[data-ring]")];
    const unseen = rings.filter((ring) => !ring.dataset.state);
    const moved = rings.filter((ring) => !["", "not-moved", "not-reached"].includes(ring.dataset.state));
    const unreached = rings.filter((ring) => ring.dataset.state === "not-reached");
    const words = form.querySelector("[data-verdict]");
    words.classList.toggle("moved", moved.length > 0);
    if (moved.length) words.textContent = `${moved.map((ring) => ring.getAttribute("aria-label")).join("; ")}. Any movement is a hold: hang the tag on both skis.`;
    else if (unseen.length) words.textContent = `Not seen yet: ${unseen.length} of ${rings.length} rings.`;
    else if (unreached.length) words.textContent = "Not every screw was reached: the look is entered as unfinished, and the pair waits.";
    else words.textContent = "Every screw of both skis was tried and none turned.";
    const hold = form.querySelector("[data-hold]"), pass = form.querySelector("[data-pass]");
    if (hold) hold.disabled = !moved.length;
    if (pass) {
      pass.disabled = moved.length > 0 || unseen.length > 0;
      pass.textContent = unreached.length && !unseen.length && !moved.length ? "UNFINISHED" : "PASS";
      pass.classList.toggle("main", !pass.disabled);
    }
  }
  const weighAll = () => document.querySelectorAll("form[data-rings]").forEach(weigh);
  document.addEventListener("click", (event) => {
    const form = event.target.closest("form[data-rings]");
    if (!form) return;
    const ring = event.target.closest("[data-ring]");
    if (ring) paint(form, ring, tool(form));
    const rest = event.target.closest("[data-rest]");
    if (rest) {
      const word = form.querySelector("[data-tool]");
      rest.closest(".ski").querySelectorAll('[data-ring][data-state=""]').forEach((each) => paint(form, each, word));
    }
  });
  document.addEventListener("keydown", (event) => {
    const ring = event.target.closest("[data-ring]");
    if (!ring || (event.key !== "Enter" && event.key !== " ")) return;
    event.preventDefault();
    paint(ring.closest("form"), ring, tool(ring.closest("form")));
  });
  weighAll();

  // What was read at the bench stays on the tablet until the order has ended, also while a page is loaded again.
  const readings = (form) => [...form.querySelectorAll("input:not([type=hidden]):not([type=password]):not([type=checkbox])")];
  function typedAgain() {
    const ended = document.querySelector("main").dataset.ended;
    if (ended) localStorage.removeItem(TYPED + ended);
    document.querySelectorAll("form[data-keeps]").forEach((form) => {
      const kept = stored(TYPED + form.dataset.keeps, {});
      readings(form).forEach((field) => { field.value ||= kept[field.name] ?? ""; });
      tellTyped(form);
    });
  }
  function tellTyped(form) {
    const count = readings(form).filter((field) => field.value).length, said = form.querySelector("[data-kept]");
    said.hidden = !count;
    said.querySelector("b").textContent = count === 1 ? "1 value" : `${count} values`;
  }
  document.addEventListener("input", (event) => {
    const form = event.target.closest("form[data-keeps]");
    if (!form) return;
    store(TYPED + form.dataset.keeps, Object.fromEntries(readings(form).map((field) => [field.name, field.value])));
    tellTyped(form);
  });
  typedAgain();
  tell();
  flush();

  window.addEventListener("offline", () => {
    lost.textContent = "This tablet has lost the network: nothing counts until the shop's machine has answered.";
    lost.hidden = false;
  });
  window.addEventListener("online", () => { lost.hidden = true; });
})();
