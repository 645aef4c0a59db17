// The little the desk's pages need beyond forms and links: keys, sound, uploads. No inline code anywhere.
"use strict";
(() => {
  const token = document.body.dataset.token;
  document.body.addEventListener("htmx:configRequest", (event) => {
    if (event.detail.verb !== "get") event.detail.headers["X-Desk-Token"] = token;
  });

  // ---- switches of the page, kept in this browser
  const on = (name) => document.querySelector(`[data-switch="${name}"]`)?.checked ?? false;
  document.querySelectorAll("[data-switch]").forEach((box) => {
    box.checked = localStorage.getItem(box.dataset.switch) !== "off";
    box.addEventListener("change", () => localStorage.setItem(box.dataset.switch, box.checked ? "on" : "off"));
  });

  // ---- single keys; a switch on the page turns them off (WCAG 2.1.4)
  const typing = (element) => element.matches("input:not([type=checkbox], [type=radio]), textarea, select");
  const rows = [...document.querySelectorAll("[data-row]")];
  let row = 0;
  function stand(at) {
    row = Math.max(0, Math.min(rows.length - 1, at));
    rows.forEach((one, n) => one.classList.toggle("now", n === row));
  }
  function use(target) {
    if (typing(target)) { target.focus(); target.select?.(); } else target.click();
  }
  if (rows.length) {
    stand(0);
    rows.forEach((one, n) => one.addEventListener("focusin", () => stand(n)));
  }
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return;
    if (event.key === "Escape" && typing(event.target)) { (event.target.closest("[data-row]") ?? event.target).focus(); event.target.blur(); return; }
    if (typing(event.target) || event.repeat || (document.querySelector("[data-switch=keys]") && !on("keys"))) return;
    const key = CSS.escape(event.key);
    if (rows.length && (key === "j" || key === "k")) {
      event.preventDefault();
      stand(row + (key === "j" ? 1 : -1));
      rows[row].focus({ preventScroll: true });
      rows[row].scrollIntoView({ block: "nearest" });
      if (on("plays")) rows[row].querySelector("[data-play]:not([data-heard])")?.click();  // else the row before played it
      return;
    }
    const target = rows[row]?.querySelector(`[data-row-key="${key}"]`) ?? document.querySelector(`[data-key="${key}"]`);
    if (!target) return;
    event.preventDefault();
    use(target);
  });
  // A choice of a row that needs words opens its field.
  document.querySelectorAll("[data-opens]").forEach((radio) => radio.addEventListener("click", () => {
    const field = document.getElementById(radio.dataset.opens);
    field.focus();
    field.select();
  }));

  // ---- one decision at a time: a second key press must not decide the next word unseen
  document.addEventListener("submit", (event) => {
    if (document.body.dataset.sent) { event.preventDefault(); return; }
    const asked = event.target.dataset.ask;
    if (asked && !window.confirm(asked)) { event.preventDefault(); return; }
    const without = rows.find((one) => one.querySelector("[value=term]:checked") && !one.querySelector("[data-concept]").value);
    if (without && event.target.contains(without)) {
      event.preventDefault();
      without.querySelector("[data-opened=term] input").focus();
      return;
    }
    document.body.dataset.sent = "yes";
  });
  window.addEventListener("pageshow", () => { delete document.body.dataset.sent; });

  // ---- the suggestions: Enter takes the first, arrows go through them
  const listOf = (field) => document.getElementById(field.dataset.list);
  document.addEventListener("input", (event) => {  // what was found for other letters must not be taken
    if (event.target.dataset.list) listOf(event.target).replaceChildren();
  });
  document.body.addEventListener("htmx:beforeSwap", (event) => {
    const field = event.detail.requestConfig.elt;
    if (field.dataset.list && event.detail.requestConfig.parameters.q !== field.value) event.detail.shouldSwap = false;
  });
  document.addEventListener("keydown", (event) => {
    const field = event.target.dataset?.list ? event.target : null;
    if (event.key === "Enter" && field) {
      event.preventDefault();
      listOf(field).querySelector("button")?.click();
      return;
    }
    if (event.key !== "ArrowDown" && event.key !== "ArrowUp") return;
    const list = field ? listOf(field) : event.target.closest?.("[data-choices]");
    if (!list) return;
    const buttons = [...list.querySelectorAll("button")];
    const at = buttons.indexOf(document.activeElement) + (event.key === "ArrowDown" ? 1 : -1);
    event.preventDefault();
    if (at < 0) document.querySelector(`[data-list="${list.id}"]`)?.focus();
    else buttons[Math.min(at, buttons.length - 1)]?.focus();
  });
  // In a row a suggestion is marked, not sent: the page is confirmed as a whole.
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-choices] button, [data-term]"), own = button?.closest("[data-row]");
    if (!own) return;
    event.preventDefault();
    own.querySelector("[value=term]").checked = true;
    own.querySelector("[data-concept]").value = button.value;
    own.querySelector("[data-chosen]").textContent = `(${button.dataset.label})`;
    own.querySelector("[data-opened=term] input").value = button.dataset.label;
    own.focus();
  });

  // ---- the clip: its middle first, the whole on another key
  const clip = document.getElementById("clip");
  let stopAt = null;
  function play(from, to) {
    stopAt = to;
    clip.currentTime = from;
    clip.play().catch(() => {});  // a browser that lets nothing play by itself still has the key
  }
  if (clip) {
    const near = () => [Number(clip.dataset.from || 0), clip.dataset.to ? Number(clip.dataset.to) : null];
    const watch = () => {
      if (stopAt !== null && clip.currentTime >= stopAt) {
        if (clip.dataset.loop) clip.currentTime = near()[0];
        else { stopAt = null; clip.pause(); }
      }
      if (!clip.paused) requestAnimationFrame(watch);
    };
    clip.addEventListener("play", () => requestAnimationFrame(watch));
    clip.addEventListener("ended", () => { if (clip.dataset.loop) play(...near()); });
    document.querySelectorAll("[data-sound]").forEach((button) => button.addEventListener("click", () => {
      const press = (is) => button.setAttribute("aria-pressed", String(is));
      if (button.dataset.sound === "near") {
        if (clip.paused) play(...near()); else clip.pause();
      } else if (button.dataset.sound === "whole") {
        play(0, null);
      } else if (button.dataset.sound === "loop") {
        if (clip.dataset.loop) delete clip.dataset.loop; else clip.dataset.loop = "yes";
        press(Boolean(clip.dataset.loop));
        if (clip.dataset.loop && clip.paused) play(...near());
      } else {
        clip.preservesPitch = true;
        clip.playbackRate = clip.playbackRate < 1 ? 1 : 0.7; press(clip.playbackRate < 1);
      }
    }));
    document.querySelectorAll("[data-play]").forEach((button) => button.addEventListener("click", () => {
      stopAt = null;
      clip.src = button.dataset.play;
      clip.play().catch(() => {});
    }));
    if (on("plays")) {
      if (clip.dataset.to) play(...near());
      else rows[0]?.querySelector("[data-play]")?.click();
    }
  }

  // ---- sending files, in pieces that go on where they stopped
  const drop = document.getElementById("drop"), chooser = document.getElementById("files");
  const said = document.getElementById("upload-said");
  const PIECE = 4 * 1024 * 1024, TRIES = 8;
  const rest = (ms) => new Promise((done) => setTimeout(done, ms));
  const refresh = () => window.htmx?.ajax("GET", "/jobs", { target: "#jobs", swap: "outerHTML" });
  async function plain(answer) {
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    return page.querySelector("[role=alert]")?.textContent ?? "The desk does not answer; is the program running?";
  }
  async function send(file) {
    const begun = await fetch("/uploads", {
      method: "POST", headers: { "X-Desk-Token": token },
      body: new URLSearchParams({ name: file.name, size: file.size, stamp: String(file.lastModified) }),
    });
    if (!begun.ok) throw new Error(await plain(begun));
    let { id, offset } = await begun.json();
    refresh();
    let failures = 0;
    while (offset < file.size) {
      try {
        const answer = await fetch(`/uploads/${id}?offset=${offset}`, {
          method: "PUT", headers: { "X-Desk-Token": token }, body: file.slice(offset, offset + PIECE),
        });
        const json = answer.headers.get("content-type")?.startsWith("application/json");
        if (!json) throw Object.assign(new Error(await plain(answer)), { final: answer.status < 500 });
        offset = (await answer.json()).offset;
        failures = 0;
      } catch (error) {
        if (error.final || ++failures > TRIES) throw error;
        await rest(500 * failures);
      }
    }
  }
  let sending = Promise.resolve();
  function take(files) {
    drop.scrollIntoView({ block: "start" });  // what happens to them is told below it
    for (const file of files) {
      sending = sending.then(() => send(file)).then(
        () => { said.textContent = `${file.name} has arrived.`; refresh(); },
        (error) => { said.textContent = `${file.name}: ${error.message}`; refresh(); },
      );
    }
  }
  if (drop && chooser) {
    chooser.addEventListener("change", () => { take([...chooser.files]); chooser.value = ""; });
    // The whole page takes what is dropped: a file let go beside the box must not replace the page.
    const files = (event) => event.dataTransfer?.types.includes("Files");
    for (const name of ["dragover", "dragenter"]) window.addEventListener(name, (event) => { if (files(event)) { event.preventDefault(); drop.classList.add("over"); } });
    window.addEventListener("dragleave", (event) => { if (!event.relatedTarget) drop.classList.remove("over"); });
    window.addEventListener("drop", (event) => {
      if (!files(event)) return;
      event.preventDefault();
      drop.classList.remove("over");
      const dropped = [...event.dataTransfer.items].filter((one) => one.kind === "file");
      const folder = dropped.map((one) => one.webkitGetAsEntry?.()).find((one) => one?.isDirectory);
      if (folder) said.textContent = `${folder.name} is a folder. Open it and drop the recordings that are in it.`;
      else take(dropped.map((one) => one.getAsFile()));
    });
  }
  // When the last job is done, the page below the list is out of date.
  const isBusy = () => document.querySelector("[data-busy]")?.dataset.busy === "yes";
  let busy = isBusy();
  let leaving = false;  // a link just followed must not lose to the page loading itself anew
  addEventListener("beforeunload", () => { leaving = true; });
  addEventListener("pageshow", () => { leaving = false; });
  document.body.addEventListener("htmx:afterSettle", () => {
    const now = isBusy();
    if (busy && !now && !leaving) { scrollTo(0, 0); location.reload(); }  // what to do next stands at the top
    busy = now;
  });
})();
