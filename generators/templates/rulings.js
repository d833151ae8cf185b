// Decisions as a form: the text that `trayconcord add` reads, and what can be told of a value before it is entered.
"use strict";

const Rulings = (() => {
  const { concepts, parameters } = Site.data();
  const ID = "[a-z0-9]+(?:-[a-z0-9]+)*";
  const LIST = `\\[${ID}(?:, *${ID})*\\]`;
  const FLOW = new RegExp(`^(?:${LIST}|\\{(?:includes: *${LIST})?(?:, *(?=e))?(?:excludes: *${LIST})?\\})$`);

  /** Any text on one line, without signs that a form refuses. */
  const tidy = (text) => text.replace(/[\p{Cc}\p{Cs}\u2028\u2029\ufffe\uffff]/gu, " ").replace(/\s+/g, " ").trim();

  /** Any text as a quoted YAML scalar. JSON's quotation is YAML's too, but for signs that YAML does not print. */
  const quoted = (text) =>
    JSON.stringify(tidy(text)).replace(
      /[\u007f-\u009f\u2028\u2029\ufeff\ufffe\uffff]/g,
      (sign) => `\\u${sign.charCodeAt(0).toString(16).padStart(4, "0")}`,
    );

  function partsOf(topic) {
    const [parameter, query = ""] = topic.split("?");
    return { parameter, when: query ? query.split("&").map((pair) => pair.split("=")) : [] };
  }

  /** The form of a list of decisions. */
  function form(decisions) {
    const lines = ["# Decisions of a sitting. Enter with: trayconcord add --kb DEPARTMENT rulings.yaml", "rulings:"];
    for (const decision of decisions) {
      const { parameter, when } = partsOf(decision.topic);
      lines.push(`  - parameter: ${parameter}`);
      if (when.length) lines.push(`    when: {${when.map(([axis, concept]) => `${axis}: ${concept}`).join(", ")}}`);
      lines.push(`    value: ${FLOW.test(decision.value) ? decision.value : quoted(decision.value)}`);
      lines.push(`    because: ${quoted(decision.because)}`);
      lines.push(`    decided-on: ${quoted(decision.on)}`, `    decided-by: ${quoted(decision.by)}`);
      if (decision.review) lines.push(`    review-by: ${quoted(decision.review)}`);
      if (decision.without) lines.push(`    without-source: ${quoted(decision.without)}`);
    }
    return `${lines.join("\n")}\n`;
  }

  // --- values ---

  const idsIn = (text) => (text.match(/\[[^\]]*\]/g) ?? []).flatMap((list) => list.slice(1, -1).split(/, */));

  /** What is wrong with a value as a form writes it; empty if nothing can be seen from here. */
  function valueProblem(topic, value) {
    const parameter = parameters[topic.parameter];
    if (!value) return "Write the value that the course adopts.";
    if (parameter.kind === "set" || parameter.kind === "order") {
      if (parameter.kind === "set" && value === "none") return "";
      const listed = value.startsWith("[");
      if (!FLOW.test(value) || value === "{}" || (parameter.kind === "order" && !listed))
        return parameter.kind === "order"
          ? "Write the steps in order, as in [first-step, second-step]."
          : "Write [term, term], {includes: [term], excludes: [term]} or none.";
      const ids = idsIn(value);
      const unknown = ids.find((id) => !parameter.members.includes(id));
      if (unknown) return `${unknown} is no term of this question; see the list of terms.`;
      if (new Set(ids).size < ids.length) return "Name each term once.";
      if (parameter.kind === "order" && ids.length < 2) return "An order needs two steps.";
    } else if (parameter.kind === "interval" || parameter.kind === "count") {
      if (value.length > 80) return "Write the quantity alone.";
      if (/\d,\d/.test(value)) return "Write decimals with a point, as in 0.5.";
      if (!/\d/.test(value) && !(value === "none" && "none" in parameter)) return "Write a quantity.";
      if (parameter.kind === "interval" && parameter.symbol && !/[^\d\s.\/–-]/.test(value))
        return `Write the unit, as in ${value} ${parameter.symbol}.`;
    }
    return "";
  }

  const NUMBER = "(-?\\d+(?:\\.\\d+)?(?:/\\d+)?)";
  const QUANTITY = new RegExp(`^(?:about )?(at least|at most|>=|<=|≥|≤)? ?${NUMBER}(?: ?(?:-|–|to) ?${NUMBER})? ?(.*)$`);
  const number = (text) => text.split("/").map(Number).reduce((above, below) => above / below);

  /** The ends of a quantity in the parameter's unit; null if it is written in a way that only `add` reads. */
  function ends(parameter, value) {
    if (value === "none" && "none" in parameter) return [parameter.none, parameter.none];
    const found = QUANTITY.exec(value);
    const factor = found && parameter.units[found[4].trim()];
    if (!factor) return null;
    const low = number(found[2]) * factor;
    const high = found[3] ? number(found[3]) * factor : low;
    if (/least|>|≥/.test(found[1] ?? "")) return [low, Infinity];
    return /most|<|≤/.test(found[1] ?? "") ? [-Infinity, high] : [low, high];
  }

  function covers(wider, narrower) {
    for (let here = narrower, left = 50; here && left; here = concepts[here]?.broader, left -= 1)
      if (here === wider) return true;
    return false;
  }

  /** Whether a position of the topic supports a value: true, false, or null where that cannot be told from here. */
  function supported(topic, value) {
    const parameter = parameters[topic.parameter];
    if (topic.positions.some((position) => position.form === value)) return true;
    if (parameter.kind === "yes-no") return false;
    if (parameter.kind === "choice")
      return topic.positions.some(({ form: taken }) => covers(taken, value) || covers(value, taken));
    if (parameter.kind === "interval" || parameter.kind === "count") {
      const found = ends(parameter, value);
      const slack = parameter.tolerance + 1e-9;
      return found && topic.positions.some(
        ({ low, high }) => found[0] <= (high ?? Infinity) + slack && found[1] >= (low ?? -Infinity) - slack,
      );
    }
    return null;
  }

  return { form, tidy, valueProblem, supported };
})();
