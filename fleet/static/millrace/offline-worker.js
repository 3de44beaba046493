// Keeps the pages a technician has opened, so that they open without a connection too.
"use strict";

const PREFIX = "millrace-field-";
const MOST = 80;
const FALLBACK = "/offline";

self.addEventListener("install", (event) => event.waitUntil(self.skipWaiting()));
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

async function forget(except) {
  const names = await caches.keys();
  const others = names.filter((name) => name.startsWith(PREFIX) && name !== except);
  await Promise.all(others.map((name) => caches.delete(name)));
}

async function keep(person, addresses) {
  const name = PREFIX + person;
  await forget(name);
  const cache = await caches.open(name);
  await Promise.all(addresses.concat(FALLBACK).map(async (address) => {
    const answer = await fetch(address, {credentials: "same-origin"});
    // A redirect leads to the sign-in page: nothing of that is worth keeping.
    if (answer.ok && !answer.redirected) await cache.put(address, answer);
  }));
  const kept = await cache.keys();
  await Promise.all(kept.slice(0, Math.max(kept.length - MOST, 0)).map((it) => cache.delete(it)));
}

self.addEventListener("message", (event) => {
  const asked = event.data || {};
  const work = asked.person ? keep(String(asked.person), asked.addresses || []) : forget("");
  event.waitUntil(work.then(
    () => event.source && event.source.postMessage({kept: true}),
    () => event.source && event.source.postMessage({kept: false}),
  ));
});

async function kept(request) {
  const exact = await caches.match(request, {ignoreVary: true});
  if (exact || request.mode !== "navigate") return exact;
  return (await caches.match(request, {ignoreVary: true, ignoreSearch: true}))
    || caches.match(FALLBACK, {ignoreVary: true});
}

async function answer(request) {
  try {
    return await fetch(request);
  } catch (fault) {
    const found = await kept(request);
    if (found) return found;
    throw fault;
  }
}

self.addEventListener("fetch", (event) => {
  const request = event.request;
  if (request.method !== "GET" || new URL(request.url).origin !== self.location.origin) return;
  event.respondWith(answer(request));
});
