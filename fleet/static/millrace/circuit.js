// The circuit sketch: which way the liquid runs at one instant, and where subcooling was taken.
"use strict";

(function () {
  const WAYS = {"1": "to-indoor", "-1": "to-outdoor", "0": "undetermined"};
  const HUNTS = {"1": ", hunting", "0": "", "-1": ""};
  const OPEN_PERCENT = 2;

  function text(value, digits, unit) {
    if (value === null || value === undefined) return "–";
    return value.toFixed(digits).replace("-", "−") + (unit ? " " + unit : "");
  }

  function put(root, name, said) {
    const place = root.querySelector('[data-show="' + name + '"]');
    if (place) place.textContent = said;
  }

  // What the sketch says in words; the drawing repeats it in shape and colour.
  function words(state, way, at, units) {
    if (state === "off") return "compressor off, no direction to tell.";
    const runs = state + ". ";
    if (way === "to-indoor") {
      return runs + "Liquid runs to indoor: subcooling counts at the outdoor-side thermistor, "
        + text(at("upstream_outdoor_side"), 1, units.difference) + ".";
    }
    if (way === "to-outdoor") {
      return runs + "Liquid runs to outdoor: subcooling counts at the indoor-side thermistor, "
        + text(at("upstream_indoor_side"), 1, units.difference) + ".";
    }
    return runs + "Direction undetermined: no point counts.";
  }

  function clock(ms) {
    // Milliseconds are on the site's clock already: printed as they are.
    const when = new Date(ms);
    const two = (n) => String(n).padStart(2, "0");
    return when.toLocaleDateString("en-GB", {day: "numeric", month: "short", timeZone: "UTC"})
      + " " + two(when.getUTCHours()) + ":" + two(when.getUTCMinutes()) + ":" + two(when.getUTCSeconds());
  }

  function show(root, data, i) {
    const at = (name) => data.instants.values[name] ? data.instants.values[name][i] : null;
    const units = data.units;
    const state = data.instants.state_names[data.instants.state[i]] || "";
    const way = state === "off" ? "none" : WAYS[data.instants.direction[i]];
    const valve = at("valve");
    root.dataset.way = way;
    root.dataset.valve = valve === null ? "unknown" : valve > OPEN_PERCENT ? "open" : "closed";
    put(root, "when", clock(data.instants.t[i]));
    put(root, "words", words(state, way, at, units));
    put(root, "speed", text(at("speed"), 0, "%"));
    put(root, "demand", at("demand") === null ? "" : "asks " + text(at("demand"), 0, "%"));
    put(root, "valve", valve === null ? "–"
      : (valve > OPEN_PERCENT ? "open " : "closed ") + text(valve, 0, "%") + HUNTS[data.instants.hunting[i]]);
    put(root, "outdoor_side", text(at("outdoor_side"), 1, units.temperature));
    put(root, "indoor_side", text(at("indoor_side"), 1, units.temperature));
    put(root, "pressure", "discharge " + text(at("pressure"), units.pressure.startsWith("bar") ? 1 : 0, units.pressure));
    const upstream = at("upstream_outdoor_side") ?? at("upstream_indoor_side");
    put(root, "subcooling", text(upstream, 1, units.difference));
    put(root, "other", text(at("other"), 1, units.difference));
    put(root, "flow", at("flow") === null ? "not quantified"
      : text(at("flow"), 3, "kg/s") + " (" + text(at("flow_low"), 3) + " to " + text(at("flow_high"), 3) + ")");
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
