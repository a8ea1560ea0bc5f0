"use strict";
// Search, filter and keys. The page is complete without.
(() => {
  const tools = document.getElementById("tools");
  const clips = [...document.querySelectorAll("article.clip")].map((box) => ({
    box,
    text: [...box.querySelectorAll(".row, .notes, .facts")].map((part) => part.textContent).join(" ").toLowerCase(),
    bar: document.querySelector(`#timeline a[href="#${box.id}"]`),
  }));
  const piles = [...document.querySelectorAll("section.pile")];
  const found = tools.querySelector(".found");
  const nomatch = document.getElementById("nomatch");
  const field = tools.elements;

  const filter = () => {
    const words = field.find.value.toLowerCase().split(/\s+/).filter(Boolean);
    const camera = field.camera ? field.camera.value : "";
    let shown = 0;
    for (const { box, text, bar } of clips) {
      const matches =
        (!field.pile.value || box.dataset.pile === field.pile.value) &&
        (!camera || box.dataset.camera === camera) &&
        words.every((word) => text.includes(word));
      box.hidden = !matches;
      if (bar) bar.classList.toggle("faint", !matches);
      shown += matches;
    }
    for (const pile of piles) pile.hidden = !pile.querySelector("article:not([hidden])");
    nomatch.hidden = shown > 0 || clips.length === 0;
    const all = `${clips.length} clip${clips.length === 1 ? "" : "s"}`;
    found.textContent = shown === clips.length ? `${all} shown` : `${shown} of ${all} shown`;
  };
  const showAll = () => {
    field.find.value = "";
    field.pile[0].checked = true;
    if (field.camera) field.camera.value = "";
    filter();
  };
  const fold = (open) => {
    for (const { box } of clips) if (!box.hidden) box.querySelector("details").open = open;
  };
  const goTo = (box) => {
    box.focus({ preventScroll: true });
    box.scrollIntoView({ block: "start" });
  };
  // A link to a clip shows it, whatever is filtered, and opens its evidence.
  const follow = () => {
    const clip = clips.find(({ box }) => `#${box.id}` === location.hash);
    if (!clip) return;
    if (clip.box.hidden) showAll();
    clip.box.querySelector("details").open = true;
    goTo(clip.box);
  };

  tools.addEventListener("input", filter);
  tools.addEventListener("submit", (event) => event.preventDefault());
  field.open.addEventListener("click", () => fold(true));
  field.close.addEventListener("click", () => fold(false));
  nomatch.querySelector("button").addEventListener("click", () => {
    showAll();
    field.find.focus();
  });
  addEventListener("hashchange", follow);

  // One stop for the tab key in each lane; arrows go on from there.
  for (const lane of document.querySelectorAll("#timeline .track")) {
    const bars = [...lane.querySelectorAll("a")].sort((a, b) => a.parentElement.offsetLeft - b.parentElement.offsetLeft);
    bars.forEach((bar, at) => {
      bar.tabIndex = at === 0 ? 0 : -1;
      bar.addEventListener("keydown", (event) => {
        const step = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: bars.length - 1 }[event.key];
        const next = bars[step];
        if (!next) return;
        event.preventDefault();
        bar.tabIndex = -1;
        next.tabIndex = 0;
        next.focus();
      });
    });
  }

  addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || !field.keys.checked) return;
    if (event.key === "Escape") return showAll();
    if (event.target.closest("input[type=search], select")) return;
    const shown = clips.map(({ box }) => box).filter((box) => !box.hidden);
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
  filter();
  follow();
})();
