// The circuit sketch: which way the liquid runs at one instant, and where subcooling was taken.
"use strict";

(function () {
  const WAYS = {"1": "to-indoor", "-1": "to-outdoor", "0": "undetermined"};
  const OPEN_PERCENT = 2;
  let said = {point: "."};

  function text(value, digits, unit) {
    if (value === null || value === undefined) return "–";
    return value.toFixed(digits).replace("-", "−").replace(".", said.point) + (unit ? "\u00a0" + unit : "");
  }

  // A sentence of the page's language with its parts put in.
  function put_in(sentence, parts) {
    return sentence.replace(/{(\w+)}/g, (whole, name) => name in parts ? parts[name] : whole);
  }

  function put(root, name, said) {
    const place = root.querySelector('[data-show="' + name + '"]');
    if (place) place.textContent = said;
  }

  // What the sketch says in words; the drawing repeats it in shape and colour.
  function words(state, way, at, units) {
    if (way === "none") return said.off;
    const side = {"to-indoor": "upstream_outdoor_side", "to-outdoor": "upstream_indoor_side"}[way];
    return put_in(said[way], {state: state, subcooling: side ? text(at(side), 1, units.difference) : ""});
  }

  function clock(ms) {
    // Milliseconds are on the site's clock already: printed as they are.
    const when = new Date(ms);
    const two = (n) => String(n).padStart(2, "0");
    return when.toLocaleDateString(said.dates, {day: "numeric", month: "short", timeZone: "UTC"})
      + " " + two(when.getUTCHours()) + ":" + two(when.getUTCMinutes()) + ":" + two(when.getUTCSeconds());
  }

  function show(root, data, i) {
    const at = (name) => data.instants.values[name] ? data.instants.values[name][i] : null;
    const units = data.units;
    said = data.words;
    const state = data.instants.state_names[data.instants.state[i]] || "";
    const way = data.instants.state[i] === data.instants.off ? "none" : WAYS[data.instants.direction[i]];
    const valve = at("valve");
    root.dataset.way = way;
    root.dataset.valve = valve === null ? "unknown" : valve > OPEN_PERCENT ? "open" : "closed";
    put(root, "when", clock(data.instants.t[i]));
    put(root, "words", words(state, way, at, units));
    put(root, "speed", text(at("speed"), 0, "%"));
    put(root, "demand", at("demand") === null ? "" : put_in(said.asks, {share: text(at("demand"), 0, "%")}));
    put(root, "valve", valve === null ? "–"
      : put_in(valve > OPEN_PERCENT ? said.open : said.closed, {share: text(valve, 0, "%")})
        + (data.instants.hunting[i] === 1 ? said.hunting : ""));
    put(root, "outdoor_side", text(at("outdoor_side"), 1, units.temperature));
    put(root, "indoor_side", text(at("indoor_side"), 1, units.temperature));
    put(root, "pressure", put_in(said.discharge, {
      pressure: text(at("pressure"), units.pressure.startsWith("bar") ? 1 : 0, units.pressure)}));
    const upstream = at("upstream_outdoor_side") ?? at("upstream_indoor_side");
    put(root, "subcooling", text(upstream, 1, units.difference));
    put(root, "other", text(at("other"), 1, units.difference));
    // No finer than the bounds, which lie some ten per cent away or more.
    const digits = at("flow") >= 0.1 ? 2 : 3;
    put(root, "flow", at("flow") === null ? said.no_flow
      : put_in(said.flow, {flow: text(at("flow"), digits, "kg/s"), low: text(at("flow_low"), digits), high: text(at("flow_high"), digits)}));
    put(root, "saturation", text(at("condensing"), 1) + " / " + text(at("evaporating"), 1, units.temperature));
  }

  // The instant nearest to a time on the site's clock; instants are in ascending order.
  function nearest(times, ms) {
    let low = 0, high = times.length - 1;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (times[middle] < ms) low = middle + 1; else high = middle;
    }
    return low > 0 && ms - times[low - 1] < times[low] - ms ? low - 1 : low;
  }

  window.millraceCircuit = {show: show, nearest: nearest};
})();
