// What every page shares: making elements, keeping the decisions of a sitting, and the key that leads to the search.
// Nothing here is needed for reading. No text ever becomes markup: elements are made, and text is put into them.
"use strict";

const Site = (() => {
  const PREFIX = "trayconcord/decisions/";
  const store = document.querySelector('meta[name="trayconcord-store"]')?.content ?? "";

  /** An element with attributes and children; a function under a name such as "click" listens to that event. */
  function el(tag, attributes = {}, ...children) {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) {
      if (typeof value === "function") made.addEventListener(name, value);
      else if (value === true) made.setAttribute(name, "");
      else if (value !== false && value != null) made.setAttribute(name, value);
    }
    made.append(...children.flat().filter((child) => child != null));
    return made;
  }

  // --- what is kept between pages; a browser that refuses storage keeps it as long as the page is open ---

  const memory = new Map();
  let refused = false;

  function read(key) {
    try {
      return localStorage.getItem(key) ?? memory.get(key) ?? null;
    } catch {
      refused = true;
      return memory.get(key) ?? null;
    }
  }

  function write(key, text) {
    memory.set(key, text);
    try {
      localStorage.setItem(key, text);
    } catch {
      refused = true;
    }
  }

  function forget(key) {
    memory.delete(key);
    try {
      localStorage.removeItem(key);
    } catch {
      refused = true;
    }
  }

  const FIELDS = ["topic", "value", "because", "by", "on", "review", "without"];
  const TOPIC = /^[a-z0-9-]+(\?[a-z0-9-]+=[a-z0-9-]+(&[a-z0-9-]+=[a-z0-9-]+)*)?$/;

  /** Decisions as kept under a key. What another page left there, or another version, is not trusted. */
  function decisionsUnder(key) {
    try {
      const found = JSON.parse(read(key) ?? "[]");
      return (Array.isArray(found) ? found : [])
        .filter((entry) => entry && typeof entry.topic === "string" && TOPIC.test(entry.topic))
        .map((entry) => Object.fromEntries(FIELDS.map((name) => [name, String(entry[name] ?? "")])));
    } catch {
      return [];
    }
  }

  const decisions = () => decisionsUnder(PREFIX + store);

  function replaceDecisions(list) {
    write(PREFIX + store, JSON.stringify(list));
    showCount();
  }

  function decide(decision) {
    const list = decisions();
    const place = list.findIndex((entry) => entry.topic === decision.topic);
    if (place < 0) list.push(decision);
    else list[place] = decision;
    replaceDecisions(list);
  }

  const withdraw = (topic) => replaceDecisions(decisions().filter((entry) => entry.topic !== topic));

  /** The keys under which decisions on another state of the store are kept: they outlast a new build. */
  function earlier() {
    try {
      return Object.keys(localStorage)
        .filter((key) => key.startsWith(PREFIX) && key !== PREFIX + store && decisionsUnder(key).length)
        .sort();
    } catch {
      return [];
    }
  }

  function showCount() {
    const link = document.querySelector('header.site a[href="decisions.html"]');
    const count = decisions().length;
    if (link) link.textContent = count ? `Decisions (${count})` : "Decisions";
  }

  // --- the data of the topics ---

  let unfolded = null;

  /** The data of site-data.js with every topic written out: its tables are only there to keep the file small. */
  function data() {
    if (unfolded) return unfolded;
    const packed = TRAYCONCORD_DATA;
    const { axes, concepts, parameters, schemes, standings } = packed;
    const names = (table) => Object.keys(table);
    const [asked, along, meant, cited] = [names(parameters), names(axes), names(concepts), names(packed.sources)];
    const topics = packed.topics.map(([parameter, pairs, standing, sources, positions, ruling = ""]) => {
      const when = {};
      for (let place = 0; place < pairs.length; place += 2) when[along[pairs[place]]] = meant[pairs[place + 1]];
      const id = asked[parameter] + Object.entries(when).map(([axis, concept], n) => `${n ? "&" : "?"}${axis}=${concept}`).join("");
      const fragment = pairs.length ? id.replace("?", "--").replaceAll("=", "-").replaceAll("&", "--") : `${id}--in-general`;
      const told = ([axis, concept]) => `${axes[axis].prefix} ${concepts[concept].label}`.trimStart();
      return {
        id, when, ruling,
        parameter: asked[parameter],
        href: `question-${asked[parameter]}.html#${fragment}`,
        case: Object.entries(when).map(told).join(", ") || "in general",
        standing: standings[standing],
        sources: sources.map((place) => cited[place]),
        positions: positions.map((place) => packed.positions[place]),
      };
    });
    for (const parameter of Object.values(parameters)) if (parameter.scheme) parameter.members = schemes[parameter.scheme];
    unfolded = { ...packed, topics };
    return unfolded;
  }

  // --- the key / ---

  const SHORTCUT = "trayconcord/slash";
  const shortcutIsOn = () => read(SHORTCUT) !== "off";
  const setShortcut = (on) => write(SHORTCUT, on ? "on" : "off");

  document.addEventListener("keydown", (event) => {
    if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey || !shortcutIsOn()) return;
    if (event.target.closest?.("input, textarea, select, dialog, [contenteditable]")) return;
    event.preventDefault();
    const box = document.getElementById("search");
    if (box) box.focus();
    else location.href = "find.html?search";
  });

  window.addEventListener("storage", showCount);
  window.addEventListener("pageshow", showCount);
  showCount();

  return {
    el, data, decisions, decisionsUnder, decide, withdraw, replaceDecisions, earlier, forget, shortcutIsOn, setShortcut,
    refused: () => refused,
  };
})();
