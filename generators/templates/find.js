// Search and filters over the list of topics that the page holds already: rows are hidden, never made.
"use strict";

(() => {
  const { el } = Site;
  const { axes, concepts, kinds, parameters, sources, topics } = Site.data();
  const rows = [...document.querySelectorAll("#results li")];
  const sections = [...document.querySelectorAll("#results section")];
  const AXES = { arch: "arch", material: "impression-material", tray: "tray-material" };

  // --- what a topic answers to ---

  const fold = (text) => text.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();

  function chain(concept) {
    const found = [];
    for (let here = concept; here && !found.includes(here); here = concepts[here]?.broader) found.push(here);
    return found;
  }

  const covers = (wider, narrower) => chain(narrower).includes(wider);
  const names = (concept) => (concepts[concept] ? [concepts[concept].label, ...concepts[concept].alt] : []);

  const haystacks = topics.map((topic) => {
    const parameter = parameters[topic.parameter];
    return fold(
      [
        topic.id, parameter.label, parameter.question, topic.case, topic.ruling,
        ...Object.entries(topic.when).flatMap(([axis, concept]) => [axes[axis].label, ...names(concept)]),
        ...topic.positions.map((position) => position.text), ...topic.sources.map((source) => sources[source].name),
      ].join("\n"),
    );
  });
  const kindsOf = topics.map((topic) => new Set(topic.sources.map((source) => sources[source].kind)));

  /** Whether a topic speaks of a concept on an axis: where it states the axis they must meet. */
  function meets(topic, axis, concept, statedOnly) {
    const stated = topic.when[axis];
    return stated ? covers(concept, stated) || covers(stated, concept) : !statedOnly;
  }

  const STANDINGS = {
    open: ["contested, not ruled", (topic) => topic.standing === "contested" && !topic.ruling],
    contested: ["contested", (topic) => topic.standing === "contested"],
    ruled: ["ruled by the course", (topic) => topic.ruling !== ""],
    agreed: ["agreed", (topic) => topic.standing === "agreed"],
    single: ["one voice", (topic) => topic.standing === "single"],
  };

  function matches(topic, number, state) {
    return (
      fold(state.q).split(/\s+/).every((word) => haystacks[number].includes(word)) &&
      Object.entries(AXES).every(([key, axis]) => !state[key] || meets(topic, axis, state[key], state.stated)) &&
      (!state.standing || (STANDINGS[state.standing]?.[1](topic) ?? false)) &&
      (!state.kind || kindsOf[number].has(state.kind)) &&
      (!state.source || topic.sources.includes(state.source))
    );
  }

  // --- the controls ---

  const byLabel = ([, one], [, other]) => one.localeCompare(other, "en");

  /** The concepts of an axis that a topic names, with those above them, as a tree in one list. */
  function tree(axis) {
    const used = new Set(topics.flatMap((topic) => (topic.when[axis] ? chain(topic.when[axis]) : [])));
    const found = [];
    const descend = (above, depth) => {
      for (const [id, concept] of Object.entries(concepts)) {
        if (used.has(id) && (used.has(concept.broader) ? concept.broader : null) === above) {
          found.push([id, "\u2003".repeat(depth) + concept.label]);
          descend(id, depth + 1);
        }
      }
    };
    descend(null, 0);
    return found;
  }

  const options = {
    arch: ["Arch", tree("arch")],
    material: ["Impression material", tree("impression-material")],
    tray: ["Tray material", tree("tray-material")],
    standing: ["Standing", Object.entries(STANDINGS).map(([id, [label]]) => [id, label])],
    kind: ["Kind of evidence", Object.entries(kinds).filter(([id]) => kindsOf.some((set) => set.has(id))).sort(byLabel)],
    source: ["Source", Object.entries(sources).map(([id, source]) => [id, source.name])],
  };

  const search = el("input", { id: "search", type: "search", autocomplete: "off", spellcheck: "false", name: "q" });
  const selects = Object.fromEntries(
    Object.entries(options).map(([key, [, list]]) => [
      key,
      el(
        "select",
        { id: `filter-${key}`, name: key },
        el("option", { value: "" }, "any"),
        list.map(([value, label]) => el("option", { value }, label)),
      ),
    ]),
  );
  const stated = el("input", { type: "checkbox", id: "filter-stated", name: "stated" });
  const slash = el("input", {
    type: "checkbox", id: "slash",
    change: () => Site.setShortcut(slash.checked),
  });
  slash.checked = Site.shortcutIsOn();
  const count = el("p", { role: "status", id: "count" });

  const form = el(
    "form",
    { class: "filters", role: "search", "aria-label": "Topics", submit: (event) => event.preventDefault() },
    el("p", { class: "field whole" }, el("label", { for: "search" }, "Words in the question, case, value or source"), search),
    Object.entries(options).map(([key, [label]]) =>
      el("p", { class: "field" }, el("label", { for: `filter-${key}` }, label), selects[key]),
    ),
    el("p", { class: "tick" }, stated, el("label", { for: "filter-stated" }, "only topics that state what is chosen")),
    el("p", { class: "tick" }, slash, el("label", { for: "slash" }, "press / to search")),
    el("p", {}, el("button", { type: "button", id: "clear", click: clear }, "Clear")),
  );
  document.getElementById("filters").append(form, count);

  // --- the state, kept in the address ---

  function state() {
    const values = Object.fromEntries(Object.entries(selects).map(([key, select]) => [key, select.value]));
    return { q: search.value.trim(), ...values, stated: stated.checked };
  }

  function apply(fromAddress) {
    const now = state();
    let shown = 0;
    topics.forEach((topic, number) => {
      const hit = matches(topic, number, now);
      rows[number].hidden = !hit;
      shown += hit;
    });
    for (const section of sections) section.hidden = !section.querySelector("li:not([hidden])");
    count.textContent = shown ? `${shown} of ${topics.length} topics` : "No topic answers to this. Loosen a filter.";
    if (fromAddress) return;
    const parts = new URLSearchParams(Object.entries(now).filter(([, value]) => value));
    if (now.stated) parts.set("stated", "yes");
    const address = `${location.pathname}${location.search}${parts.size ? `#${parts}` : ""}`;
    history.replaceState(null, "", address);
  }

  function fromAddress() {
    const parts = new URLSearchParams(location.hash.slice(1));
    search.value = parts.get("q") ?? "";
    for (const [key, select] of Object.entries(selects)) {
      select.value = parts.get(key) ?? "";
      if (select.selectedIndex < 0) select.value = "";
    }
    stated.checked = parts.get("stated") === "yes";
    apply(true);
  }

  function clear() {
    form.reset();
    slash.checked = Site.shortcutIsOn();
    apply();
    search.focus();
  }

  form.addEventListener("input", (event) => event.target !== slash && apply());
  window.addEventListener("hashchange", fromAddress);
  fromAddress();
  if (new URLSearchParams(location.search).has("search")) search.focus();

  // --- the keyboard: arrows walk the results, Escape clears ---

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const links = [...document.querySelectorAll("#results li:not([hidden]) > a")];
    const here = links.indexOf(document.activeElement);
    const inSearch = document.activeElement === search;
    if (event.key === "Escape" && (inSearch || here >= 0)) {
      event.preventDefault();
      clear();
    } else if (event.key === "ArrowDown" && (inSearch || here >= 0)) {
      event.preventDefault();
      links[Math.min(here + 1, links.length - 1)]?.focus();
    } else if (event.key === "ArrowUp" && here >= 0) {
      event.preventDefault();
      (here ? links[here - 1] : search).focus();
    } else if (event.key === "Enter" && inSearch && links.length) {
      event.preventDefault();
      links[0].focus();
    }
  });
})();
