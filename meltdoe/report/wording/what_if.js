// The panel in which a reader turns the factors. Everything is worked out here from the draws that the page holds;
// the formulas are those of report/what_if.py. No text of the series is ever read as markup or as code.
"use strict";
(() => {
  const data = JSON.parse(document.getElementById("what-if-data").textContent);
  const panel = document.getElementById("what-if-panel");

  // ---- chances ----

  function numbers(base64) {
    const bytes = Uint8Array.from(atob(base64), (letter) => letter.charCodeAt(0));
    const view = new DataView(bytes.buffer);
    return Float32Array.from({ length: bytes.length / 4 }, (_, i) => view.getFloat32(4 * i, true));
  }
  for (const stage of data.stages) stage.draws = numbers(stage.values);

  const logistic = (x) => 1 / (1 + Math.exp(-x));

  // Normal distribution function, Abramowitz and Stegun 26.2.17 (from memory): wrong by less than 1e-7.
  function normal(x) {
    const t = 1 / (1 + 0.2316419 * Math.abs(x));
    const tail = t * (0.31938153 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))));
    const beyond = (tail * Math.exp(-0.5 * x * x)) / Math.sqrt(2 * Math.PI);
    return x > 0 ? 1 - beyond : beyond;
  }

  function coded(factor, raw) {
    if (factor.kind === "choice") return factor.contrasts[raw];
    if (factor.kind === "ordered") return [(2 * raw) / (factor.options.length - 1) - 1];
    const scale = factor.log ? Math.log : (value) => value;
    const low = scale(factor.low);
    return [(2 * (scale(raw) - low)) / (scale(factor.high) - low) - 1];
  }

  // Columns of a factor, or of a quantity of the glass: those are numbered behind the factors.
  function termColumns(place, setting) {
    if (place < data.factors.length) return coded(data.factors[place], setting[place]);
    const { tree, low, high } = data.quantities[place - data.factors.length];
    return [(2 * (value(tree, byName(setting)) - low)) / (high - low) - 1];
  }

  function byName(setting) {
    return new Map(data.factors.map((factor, i) => [factor.name, setting[i]]));
  }

  // A row of the model matrix, for each term all products of the columns of its factors; the ends hold the constant.
  function modelRow(stage, setting) {
    const row = [];
    for (const term of stage.terms) {
      let products = [1];
      for (const [factor, power] of term) {
        const columns = termColumns(factor, setting).map((value) => value ** power);
        products = products.flatMap((product) => columns.map((column) => product * column));
      }
      row.push(...products);
    }
    return row;
  }

  // One chance a draw, averaged over the effect of a new firing.
  function chances(stage, setting) {
    const row = modelRow(stage, setting);
    const below = stage.normal ? normal : logistic;
    return Float64Array.from({ length: data.draws }, (_, s) => {
      const draw = stage.draws.subarray(s * stage.width, (s + 1) * stage.width);
      const eta = row.reduce((sum, value, i) => sum + value * draw[i], 0);
      const sd = draw[row.length];
      const at = (end, mean) => below(draw[end] - mean);
      const good = (mean) =>
        stage.good.reduce(
          (sum, [low, high]) => sum + (high === null ? 1 : at(high, mean)) - (low === null ? 0 : at(low, mean)), 0);
      if (sd === 0) return good(eta);
      return data.nodes.reduce((sum, node, i) => sum + data.node_weights[i] * good(eta + sd * node), 0);
    });
  }

  function quantile(sorted, share) {
    const place = share * (sorted.length - 1), below = Math.floor(place);
    const above = Math.min(below + 1, sorted.length - 1);
    return sorted[below] + (place - below) * (sorted[above] - sorted[below]);
  }

  function summary(draws) {
    const sorted = Float64Array.from(draws).sort();
    return {
      mean: draws.reduce((sum, value) => sum + value, 0) / draws.length,
      low: quantile(sorted, (1 - data.level) / 2),
      high: quantile(sorted, (1 + data.level) / 2),
      reaches: draws.reduce((count, value) => count + (value >= data.target), 0) / draws.length,
    };
  }

  // ---- limits ----

  const ARITHMETIC = {
    "+": (a, b) => a + b, "-": (a, b) => a - b, "*": (a, b) => a * b, "/": (a, b) => a / b, "^": (a, b) => a ** b,
  };

  function value(tree, named) {
    if (typeof tree === "number") return tree;
    if (typeof tree === "string") return named.get(tree);
    if (tree[0] === "grid") return onGrid(tree, named);
    const result = ARITHMETIC[tree[0]](value(tree[1], named), value(tree[2], named));
    return Number.isFinite(result) ? result : NaN; // what has no value once has none for good
  }

  // Straight between the points of a grid, the last name changing fastest; held at its ends.
  function onGrid([, names, axes, values], named) {
    let spots = [[0, 1]]; // place among the values so far, and its weight
    names.forEach((name, i) => {
      const axis = axes[i], at = Math.min(Math.max(named.get(name), axis[0]), axis[axis.length - 1]);
      const above = Math.max(1, axis.findIndex((end) => end >= at)), below = above - 1;
      const share = axis.length > 1 ? (at - axis[below]) / (axis[above] - axis[below]) : 0;
      spots = spots.flatMap(([place, weight]) => [
        [place * axis.length + below, weight * (1 - share)],
        ...(share > 0 ? [[place * axis.length + above, weight * share]] : []),
      ]);
    });
    return spots.reduce((sum, [place, weight]) => sum + weight * values[place], 0);
  }

  function holds([sign, leftTree, rightTree], named) {
    const left = value(leftTree, named), right = value(rightTree, named);
    if (!Number.isFinite(left) || !Number.isFinite(right)) return false;
    const slack = 1e-9 * Math.max(1, Math.abs(left), Math.abs(right));
    if (sign === "<=") return left <= right + slack;
    if (sign === ">=") return left >= right - slack;
    return sign === "<" ? left < right : left > right;
  }

  function brokenLimits(setting) {
    const named = byName(setting);
    return data.limits.filter((limit) => !holds(limit.tree, named));
  }

  // ---- melts nearby ----

  const plainNumber = (x) => String(Number(x.toPrecision(6)));
  const shown = (factor, raw) =>
    factor.options ? factor.options[raw] : `${plainNumber(raw)} ${factor.unit}`.trim();

  function apart(factor, here, there) {
    if (here === there) return 0;
    if (factor.kind === "choice") return 1;
    return Math.abs(coded(factor, there)[0] - coded(factor, here)[0]) / 2;
  }

  function nearest(setting) {
    return data.melts
      .map((melt) => {
        const parts = data.factors.map((factor, i) => apart(factor, setting[i], melt.raw[i]));
        return { melt, parts, distance: Math.hypot(...parts) };
      })
      .sort((a, b) => a.distance - b.distance)
      .slice(0, 5);
  }

  function differences(setting, { melt, parts }) {
    const named = data.factors
      .map((factor, i) => (parts[i] > 1e-9 ? `${factor.name} ${shown(factor, melt.raw[i])}` : ""))
      .filter(Boolean);
    if (!named.length) return "nothing: the same setting";
    return named.slice(0, 8).join(", ") + (named.length > 8 ? ` and ${named.length - 8} more` : "");
  }

  // ---- the panel ----

  function element(name, attributes = {}, ...children) {
    const made = document.createElement(name);
    for (const [key, given] of Object.entries(attributes)) made.setAttribute(key, given);
    made.append(...children);
    return made;
  }

  const percent = (chance) =>
    chance <= 0.005 ? "under 1\u00a0%" : chance >= 0.995 ? "over 99\u00a0%" : `${Math.round(100 * chance)}\u00a0%`;

  const setting = data.factors.map((factor) => factor.start);
  const controls = data.factors.map((factor, i) => {
    const id = `what-if-${i}`;
    const label = element("label", { for: id, dir: "auto" }, factor.title);
    const said = element("output", { for: id, dir: "auto" });
    let input;
    if (factor.places) {
      input = element("input", { id, type: "range", min: 0, max: factor.places.length - 1, step: 1 });
    } else {
      input = element("select", { id }, ...factor.options.map((option, k) => element("option", { value: k }, option)));
    }
    const read = () => (factor.places ? factor.places[input.value] : Number(input.value));
    const show = () => {
      input.value = factor.places ? factor.places.indexOf(setting[i]) : setting[i];
      if (factor.places) {
        said.textContent = shown(factor, setting[i]);
        input.setAttribute("aria-valuetext", said.textContent);
      }
    };
    input.addEventListener("input", () => {
      setting[i] = read();
      refresh();
    });
    return { box: element("div", { class: "turned" }, label, ...(factor.places ? [said] : []), input), show };
  });

  function headed(titles) {
    return element("thead", {}, element("tr", {}, ...titles.map((title) => element("th", { scope: "col" }, title))));
  }

  const interval = `${plainNumber(100 * data.level)} % interval`;
  const stageRows = element("tbody");
  const meltRows = element("tbody");
  const broken = element("div", { class: "broken", role: "alert" });
  const status = element("p", { class: "whole", role: "status" });
  const found = element("table", {}, element("caption", {}, "Chances at this setting, in a new firing"),
    headed(["Stage", "Chance, once reached", interval, "0 to 100 %"]), stageRows);
  const near = element("table", {}, element("caption", {}, "The melts nearest to this setting"),
    headed(["Melt", "What was different there", "What was seen", "All good"]), meltRows);
  const back = element("button", { type: "button" }, "Back to the recommended setting");
  back.addEventListener("click", () => {
    data.factors.forEach((factor, i) => (setting[i] = factor.start));
    refresh();
  });
  const wide = (table, name) =>
    element("div", { class: "wide", role: "region", "aria-label": name, tabindex: 0 }, table);

  function bar({ mean, low, high }) {
    const track = element("span", { class: "track", "aria-hidden": "true" });
    const span = element("span", { class: "span" }), mark = element("span", { class: "mark" });
    span.style.left = `${100 * low}%`;
    span.style.width = `${100 * (high - low)}%`;
    mark.style.left = `${100 * mean}%`;
    track.append(span, mark);
    return track;
  }

  function stageRow(title, found) {
    const row = element("tr", {}, element("th", { scope: "row", dir: "auto" }, title),
      element("td", {}, percent(found.mean)), element("td", {}, `${percent(found.low)} to ${percent(found.high)}`),
      element("td", {}, bar(found)));
    Object.assign(row.dataset, { mean: found.mean, low: found.low, high: found.high });
    return row;
  }

  let later = 0;
  function say(text) {
    clearTimeout(later); // a slider that is being drawn along is not read out at every place
    later = setTimeout(() => (status.textContent = text), 250);
  }

  function refresh() {
    for (const control of controls) control.show();
    const limits = brokenLimits(setting);
    found.hidden = limits.length > 0;
    broken.replaceChildren(
      ...limits.map(({ text, why }) =>
        element("p", { dir: "auto" }, `Never to be tried: this setting breaks ${text}${why ? ` – ${why}` : ""}`)));
    if (limits.length) {
      stageRows.replaceChildren();
      say("No chance is given for a setting that must never be tried.");
    } else {
      const each = data.stages.map((stage) => chances(stage, setting));
      const product = each.reduce((a, b) => a.map((chance, s) => chance * b[s]));
      const whole = summary(product);
      stageRows.replaceChildren(
        ...each.map((draws, k) => stageRow(data.stages[k].title, summary(draws))), stageRow("All of them good", whole));
      say(`Chance that all is good ${percent(whole.mean)}, between ${percent(whole.low)} and ${percent(whole.high)} ` +
        `with ${plainNumber(100 * data.level)} % probability; that it reaches the ${percent(data.target)} wanted has ` +
        `a chance of ${percent(whole.reaches)}.`);
    }
    meltRows.replaceChildren(
      ...nearest(setting).map((one) =>
        element("tr", {}, element("th", { scope: "row" }, one.melt.name),
          element("td", { dir: "auto" }, differences(setting, one)), element("td", { dir: "auto" }, one.melt.seen),
          element("td", {}, one.melt.good === null ? "not known" : one.melt.good ? "yes" : "no"))));
  }

  panel.append(
    element("fieldset", {}, element("legend", {}, "Settings"), ...controls.map((control) => control.box), back),
    broken, status, wide(found, "Chances at this setting"));
  if (data.melts.length) panel.append(wide(near, "The melts nearest to this setting"));
  panel.hidden = false;
  refresh();
})();
