// Deciding on a question page: a control on every contested topic, which opens a form.
"use strict";

(() => {
  const { el } = Site;
  const { concepts, parameters } = Site.data();
  const topics = new Map(Site.data().topics.map((topic) => [topic.id, topic]));
  const LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ";

  function today() {
    const now = new Date();
    return [now.getFullYear(), now.getMonth() + 1, now.getDate()].map((part) => String(part).padStart(2, "0")).join("-");
  }

  // --- the controls on the page ---

  const controls = new Map();

  for (const place of document.querySelectorAll("[data-topic]")) {
    const topic = topics.get(place.dataset.topic);
    const said = el("span", { class: "decided" });
    const name = `Decide: ${parameters[topic.parameter].label}, ${topic.case}`;
    const button = el("button", { type: "button", "aria-label": name, click: () => open(topic, button) }, "Decide");
    const line = el("p", { class: "decide" }, button, said);
    if (place.tagName === "TR") place.cells[0].append(line);
    else place.querySelector("h3").after(line);
    controls.set(topic.id, { said, button });
  }

  function show() {
    const decided = new Map(Site.decisions().map((decision) => [decision.topic, decision]));
    for (const [id, { said }] of controls) {
      const decision = decided.get(id);
      said.replaceChildren(...(decision ? ["Decided: ", el("b", {}, decision.value), ", not yet entered"] : []));
    }
    if (Site.refused() && decided.size) showForm([...decided.values()]);
  }

  /** The form so far, at the end of the page: where nothing is kept, no other page can show it. */
  function showForm(decisions) {
    document.getElementById("form-here")?.remove();
    const area = el("textarea", { id: "form-text", readonly: true, rows: 12, spellcheck: "false" });
    area.value = Rulings.form(decisions);
    document.querySelector("main").append(
      el("section", { id: "form-here" }, el("h2", {}, "The form so far"), el("p", { class: "field whole" }, el("label", { for: "form-text" }, "To copy before you leave: this browser keeps nothing between pages"), area)),
    );
  }

  // --- the form ---

  function field(id, label, control, hint) {
    const error = el("span", { class: "error", id: `${id}-error` });
    control.id = id;
    control.setAttribute("aria-describedby", hint ? `${id}-hint ${id}-error` : `${id}-error`);
    const told = hint ? el("span", { class: "hint", id: `${id}-hint` }, hint) : null;
    const whole = el("p", { class: "field whole" }, el("label", { for: id }, label), control, told, error);
    return { control, error, whole };
  }

  function complain({ control, error }, message) {
    error.textContent = message;
    if (message) control.setAttribute("aria-invalid", "true");
    else control.removeAttribute("aria-invalid");
    return message !== "";
  }

  function valueField(topic) {
    const parameter = parameters[topic.parameter];
    const select = (list) => el("select", {}, list.map(([value, label]) => el("option", { value }, label)));
    if (parameter.kind === "yes-no") return field("value", "Value adopted", select([["", "choose"], ["yes", "yes"], ["no", "no"]]));
    if (parameter.kind === "choice") {
      const terms = parameter.members.map((id) => [id, concepts[id].label]);
      return field("value", "Value adopted", select([["", "choose"], ...terms]));
    }
    const hints = {
      set: "As a form writes it: [term, term] for exactly these, {includes: [term], excludes: [term]}, or none.",
      order: "As a form writes it: [first-step, second-step, …].",
      count: "A whole number or a range: 3, 3 to 4, at least 3.",
      interval: `A quantity with its unit, or a range: 2 ${parameter.symbol}, 1 to 2 ${parameter.symbol}, at least 2 ${parameter.symbol}${"none" in parameter ? ", none" : ""}.`,
    };
    const long = parameter.kind === "set" || parameter.kind === "order";
    return field("value", "Value adopted", long ? el("textarea", { rows: 3, spellcheck: "false" }) : el("input", { type: "text", autocomplete: "off" }), hints[parameter.kind]);
  }

  function open(topic, opener) {
    const parameter = parameters[topic.parameter];
    const before = Site.decisions().find((decision) => decision.topic === topic.id);
    const value = valueField(topic);
    const because = field("because", "Because", el("textarea", { rows: 3, maxlength: 2000 }), "The reason, as students and examiners will read it.");
    const by = field("by", "Decided by", el("input", { type: "text", maxlength: 300 }), "A body, such as a committee; not a person.");
    const on = field("on", "Decided on", el("input", { type: "date" }));
    const review = field("review", "Look at it again by (optional)", el("input", { type: "date" }));
    const without = field("without", "Without a source, because", el("textarea", { rows: 2, maxlength: 2000 }));

    const choices = topic.positions.map((position, number) => {
      const radio = el("input", { type: "radio", name: "position", id: `position-${number}`, change: () => take(position.form) });
      return { position, radio, line: el("p", { class: "tick" }, radio, el("label", { for: radio.id }, el("b", {}, LETTERS[number] ?? String(number + 1)), ` ${position.text}`)) };
    });
    const other = el("input", { type: "radio", name: "position", id: "position-other", change: () => take("") });
    const terms = parameter.kind === "set" || parameter.kind === "order"
      ? el("details", {}, el("summary", {}, "Terms of this question"), el("p", { class: "hint" }, parameter.members.map((id) => `${id} (${concepts[id].label})`).join(", ")))
      : null;

    const dialog = el(
      "dialog",
      { "aria-labelledby": "decide-title", class: "decide", close: () => { dialog.remove(); opener.focus(); } },
      el(
        "form",
        { novalidate: true, submit: keep },
        el("h2", { id: "decide-title" }, `${parameter.label}: ${topic.case}`),
        el("p", {}, parameter.question),
        topic.ruling ? el("p", { class: "note" }, `The course adopts ${topic.ruling}; what is decided here takes its place in this case.`) : null,
        el("fieldset", {}, el("legend", {}, "Position"), choices.map(({ line }) => line), el("p", { class: "tick" }, other, el("label", { for: other.id }, "another value"))),
        value.whole, terms, without.whole, because.whole, by.whole,
        el("div", { class: "pair" }, on.whole, review.whole),
        Site.refused() ? el("p", { class: "note" }, "This browser keeps nothing between pages: copy the form at the end of this page before you leave it.") : null,
        el("p", { class: "buttons" }, el("button", { type: "submit", class: "main" }, "Keep this decision"), el("button", { type: "button", click: () => dialog.close() }, "Cancel")),
      ),
    );

    function take(text) {
      value.control.value = text;
      judge();
      if (!text) value.control.focus();
    }

    /** Marks the position that the value belongs to, and asks for a reason where no source supports it. */
    function judge() {
      const text = Rulings.tidy(value.control.value);
      const chosen = choices.find(({ position }) => position.form !== "" && position.form === text);
      if (chosen) chosen.radio.checked = true;
      else if (text) other.checked = true;
      const support = text === "" || Rulings.valueProblem(topic, text) ? true : Rulings.supported(topic, text);
      without.whole.hidden = support === true;
      without.required = support === false;
      without.whole.querySelector("label").textContent = support === false
        ? "No source supports this value. Adopted all the same, because"
        : "If no source supports this value: adopted all the same, because";
    }

    function keep(event) {
      event.preventDefault();
      const text = Object.fromEntries(Object.entries({ value, because, by, on, review, without }).map(([name, part]) => [name, Rulings.tidy(part.control.value)]));
      judge();
      const wrong = [
        [value, Rulings.valueProblem(topic, text.value)],
        [without, without.required && !text.without ? "Write why the course adopts it without a source." : ""],
        [because, text.because ? "" : "Write the reason."],
        [by, text.by ? "" : "Write who decided."],
        [on, text.on ? "" : "Give the date."],
        [review, text.review && text.review < text.on ? "This lies before the day of the decision." : ""],
      ].filter(([part, message]) => complain(part, message));
      if (wrong.length) {
        wrong[0][0].control.focus();
        return;
      }
      Site.decide({ ...text, topic: topic.id, without: without.whole.hidden ? "" : text.without });
      dialog.close();
      show();
    }

    value.control.addEventListener("input", judge);
    value.control.value = before?.value ?? "";
    because.control.value = before?.because ?? "";
    by.control.value = before?.by ?? Site.decisions().at(-1)?.by ?? "";
    on.control.value = before?.on || today();
    review.control.value = before?.review ?? "";
    without.control.value = before?.without ?? "";
    judge();
    document.body.append(dialog);
    dialog.showModal();
  }

  window.addEventListener("storage", show);
  show();

  // A link ending in ?decide#topic opens the form of that topic.
  if (new URLSearchParams(location.search).has("decide")) {
    const place = document.getElementById(decodeURIComponent(location.hash.slice(1)));
    const control = controls.get(place?.dataset.topic);
    if (control) control.button.click();
  }
})();
