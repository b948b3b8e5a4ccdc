// Keeps an open page up to date. When a drill has been assessed, the inside of the page's main element is fetched
// and swapped; what moved is marked for a few seconds and told once, politely. Without this script the pages work
// the same and are brought up to date by loading them again.
"use strict";
(() => {
  const main = document.getElementById("main");
  const told = document.getElementById("told");
  const words = document.getElementById("live-words");
  const button = document.getElementById("live-pause");
  const box = document.getElementById("live");
  if (!main || !told || !words || !button || !box || !window.EventSource) return;

  const markedFor = 6000; // ms
  let place = main.dataset.place; // where the feed stood when what is shown was made
  let heard = place; // the last place told to us
  let paused = false;
  let connected = false;
  let fetching = false;
  let waiting = 0; // assessed drills not shown yet
  let retry = 0;
  let silence = 0; // timer that clears what was told

  const state = () => {
    box.dataset.state = paused ? "paused" : connected ? "live" : "away";
    if (paused) words.textContent = waiting === 0 ? "Paused" : "Paused, " + waiting + " new";
    else words.textContent = connected ? "Live" : "Connection lost, trying again";
  };

  // every keyed element with its value, to see afterwards what moved
  const values = () => {
    const out = new Map();
    for (const e of main.querySelectorAll("[data-key]")) out.set(e.dataset.key, e.dataset.value || "");
    return out;
  };

  const mark = (before) => {
    const moved = [];
    for (const e of main.querySelectorAll("[data-key]")) {
      if (e.dataset.key === "" || before.get(e.dataset.key) === (e.dataset.value || "")) continue;
      e.classList.add("moved");
      moved.push(e);
    }
    setTimeout(() => { for (const e of moved) e.classList.remove("moved"); }, markedFor);
    return moved;
  };

  // the focused element and what is open and scrolled, by things that stay the same over a swap
  const remember = () => {
    const at = document.activeElement;
    const inside = main.contains(at) && at !== main;
    return {
      id: inside ? at.id : "", href: inside ? at.getAttribute("href") : null,
      label: inside ? at.getAttribute("aria-labelledby") || at.getAttribute("aria-label") : null,
      open: [...main.querySelectorAll("details")].map((d) => d.open),
      scrolled: [...main.querySelectorAll(".scroller")].map((s) => [s.scrollLeft, s.scrollTop]),
    };
  };

  const restore = (was) => {
    main.querySelectorAll("details").forEach((d, i) => { if (was.open[i]) d.open = true; });
    main.querySelectorAll(".scroller").forEach((s, i) => { if (was.scrolled[i]) [s.scrollLeft, s.scrollTop] = was.scrolled[i]; });
    let to = was.id ? document.getElementById(was.id) : null;
    if (!to && was.href !== null) to = [...main.querySelectorAll("a")].find((a) => a.getAttribute("href") === was.href);
    if (!to && was.label !== null) to = [...main.querySelectorAll("[tabindex]")].find((e) => (e.getAttribute("aria-labelledby") || e.getAttribute("aria-label")) === was.label);
    if (to) to.focus({ preventScroll: true });
  };

  const announce = (moved, drills) => {
    if (moved.length === 0) { told.textContent = ""; return; }
    const names = [];
    for (const e of moved) {
      const link = e.matches("tr[data-key^='trainee:']") ? e.querySelector("th a") : null;
      if (link) names.push(link.textContent);
    }
    const what = drills === 1 ? "A drill was assessed" : "Drills were assessed";
    clearTimeout(silence);
    silence = setTimeout(() => { told.textContent = ""; }, markedFor);
    told.textContent = (names.length > 0 && names.length <= 3 ? what + ": " + names.join(", ") : what) + ". This page shows it now.";
  };

  const refresh = async () => {
    if (fetching || paused || heard === place) return;
    fetching = true;
    const upTo = heard, drills = waiting;
    try {
      const got = await fetch(location.href, { headers: { "Zonule-Part": "main" }, cache: "no-store", redirect: "error" });
      if (!got.ok) throw new Error("status " + got.status);
      const text = await got.text();
      const before = values(), was = remember();
      const fresh = new DOMParser().parseFromString("<!doctype html><main>" + text + "</main>", "text/html").querySelector("main");
      main.replaceChildren(...document.importNode(fresh, true).childNodes);
      place = upTo;
      main.dataset.place = place;
      waiting = Math.max(0, waiting - drills);
      restore(was);
      announce(mark(before), drills);
      retry = 0;
    } catch (problem) {
      retry = Math.min(30000, retry === 0 ? 1000 : 2 * retry);
      setTimeout(refresh, retry);
      return;
    } finally {
      fetching = false;
      state();
    }
    refresh(); // something may have been told meanwhile
  };

  // what an event says about this page: a trainee's or a drill's page is fetched again only for its own
  const mine = (data) => main.dataset.watches === "" || data.person === main.dataset.watches || data.drill === main.dataset.watches;

  let source = null;
  let again = 0; // timer of the next try

  const connect = () => {
    clearTimeout(again);
    if (source || document.hidden) return;
    source = new EventSource("/live");
    source.addEventListener("open", () => { connected = true; state(); });
    source.addEventListener("error", () => {
      connected = false;
      state();
      if (source.readyState !== EventSource.CLOSED) return; // the browser tries again by itself
      source = null; // it was refused, and the browser gives up
      again = setTimeout(connect, 10000);
    });
    source.addEventListener("place", (e) => { heard = JSON.parse(e.data).place; refresh(); });
    source.addEventListener("behind", (e) => { heard = JSON.parse(e.data).place; waiting++; state(); refresh(); });
    source.addEventListener("assessed", (e) => {
      const data = JSON.parse(e.data);
      if (!mine(data)) {
        if (heard === place) place = data.place; // nothing of ours between: what is shown is still new
        heard = data.place;
        return;
      }
      heard = data.place;
      waiting++;
      state();
      refresh();
    });
  };

  // a page that nobody sees holds no connection: browsers allow only a few to one site
  const disconnect = () => {
    clearTimeout(again);
    if (source) source.close();
    source = null;
    connected = false;
    state();
  };

  button.addEventListener("click", () => {
    paused = !paused;
    button.setAttribute("aria-pressed", String(paused));
    state();
    if (!paused) refresh();
  });
  document.addEventListener("visibilitychange", () => { if (document.hidden) disconnect(); else connect(); });
  addEventListener("pagehide", disconnect);
  addEventListener("pageshow", (e) => { if (e.persisted) location.reload(); });
  box.hidden = false;
  state();
  connect();
})();
