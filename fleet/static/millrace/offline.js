// Hands what is open to the worker that keeps it, and says so when there is no connection.
"use strict";

(function () {
  const person = document.body.dataset.person || "";
  const bar = document.getElementById("offline");
  if (!("serviceWorker" in navigator) || !bar) return;
  let connected = navigator.onLine;

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

  // A network without a way out counts as online for the browser: only an answer tells. The worker
  // lets questions of this kind pass, so what it keeps does not answer.
  async function look() {
    connected = navigator.onLine
      && await fetch("/healthz", {method: "HEAD", cache: "no-store"}).then(() => true, () => false);
    bar.hidden = connected;
  }

  async function start() {
    await look();
    if (!person && !connected) return;
    const registration = person
      ? await navigator.serviceWorker.register("/offline-worker.js", {scope: "/"})
      : await navigator.serviceWorker.getRegistration("/");
    if (!registration) return;
    await navigator.serviceWorker.ready;
    if (!registration.active || !connected) return;
    const field = document.body.dataset.field === "1";
    if (!person) registration.active.postMessage({});
    else if (field) registration.active.postMessage({person: person, addresses: addresses()});
  }

  navigator.serviceWorker.addEventListener("message", (event) => {
    if (event.data && event.data.kept) document.body.dataset.kept = "1";
  });
  window.addEventListener("online", look);
  window.addEventListener("offline", look);
  document.addEventListener("submit", async (event) => {
    if (connected) return;
    const [form, button] = [event.target, event.submitter];
    event.preventDefault();
    await look();
    if (connected) form.requestSubmit(button);
    else bar.scrollIntoView();
  });
  start().catch(() => {});  // no worker, no keeping: the page itself is not touched by that
})();
