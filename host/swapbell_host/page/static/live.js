"use strict";

/* Keeps what is shown up to date: when the host says that something of it has changed, this page is fetched again and
   its part `#live` put in place of the old one. Without this script, or without a line to the host, the page stays as
   it was, with the moment at which it was made. */
(() => {
  // Our choice: not more often than a person can read it, nor more than a weak link in an orchard takes beside all else.
  const REST_MS = 10000;
  const LETTERS_PER_S = 10000;
  const AGES_MS = 15000;
  const line = document.getElementById("connection");
  let source = null;
  let fetchedAt = 0;
  let restMs = REST_MS;
  let waiting = null;
  let stale = false;
  let aheadMs = 0;

  const part = () => document.getElementById("live");
  const clock = () => new Date().toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false, timeZoneName: "short" });

  function say(words) {
    if (line && line.textContent !== words) line.textContent = words;
  }

  // Whoever is choosing or typing is not disturbed.
  function busy() {
    const active = document.activeElement;
    return part().contains(active) && /^(select|input|textarea)$/i.test(active.tagName);
  }

  // By how much this clock is ahead of the host's, by which everything here is told.
  function compare() {
    aheadMs = Date.now() - 1000 * Number(part().dataset.now);
  }

  function put(fresh) {
    const old = part();
    old.dataset.now = fresh.dataset.now;
    const open = [...old.querySelectorAll("details[open][id]")].map((each) => each.id);
    const focused = old.contains(document.activeElement) ? document.activeElement.id : "";
    old.replaceChildren(...fresh.childNodes);
    compare();
    open.forEach((id) => document.getElementById(id)?.setAttribute("open", ""));
    if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
    document.dispatchEvent(new CustomEvent("renewed"));
  }

  async function renew() {
    waiting = null;
    if (busy()) return soon();
    fetchedAt = Date.now();
    try {
      const reply = await fetch(location.href, { cache: "no-store" });
      if (reply.redirected) return location.reload();
      if (!reply.ok) throw new Error(String(reply.status));
      const text = await reply.text();
      restMs = Math.max(REST_MS, (1000 * text.length) / LETTERS_PER_S);
      const fresh = new DOMParser().parseFromString(text, "text/html").getElementById("live");
      if (!fresh) throw new Error("another page");
      if (busy()) return soon();
      put(fresh);
      stale = false;
      say(`Follows the host; last news ${clock()}.`);
    } catch {
      stale = true;
      say(`The host does not answer since ${clock()}. What stands here may be older than it says.`);
      soon();
    }
  }

  function soon() {
    waiting ??= setTimeout(renew, Math.max(0, fetchedAt + restMs - Date.now()));
  }

  function hear(event) {
    const wanted = part().dataset.live;
    if (wanted === "*" || JSON.parse(event.data).stations.includes(wanted)) soon();
  }

  // A browser opens few lines to one host: only the page that is looked at keeps one.
  function listen() {
    if (document.hidden || source) return;
    source = new EventSource("/live");
    source.addEventListener("change", hear);
    source.addEventListener("open", () => {
      if (stale || Date.now() - fetchedAt > REST_MS) soon();
      if (!stale) say(`Follows the host since ${clock()}.`);
    });
    source.addEventListener("error", () => {
      stale = true;
      say(`No line to the host since ${clock()}. What stands here is no newer than that.`);
      if (source && source.readyState === EventSource.CLOSED) {
        leave();
        setTimeout(listen, REST_MS);
      }
    });
  }

  function leave() {
    source?.close();
    source = null;
  }

  // The same words as the host's, so that an age grows while nothing else changes.
  function lapse(seconds) {
    for (const [unit, length] of [["d", 86400], ["h", 3600], ["min", 60]]) {
      if (seconds >= length) return `${Math.floor(seconds / length)} ${unit}`;
    }
    return `${Math.max(0, Math.floor(seconds))} s`;
  }

  function grow() {
    for (const each of document.querySelectorAll("#live time")) {
      if (!/( ago$)|(^in )/.test(each.textContent)) continue;
      const passed = (Date.now() - aheadMs - Date.parse(each.dateTime)) / 1000;
      each.textContent = passed < 0 ? `in ${lapse(-passed)}` : `${lapse(passed)} ago`;
    }
  }

  fetchedAt = Date.now();
  compare();
  document.addEventListener("visibilitychange", () => (document.hidden ? leave() : listen()));
  setInterval(grow, AGES_MS);
  listen();
})();
