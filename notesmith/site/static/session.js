"use strict";
(function () {
  document.querySelectorAll(".needs-js").forEach((e) => { e.hidden = false; });
  const audio = document.getElementById("audio"), status = document.getElementById("status");
  const parts = [...document.querySelectorAll(".part")], lines = [...document.querySelectorAll(".transcript p")];
  const follow = document.getElementById("follow"), caption = document.getElementById("caption");
  parts.forEach((p) => { p.style.flexGrow = String(Math.max(1, (Number(p.dataset.end) - Number(p.dataset.start)) / 1000)); });

  function clock(ms) {
    const s = Math.floor(ms / 1000), h = Math.floor(s / 3600), m = Math.floor(s / 60) % 60, two = (n) => String(n).padStart(2, "0");
    return h ? h + ":" + two(m) + ":" + two(s % 60) : m + ":" + two(s % 60);
  }
  function say(text) { status.textContent = text; }
  function seek(ms, play) {
    if (!audio) { showLine(ms, true); return; }
    const go = () => { audio.currentTime = ms / 1000; };
    if (audio.readyState > 0) go();
    else { audio.addEventListener("loadedmetadata", go, { once: true }); audio.preload = "metadata"; audio.load(); }
    if (play) audio.play().catch(() => say("Ready at " + clock(ms) + ". Press play to listen."));
  }
  function at(list, ms) {
    let low = 0, high = list.length;
    while (low < high) { const mid = (low + high) >> 1; if (Number(list[mid].dataset.start) <= ms) low = mid + 1; else high = mid; }
    return list[low - 1] || null;
  }
  let current = null, playing = null;
  function showLine(ms, scroll) {
    const line = at(lines, ms);
    if (line !== current) {
      if (current) { current.classList.remove("now"); current.removeAttribute("aria-current"); }
      current = line;
      if (line) {
        line.classList.add("now");
        line.setAttribute("aria-current", "true");
        if (caption) caption.textContent = [...line.childNodes].slice(1).map((n) => (n.className === "heard" ? "" : n.textContent)).join("").trim().slice(0, 160);
        if (scroll) line.scrollIntoView({ block: "center" });
      }
    }
    const part = at(parts, ms);
    if (part !== playing) {
      if (playing) { playing.classList.remove("playing"); playing.removeAttribute("aria-current"); }
      playing = part;
      if (part) { part.classList.add("playing"); part.setAttribute("aria-current", "true"); }
    }
  }
  if (audio) {
    // Follow only what is heard: reading ahead while paused must not be disturbed.
    audio.addEventListener("timeupdate", () => showLine(audio.currentTime * 1000, Boolean(follow && follow.checked && !audio.paused)));
    audio.addEventListener("error", () => say("The recording cannot be played here; the text is complete."));
    document.querySelectorAll("[data-skip]").forEach((button) => button.addEventListener("click", () => {
      audio.currentTime = Math.max(0, audio.currentTime + Number(button.dataset.skip));
    }));
    const speed = document.getElementById("speed");
    speed.addEventListener("change", () => { audio.playbackRate = Number(speed.value); });
    document.getElementById("share").addEventListener("click", async () => {
      const link = location.href.split("#")[0] + "#t=" + Math.floor(audio.currentTime);
      try { await navigator.clipboard.writeText(link); say("Link copied: " + link); } catch (error) { say("Copy this link: " + link); }
    });
  }
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[data-start]");
    if (link && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
      event.preventDefault();
      const ms = Number(link.dataset.start);
      try { history.replaceState(null, "", "#t=" + Math.floor(ms / 100) / 10); } catch (error) { /* not on every file address */ }
      seek(ms, true);
      say("From " + clock(ms) + ".");
      return;
    }
    const word = event.target.closest(".restored");
    if (word) {
      const heard = word.nextElementSibling, open = word.getAttribute("aria-expanded") === "true";
      word.setAttribute("aria-expanded", String(!open));
      heard.hidden = open;
    }
  });
  function arrive(play) {
    const target = decodeURIComponent(location.hash.slice(1));
    const moment = /^t=([\d.]+)/.exec(target);
    const element = moment || !target ? null : document.getElementById(target);
    if (moment) { seek(Number(moment[1]) * 1000, play); showLine(Number(moment[1]) * 1000, true); }
    else if (element && element.dataset.start) { seek(Number(element.dataset.start), play); showLine(Number(element.dataset.start), false); }
  }
  window.addEventListener("hashchange", () => arrive(true));
  arrive(true);

  const cover = document.getElementById("cover"), notes = document.getElementById("notes");
  if (cover && notes) {
    const names = [...new Set([...notes.querySelectorAll(".remedy")].flatMap((e) => e.textContent.toLowerCase().split(/[^\p{L}]+/u)).filter((w) => w.length > 3))];
    let wrapped = false;
    cover.addEventListener("click", () => {
      const on = cover.getAttribute("aria-pressed") !== "true";
      if (on && !wrapped) {
        wrapped = true;
        notes.querySelectorAll(".points .text").forEach((text) => {
          const target = text.querySelector("strong") || text;
          const pieces = target.textContent.split(/([\p{L}]+)/u);
          target.replaceChildren(...pieces.map((piece) => {
            if (!names.includes(piece.toLowerCase())) return document.createTextNode(piece);
            const span = document.createElement("span");
            span.className = "hidden-name";
            span.textContent = piece;
            return span;
          }));
        });
      }
      // Black ink alone would still be read aloud.
      notes.classList.toggle("covered", on);
      notes.querySelectorAll(".remedy, .hidden-name").forEach((e) => { if (on) e.setAttribute("aria-hidden", "true"); else e.removeAttribute("aria-hidden"); });
      notes.querySelectorAll(".remedy a").forEach((a) => { a.tabIndex = on ? -1 : 0; });
      cover.setAttribute("aria-pressed", String(on));
      cover.textContent = on ? "Show the remedies" : "Revise: hide the remedies";
    });
  } else if (cover) cover.hidden = true;
  document.getElementById("print").addEventListener("click", () => window.print());
})();
