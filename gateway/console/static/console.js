"use strict";
// The console's only script. Pages work without it; with it they stay live, tell ages, sound, and
// let plots be read. Nothing is kept that grows: a page may stay open for weeks.

(() => {
  const root = document.documentElement;
  const topics = (root.dataset.topics || "").split(" ").filter(Boolean);

  // ---- time: the gateway's clock, carried on by this machine's steady one
  const clock = {
    at: Number(root.dataset.now || 0), from: performance.now(), rate: Number(root.dataset.rate || 1),
    now() { return this.at + (performance.now() - this.from) * 1000 * this.rate; },
    set(at) { this.at = at; this.from = performance.now(); },
  };

  const ageText = (us) => {
    const s = Math.max(0, us / 1e6);
    if (s < 120) return `${Math.floor(s)} s`;
    if (s < 7200) return `${Math.floor(s / 60)} min`;
    if (s < 172800) return `${Math.floor(s / 3600)} h`;
    return `${Math.floor(s / 86400)} d`;
  };

  const put = (node, text) => { if (node.textContent !== text) node.textContent = text; };

  const tellAges = () => {
    const now = clock.now();
    for (const node of document.querySelectorAll("[data-since]")) {
      put(node, ageText(now - Number(node.dataset.since)));
    }
  };

  const clockNode = document.getElementById("clock");
  const hms = (ms) => new Date(ms).toISOString().slice(11, 19);
  const days = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
  const months = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
  const shown = (us) => us / 1000 + 1000 * Number(clockNode ? clockNode.querySelector("b").dataset.offset : 0);
  const tellClock = () => {
    if (!clockNode) return;
    for (const node of clockNode.querySelectorAll("[data-offset]")) {
      const ms = clock.now() / 1000 + 1000 * Number(node.dataset.offset);
      const date = new Date(ms);
      put(node, "date" in node.dataset
        ? `${days[date.getUTCDay()]} ${date.getUTCDate()} ${months[date.getUTCMonth()]}` : hms(ms));
    }
  };

  // ---- live parts: what is new is laid over what is there, node by node, so that focus, open
  // details and the place of the page stay
  const keyOf = (node) => (node.nodeType === 1 ? node.dataset.key || node.id || "" : "");
  const alike = (a, b) => a.nodeType === b.nodeType && a.nodeName === b.nodeName && keyOf(a) === keyOf(b);

  const sameAttributes = (old, fresh) => {
    for (const { name } of [...old.attributes]) {
      const own = name === "open" || (name === "class" && old.hasAttribute("data-gone"));
      if (!own && !fresh.hasAttribute(name)) old.removeAttribute(name);
    }
    for (const { name, value } of [...fresh.attributes]) {
      if (old.getAttribute(name) !== value) old.setAttribute(name, value);
    }
  };

  const lay = (old, fresh) => {
    if (old.nodeType !== 1) {
      if (old.nodeValue !== fresh.nodeValue) old.nodeValue = fresh.nodeValue;
      return;
    }
    if (old.isEqualNode(fresh)) return;
    sameAttributes(old, fresh);
    if (old.dataset.since && fresh.dataset.since) return;
    layChildren(old, fresh);
  };

  const layChildren = (old, fresh) => {
    const keyed = new Map();
    for (const child of old.children) if (child.dataset.key) keyed.set(child.dataset.key, child);
    let at = old.firstChild;
    for (const next of [...fresh.childNodes]) {
      const known = next.nodeType === 1 && next.dataset.key ? keyed.get(next.dataset.key) : null;
      if (known && known.nodeName === next.nodeName) {
        if (known === at) at = at.nextSibling; else old.insertBefore(known, at);
        lay(known, next);
        keyed.delete(next.dataset.key);
      } else if (at && !(at.nodeType === 1 && at.dataset.key) && alike(at, next)) {
        const here = at;
        at = at.nextSibling;
        lay(here, next);
      } else {
        old.insertBefore(next, at);
      }
    }
    while (at) { const gone = at; at = at.nextSibling; gone.remove(); }
    for (const left of keyed.values()) if (left.parentNode === old && left !== at) left.remove();
  };

  // ---- rows stay where they are while somebody points at them or stands in them
  let held = null;
  const heldRows = () => document.querySelector("[data-hold]");
  const isBusy = (box) => {
    const bar = document.getElementById("held");
    return box && (box.matches(":hover") || box.contains(document.activeElement)
      || (bar && bar.matches(":hover")));
  };

  const showHeld = () => {
    if (!held) return;
    const fresh = held;
    held = null;
    apply(fresh, true);
  };

  const holdBack = (box, fresh) => {
    const mine = [...box.children].map(keyOf);
    const theirs = [...fresh.querySelectorAll("[data-hold] > [data-key]")].map(keyOf);
    const moves = mine.some((key, place) => theirs[place] !== key) || mine.length !== theirs.length;
    if (!moves || !isBusy(box)) return false;
    const count = theirs.filter((key) => !mine.includes(key)).length;
    const button = document.getElementById("show-held");
    if (button) {
      button.hidden = false;
      put(button, count ? `${count} new: show` : "The order has changed: show");
    }
    for (const row of box.children) {
      const match = [...fresh.querySelectorAll("[data-hold] > [data-key]")].find((one) => keyOf(one) === keyOf(row));
      if (match) lay(row, match.cloneNode(true));
    }
    return true;
  };

  const apply = (fresh, shown) => {
    const box = heldRows();
    const strip = fresh.querySelector('[data-part="strip"]');
    if (strip) layChildren(document.getElementById("strip"), strip);
    const live = fresh.querySelector('[data-part="live"]');
    if (box && !shown && holdBack(box, live)) { held = fresh; return after(); }
    layChildren(document.getElementById("live"), live);
    after();
  };

  const after = () => { tellAges(); tellSound(); bindPlots(); bindButtons(); };

  // A test lays parts over the page as the stream would.
  window.seafretLay = (text) => apply(new DOMParser().parseFromString(text, "text/html").body);

  // ---- the stream, and asking for what is new no oftener than pages can follow
  const PAUSE_MS = 400, AGAIN_MS = 2000, QUIET_MS = 20000, CUT_MS = 32000;
  let have = "", asking = false, again = false, timer = 0, lastAsk = 0, lastWord = performance.now();
  let failed = "";

  const ask = async () => {
    if (asking) { again = true; return; }
    asking = true;
    lastAsk = performance.now();
    try {
      const answer = await fetch(location.href, {
        headers: { "x-seafret-part": "1", "x-seafret-have": have }, cache: "no-store", redirect: "error",
      });
      failed = answer.ok ? "" : `the gateway answers ${answer.status}`;
      if (answer.status === 200) {
        have = answer.headers.get("x-seafret-have") || "";
        apply(new DOMParser().parseFromString(await answer.text(), "text/html").body);
      }
    } catch (fault) {
      failed = "the gateway does not answer";
      setTimeout(soon, AGAIN_MS);
    }
    asking = false;
    tellCut();
    if (again) { again = false; soon(); }
  };

  const soon = () => {
    if (timer) return;
    const wait = Math.max(0, PAUSE_MS - (performance.now() - lastAsk));
    timer = setTimeout(() => { timer = 0; ask(); }, wait);
  };

  const concerns = (told) => topics.includes("*") || told.some((one) => topics.includes(one));

  const tellCut = () => {
    const node = document.getElementById("cut");
    if (!node || !topics.length) return;
    const silent = performance.now() - lastWord > CUT_MS;
    const text = failed || (silent ? "nothing is heard from the gateway" : "");
    node.hidden = !text;
    if (text) put(node, `NOT LIVE: ${text}. What is shown is of ${hms(shown(clock.at))} and may be old.`);
  };

  let stream = null;
  const listen = () => {
    stream = new EventSource("/stream");
    const word = (event) => {
      lastWord = performance.now();
      failed = "";
      const told = JSON.parse(event.data);
      if (told.now_us) clock.set(told.now_us);
      tellCut();
      return told;
    };
    stream.addEventListener("hello", (event) => { word(event); soon(); });
    stream.addEventListener("beat", word);
    stream.addEventListener("anew", (event) => { word(event); soon(); });
    stream.addEventListener("change", (event) => { if (concerns(word(event).topics)) soon(); });
    stream.onerror = () => {
      failed = "the gateway's stream is cut off; trying again";
      tellCut();
      if (stream.readyState === EventSource.CLOSED) setTimeout(listen, 5000);
    };
  };

  // ---- sound: as many beats as the mark has strokes; silenced for two minutes, never for good
  const sound = document.getElementById("sound"), hush = document.getElementById("hush");
  let audio = null, hushedUntil = 0, lastBeep = 0;
  const beats = { 1: 3, 2: 2, 3: 1 };
  const beep = (priority) => {
    if (!audio) return;
    for (let k = 0; k < beats[priority]; k += 1) {
      const tone = audio.createOscillator(), loud = audio.createGain();
      const start = audio.currentTime + k * 0.28;
      tone.frequency.value = priority === 1 ? 880 : priority === 2 ? 660 : 440;
      loud.gain.setValueAtTime(0.0001, start);
      loud.gain.exponentialRampToValueAtTime(0.25, start + 0.02);
      loud.gain.exponentialRampToValueAtTime(0.0001, start + 0.22);
      tone.connect(loud).connect(audio.destination);
      tone.start(start);
      tone.stop(start + 0.24);
    }
  };
  let saidSound = 0;
  const tellSound = () => {
    const strip = document.querySelector("[data-sound]");
    const priority = strip ? Number(strip.dataset.sound) : 0;
    if (priority !== saidSound) {
      const words = { 1: "An urgent alarm calls", 2: "An alarm of high priority calls", 3: "An alarm of low priority calls" };
      put(document.getElementById("said"), words[priority] || "");
      if (priority && (!saidSound || priority < saidSound)) { hushedUntil = priority === 1 ? 0 : hushedUntil; lastBeep = 0; }
      saidSound = priority;
      document.title = document.title.replace(/^\(\u2022+\) /, "");
      if (priority) document.title = `(${"\u2022".repeat(beats[priority])}) ${document.title}`;
    }
    if (sound) { sound.hidden = Boolean(audio); hush.hidden = !priority || !audio; }
    const due = performance.now();
    if (priority && due > hushedUntil && due - lastBeep > 10000) { lastBeep = due; beep(priority); }
  };
  if (sound) {
    sound.hidden = false;
    sound.addEventListener("click", () => { audio = new AudioContext(); lastBeep = 0; tellSound(); });
    hush.addEventListener("click", () => { hushedUntil = performance.now() + 120000; });
  }

  // ---- plots: a line that reads out one column, by pointer or arrow keys
  const bindPlots = () => {
    for (const box of document.querySelectorAll("[data-cursor]")) {
      if (box.bound === box.dataset.cursor) continue;
      const first = !box.bound;
      box.bound = box.dataset.cursor;
      box.told = JSON.parse(box.dataset.cursor);
      if (!first) continue;
      let at = -1;
      const show = (place) => {
        const told = box.told, count = told.peak.length;
        at = Math.max(0, Math.min(count - 1, place));
        const left = Number(box.dataset.left), right = Number(box.dataset.right);
        const x = left + (right - left) * (at + 0.5) / count;
        box.querySelector(".cursor").setAttribute("d", `M${x.toFixed(1)} 18V368`);
        const ms = (told.from_s + at * told.width_s + Number(box.dataset.offset)) * 1000;
        const when = new Date(ms).toISOString().replace("T", " ").slice(0, 16);
        const state = told.state[at] < 0 ? "" : `, ${told.states[told.state[at]]}`;
        const said = told.peak[at] === "" ? "no good data"
          : `highest peak ${told.peak[at]} mA, r.m.s. ${told.rms[at] || "–"} mA, arcs a minute ${told.arcs[at] || "–"}${state}`;
        const humid = told.rh[at] === "" ? "" : `, humidity ${told.rh[at]} %`;
        put(box.parentNode.querySelector("output"), `${when}: ${said}${humid}`);
      };
      box.addEventListener("pointermove", (event) => {
        const svg = box.querySelector("svg"), size = svg.getBoundingClientRect();
        const x = (event.clientX - size.left) / size.width * svg.viewBox.baseVal.width;
        const left = Number(box.dataset.left), right = Number(box.dataset.right);
        show(Math.floor((x - left) / (right - left) * box.told.peak.length));
      });
      box.addEventListener("keydown", (event) => {
        const step = { ArrowLeft: -1, ArrowRight: 1, PageUp: -20, PageDown: 20 }[event.key];
        if (!step && event.key !== "Home" && event.key !== "End") return;
        event.preventDefault();
        show(event.key === "Home" ? 0 : event.key === "End" ? 1e9 : (at < 0 ? box.told.peak.length : at) + step);
      });
    }
  };

  // A laid-over copy of the rows may bring the button anew; one listener on the page serves them all.
  const bindButtons = () => {
    const button = document.getElementById("show-held");
    if (button && !held) button.hidden = true;
  };
  document.addEventListener("click", (event) => {
    if (event.target.id === "show-held") { document.activeElement.blur(); showHeld(); }
    if (event.target.dataset && "print" in event.target.dataset) window.print();
  });
  // Somebody on the way from a row to the button must not find it gone.
  let leaving = 0;
  document.addEventListener("pointermove", () => {
    if (!held || leaving) return;
    leaving = setTimeout(() => { leaving = 0; if (!isBusy(heldRows())) showHeld(); }, 1500);
  }, { passive: true });
  for (const one of document.querySelectorAll("[data-print]")) one.hidden = false;

  // On a phone the doors are wider than the screen; the one that one is in must be in sight.
  const door = document.querySelector(".doors nav a[aria-current]");
  if (door) door.parentNode.scrollLeft = door.offsetLeft - (door.parentNode.clientWidth - door.offsetWidth) / 2;

  // ---- go
  tellAges(); tellClock(); tellSound(); bindPlots(); bindButtons();
  setInterval(() => { tellAges(); tellClock(); tellSound(); tellCut(); }, 1000);
  if (topics.length) {
    listen();
    setInterval(() => { if (performance.now() - lastAsk > QUIET_MS) soon(); }, 5000);
    document.addEventListener("visibilitychange", () => { if (!document.hidden) soon(); });
  }
})();
