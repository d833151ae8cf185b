// The page of decisions: what was decided, to look over, change, take back and save as a form.
"use strict";

(() => {
  const { el } = Site;
  const { parameters } = Site.data();
  const topics = new Map(Site.data().topics.map((topic) => [topic.id, topic]));
  const room = document.getElementById("decisions");
  const status = el("p", { role: "status" });
  const body = el("div");
  room.replaceChildren(body, status);

  function nameOf(decision) {
    const topic = topics.get(decision.topic);
    return topic ? `${parameters[topic.parameter].label}: ${topic.case}` : decision.topic;
  }

  function item(decision) {
    const topic = topics.get(decision.topic);
    const [page, fragment] = topic ? topic.href.split("#") : [];
    const line = (label, text) => (text ? el("p", {}, el("span", { class: "quiet" }, `${label} `), text) : null);
    return el(
      "li",
      {},
      el("h2", { class: "entry" }, topic ? el("a", { href: topic.href }, nameOf(decision)) : nameOf(decision)),
      el("p", { class: "ruling" }, "The course adopts ", el("b", {}, decision.value), `: ${decision.because}`),
      line("Without a source, because", decision.without),
      line("Decided by", `${decision.by}, ${decision.on}`),
      line("Look at it again by", decision.review),
      topic ? null : el("p", { class: "note" }, "The store has no such topic now."),
      el(
        "p",
        { class: "buttons" },
        topic ? el("a", { href: `${page}?decide#${fragment}`, "aria-label": `Change: ${nameOf(decision)}` }, "Change") : null,
        el("button", { type: "button", "aria-label": `Remove: ${nameOf(decision)}`, click: () => remove(decision) }, "Remove"),
      ),
    );
  }

  function remove(decision) {
    const before = Site.decisions();
    Site.withdraw(decision.topic);
    show();
    const undo = el("button", { type: "button", click: () => { Site.replaceDecisions(before); status.textContent = "Put back."; show(); } }, "Put it back");
    status.replaceChildren(`Removed: ${nameOf(decision)}. `, undo);
    undo.focus();
  }

  function save(text) {
    const address = URL.createObjectURL(new Blob([text], { type: "application/yaml" }));
    el("a", { href: address, download: "rulings.yaml" }).click();
    setTimeout(() => URL.revokeObjectURL(address), 60000);
    status.textContent = "Saved as rulings.yaml, in the folder where this browser puts what it downloads.";
  }

  /** Decisions on an earlier state of the store: a new build must not lose them unseen. */
  function earlier() {
    return Site.earlier().map((key) => {
      const found = Site.decisionsUnder(key);
      const take = () => {
        const here = Site.decisions();
        const known = new Set(here.map((decision) => decision.topic));
        Site.replaceDecisions([...here, ...found.filter((decision) => !known.has(decision.topic))]);
        Site.forget(key);
        status.textContent = "Brought over.";
        show();
      };
      const drop = () => {
        Site.forget(key);
        status.textContent = "Dropped.";
        show();
      };
      return el(
        "div",
        { class: "caution" },
        el("p", {}, `${found.length} ${found.length === 1 ? "decision was" : "decisions were"} collected on another state of the store: ${found.map(nameOf).join("; ")}.`),
        el("p", { class: "buttons" }, el("button", { type: "button", click: take }, "Bring over"), el("button", { type: "button", click: drop }, "Drop")),
      );
    });
  }

  function show() {
    const list = Site.decisions();
    if (!list.length) {
      body.replaceChildren(el("p", {}, "Nothing has been decided in this browser yet."), ...earlier());
      return;
    }
    const text = Rulings.form(list);
    const area = el("textarea", { id: "form-text", readonly: true, spellcheck: "false", rows: Math.min(24, text.split("\n").length), focus: () => area.select() });
    area.value = text;
    body.replaceChildren(
      ...(Site.refused() ? [el("p", { class: "note" }, "This browser keeps nothing between pages: save before you leave.")] : []),
      el("ol", { class: "decided" }, list.map(item)),
      el("p", { class: "buttons" }, el("button", { type: "button", class: "main", id: "save", click: () => save(text) }, "Save as rulings.yaml")),
      el("p", { class: "field whole" }, el("label", { for: "form-text" }, "The form, to copy"), area),
      ...earlier(),
    );
  }

  window.addEventListener("storage", show);
  show();
})();
