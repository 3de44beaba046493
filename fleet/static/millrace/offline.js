// Hands what is open to the worker that keeps it, and says so when there is no connection.
"use strict";

(function () {
  const person = document.body.dataset.person || "";
  const bar = document.getElementById("offline");
  if (!("serviceWorker" in navigator) || !bar) return;

  function addresses() {
    const listed = [...document.querySelectorAll("link[rel=stylesheet], link[rel=icon]")].map((it) => it.href)
      .concat([...document.querySelectorAll("script[src]")].map((it) => it.src))
      .concat([...document.querySelectorAll("use[href]")].map((it) => new URL(it.getAttribute("href"), location).href.split("#")[0]))
      .concat([...document.querySelectorAll("a[data-keep]")].map((it) => it.href.split("#")[0]));
    const chart = document.getElementById("chart");
    if (chart) listed.push(new URL(chart.dataset.source, location).href);
    listed.push(location.href.split("#")[0]);
    return [...new Set(listed)];
  }

  function online() {
    bar.hidden = navigator.onLine;
  }

  async function start() {
    if (!person && !navigator.onLine) return;
    const registration = person
      ? await navigator.serviceWorker.register("/offline-worker.js", {scope: "/"})
      : await navigator.serviceWorker.getRegistration("/");
    if (!registration) return;
    await navigator.serviceWorker.ready;
    if (!registration.active || !navigator.onLine) return;
    const field = document.body.dataset.field === "1";
    if (!person) registration.active.postMessage({});
    else if (field) registration.active.postMessage({person: person, addresses: addresses()});
  }

  navigator.serviceWorker.addEventListener("message", (event) => {
    if (event.data && event.data.kept) document.body.dataset.kept = "1";
  });
  window.addEventListener("online", online);
  window.addEventListener("offline", online);
  document.addEventListener("submit", (event) => {
    if (navigator.onLine) return;
    event.preventDefault();
    bar.hidden = false;
    bar.scrollIntoView();
  });
  online();
  start().catch(() => {});  // no worker, no keeping: the page itself is not touched by that
})();
