// Draws the event's figure from its JSON, in the page's colours, and moves the circuit sketch.
"use strict";

(function () {
  const chart = document.getElementById("chart");
  if (!chart || !window.Plotly) return;
  const status = document.getElementById("chart-state");
  const circuit = document.getElementById("circuit");
  const slider = document.getElementById("instant");
  const narrow = window.matchMedia("(max-width: 40rem)");
  const coarse = window.matchMedia("(pointer: coarse)");
  let loaded = null;

  function ink(name) {
    return getComputedStyle(document.documentElement).getPropertyValue("--plot-" + name).trim();
  }

  function inked(trace) {
    const colour = ink(trace.meta.ink);
    const copy = structuredClone(trace);
    if (trace.meta.band) {
      copy.marker.line.color = colour;
      copy.marker.pattern.fgcolor = colour;
      copy.textfont = {color: ink("ink")};
      if (trace.meta.band === "filled") copy.marker.color = ink("grid");
    } else {
      copy.line.color = colour;
      if (copy.marker) copy.marker.color = colour;
    }
    return copy;
  }

  function framed(layout) {
    const copy = structuredClone(layout);
    copy.font.color = ink("ink");
    for (const key of Object.keys(copy)) {
      if (/^[xy]axis/.test(key)) copy[key].gridcolor = ink("grid");
    }
    copy.xaxis.spikecolor = ink("faint");
    if (narrow.matches) {
      copy.margin = {l: 64, r: 8, t: 6, b: 60};
      copy.font.size = 11;
      copy.xaxis.nticks = 5;
    }
    copy.dragmode = coarse.matches ? false : "zoom";
    return copy;
  }

  function draw() {
    if (!loaded) return null;
    const settings = {responsive: true, displaylogo: false, displayModeBar: false, scrollZoom: false};
    return Plotly.react(chart, loaded.figure.data.map(inked), framed(loaded.figure.layout), settings);
  }

  function move(i) {
    slider.value = i;
    slider.setAttribute("aria-valuetext", circuit.querySelector('[data-show="when"]').textContent);
    millraceCircuit.show(circuit, loaded, i);
  }

  function listen() {
    const times = loaded.instants.t;
    chart.on("plotly_hover", (event) => {
      const ms = Date.parse(String(event.points[0].x).replace(" ", "T") + "Z");
      const at = Number.isFinite(ms) ? ms : Number(event.points[0].x);
      move(millraceCircuit.nearest(times, at));
    });
    slider.max = times.length - 1;
    slider.disabled = false;
    slider.addEventListener("input", () => move(Number(slider.value)));
    for (const query of [narrow, coarse, window.matchMedia("(prefers-color-scheme: dark)")]) {
      query.addEventListener("change", draw);
    }
    // The figure comes in inks for white paper; the page's own may be for a dark screen.
    window.addEventListener("beforeprint", () => {
      const paper = structuredClone(loaded.figure.layout);
      Object.assign(paper, {width: 690, height: 440, autosize: false});
      paper.font.size = 10;
      paper.uniformtext.minsize = 5;
      // Words in the bands say the way the liquid runs without colour.
      const data = loaded.figure.data.map((trace) => ({...trace, textfont: {color: paper.font.color}}));
      Plotly.react(chart, data, paper);
    });
    window.addEventListener("afterprint", draw);
    const peak = loaded.instants.peak;
    const inside = peak >= times[0] && peak <= times[times.length - 1];
    move(inside ? millraceCircuit.nearest(times, peak) : Math.floor(times.length / 2));
  }

  async function load() {
    const answer = await fetch(chart.dataset.source, {headers: {Accept: "application/json"}});
    if (!answer.ok) throw new Error("the server answered " + answer.status);
    loaded = await answer.json();
    if (!loaded.instants.t.length) {
      status.textContent = status.dataset.none;
      chart.hidden = true;
      return;
    }
    await draw();
    listen();
    status.hidden = true;
    chart.dataset.drawn = "true";
  }

  load().catch((fault) => {
    status.textContent = status.dataset.fault.replace("{fault}", fault.message);
  });
})();
