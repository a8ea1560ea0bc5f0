"use strict";
// Search, filter and keys. The page is complete without.
(() => {
  const tools = document.getElementById("tools");
  // A card may hold thousands of clips: nothing goes through them before somebody asks.
  const boxes = document.getElementsByClassName("clip");
  let known;
  // As they are compared: accents may be written as letters of their own or not (NFD, NFC).
  const plain = (text) => text.toLowerCase().normalize("NFC");
  const clips = () => {
    if (!known) {
      const bars = new Map();
      for (const bar of document.querySelectorAll("#timeline a.bar")) bars.set(bar.getAttribute("href"), bar);
      known = [...boxes].map((box) => ({
        box,
        text: plain([...box.querySelectorAll(".row, .notes, .facts")].map((part) => part.textContent).join(" ")),
        bar: bars.get(`#${box.id}`),
      }));
    }
    return known;
  };
  const piles = [...document.querySelectorAll("section.pile")];
  const found = tools.querySelector(".found");
  const nomatch = document.getElementById("nomatch");
  const field = tools.elements;

  const tell = (shown) => {
    const all = `${boxes.length} clip${boxes.length === 1 ? "" : "s"}`;
    found.textContent = shown === boxes.length ? `${all} shown` : `${shown} of ${all} shown`;
  };
  const filter = () => {
    const words = plain(field.find.value).split(/\s+/).filter(Boolean);
    const camera = field.camera ? field.camera.value : "";
    let shown = 0;
    for (const { box, text, bar } of clips()) {
      const matches =
        (!field.pile.value || box.dataset.pile === field.pile.value) &&
        (!camera || box.dataset.camera === camera) &&
        words.every((word) => text.includes(word));
      box.hidden = !matches;
      if (bar) bar.classList.toggle("faint", !matches);
      shown += matches;
    }
    for (const pile of piles) pile.hidden = !pile.querySelector("article:not([hidden])");
    nomatch.hidden = shown > 0 || boxes.length === 0;
    tell(shown);
  };
  const showAll = () => {
    field.find.value = "";
    field.pile[0].checked = true;
    if (field.camera) field.camera.value = "";
    filter();
  };
  const fold = (open) => {
    for (const box of boxes) if (!box.hidden) box.querySelector("details").open = open;
  };
  const goTo = (box) => {
    box.focus({ preventScroll: true });
    box.scrollIntoView({ block: "start" });
  };
  // A link to a pile or a clip shows it, whatever is filtered, and opens the clip's evidence.
  const follow = (hash) => {
    const there = document.getElementById(hash.slice(1));
    if (!there?.matches("section.pile, article.clip")) return;
    if (there.hidden) showAll();
    if (there.matches("section.pile")) return there.scrollIntoView({ block: "start" });
    there.querySelector("details").open = true;
    goTo(there);
  };

  tools.addEventListener("input", filter);
  tools.addEventListener("submit", (event) => event.preventDefault());
  field.open.addEventListener("click", () => fold(true));
  field.close.addEventListener("click", () => fold(false));
  nomatch.querySelector("button").addEventListener("click", () => {
    showAll();
    field.find.focus();
  });
  addEventListener("hashchange", () => follow(location.hash));
  // A link that was followed before changes no address.
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[href^='#']");
    if (link && !(event.ctrlKey || event.metaKey || event.shiftKey || event.altKey)) follow(link.hash);
  });

  // One stop for the tab key in a lane, once it was entered; arrows go on from there.
  const lanes = new Map();
  const laneOf = (bar) => {
    const lane = bar.closest(".track");
    if (!lanes.has(lane)) {
      const bars = [...lane.querySelectorAll("a")];
      for (const other of bars) if (other !== bar) other.tabIndex = -1;
      const left = new Map(bars.map((one) => [one, one.parentElement.offsetLeft]));
      lanes.set(lane, bars.sort((a, b) => left.get(a) - left.get(b)));
    }
    return lanes.get(lane);
  };
  const timeline = document.getElementById("timeline");
  timeline?.addEventListener("focusin", (event) => {
    if (event.target.matches("a.bar")) laneOf(event.target);
  });
  timeline?.addEventListener("keydown", (event) => {
    if (!event.target.matches("a.bar")) return;
    const bars = laneOf(event.target);
    const at = bars.indexOf(event.target);
    const next = bars[{ ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: bars.length - 1 }[event.key]];
    if (!next) return;
    event.preventDefault();
    event.target.tabIndex = -1;
    next.tabIndex = 0;
    next.focus();
  });

  addEventListener("keydown", (event) => {
    // Letters under way, as of Japanese, have keys of their own.
    if (event.isComposing || event.ctrlKey || event.metaKey || event.altKey || !field.keys.checked) return;
    if (event.key === "Escape") return showAll();
    if (event.target.closest("input[type=search], select")) return;
    const shown = [...boxes].filter((box) => !box.hidden);
    const here = document.activeElement.closest("article.clip");
    const at = shown.indexOf(here);
    if (event.key === "/") field.find.focus();
    else if (event.key === "j" && shown[at + 1]) goTo(shown[at + 1]);
    else if (event.key === "k" && at > 0) goTo(shown[at - 1]);
    else if (event.key === "e" && here) here.querySelector("details").open ^= true;
    else return;
    event.preventDefault();
  });

  tools.hidden = false;
  tell(boxes.length);
  follow(location.hash);
})();
