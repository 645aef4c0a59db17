// The little the desk's pages need beyond forms and links: keys, sound, uploads. No inline code anywhere.
"use strict";
(() => {
  const token = document.body.dataset.token;
  document.body.addEventListener("htmx:configRequest", (event) => {
    if (event.detail.verb !== "get") event.detail.headers["X-Desk-Token"] = token;
  });

  // ---- single keys; a switch on the page turns them off (WCAG 2.1.4)
  const toggle = document.getElementById("keys-on");
  if (toggle) {
    toggle.checked = localStorage.getItem("keys") !== "off";
    toggle.addEventListener("change", () => localStorage.setItem("keys", toggle.checked ? "on" : "off"));
  }
  const typing = (element) => element.matches("input:not([type=checkbox]), textarea, select");
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return;
    if (event.key === "Escape" && typing(event.target)) { event.target.blur(); return; }
    if (typing(event.target) || event.repeat || (toggle && !toggle.checked)) return;
    const target = document.querySelector(`[data-key="${CSS.escape(event.key)}"]`);
    if (!target) return;
    event.preventDefault();
    if (typing(target)) { target.focus(); target.select?.(); } else target.click();
  });

  // ---- one decision at a time: a second key press must not decide the next word unseen
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (document.body.dataset.sent) { event.preventDefault(); return; }
    if (form.id === "other-form" && !event.submitter?.value) {
      event.preventDefault();
      form.querySelector("#choices button")?.click();
      return;
    }
    document.body.dataset.sent = "yes";
  });
  window.addEventListener("pageshow", () => { delete document.body.dataset.sent; });

  // ---- arrows through the suggestions
  document.addEventListener("keydown", (event) => {
    if (event.key !== "ArrowDown" && event.key !== "ArrowUp") return;
    const field = document.activeElement?.dataset?.list ? document.activeElement : null;
    const list = field ? document.getElementById(field.dataset.list) : document.activeElement?.closest("#choices");
    if (!list) return;
    const buttons = [...list.querySelectorAll("button")];
    const at = buttons.indexOf(document.activeElement) + (event.key === "ArrowDown" ? 1 : -1);
    event.preventDefault();
    if (at < 0) document.querySelector('[data-list="choices"]')?.focus();
    else buttons[Math.min(at, buttons.length - 1)]?.focus();
  });

  // ---- the clip
  const clip = document.getElementById("clip");
  document.querySelectorAll("[data-sound]").forEach((button) => button.addEventListener("click", () => {
    const player = button.dataset.clip ? document.getElementById(button.dataset.clip) : clip;
    if (!player) return;
    const press = (on) => button.setAttribute("aria-pressed", String(on));
    if (button.dataset.sound === "play") {
      if (player.paused) { player.currentTime = 0; player.play(); } else player.pause();
    } else if (button.dataset.sound === "loop") {
      player.loop = !player.loop; press(player.loop);
      if (player.loop && player.paused) player.play();
    } else {
      player.preservesPitch = true;
      player.playbackRate = player.playbackRate < 1 ? 1 : 0.7; press(player.playbackRate < 1);
    }
  }));

  document.querySelectorAll("[data-play]").forEach((button) => button.addEventListener("click", () => {
    if (!clip) return;
    clip.src = button.dataset.play;
    clip.play();
  }));

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
    for (const file of files) {
      sending = sending.then(() => send(file)).then(
        () => { said.textContent = `${file.name} has arrived.`; refresh(); },
        (error) => { said.textContent = `${file.name}: ${error.message}`; refresh(); },
      );
    }
  }
  if (drop && chooser) {
    chooser.addEventListener("change", () => { take([...chooser.files]); chooser.value = ""; });
    for (const name of ["dragover", "dragenter"]) drop.addEventListener(name, (event) => { event.preventDefault(); drop.classList.add("over"); });
    drop.addEventListener("dragleave", () => drop.classList.remove("over"));
    drop.addEventListener("drop", (event) => { event.preventDefault(); drop.classList.remove("over"); take([...event.dataTransfer.files]); });
  }
  // When the last job is done, the page below the list is out of date.
  const isBusy = () => document.querySelector("[data-busy]")?.dataset.busy === "yes";
  let busy = isBusy();
  document.body.addEventListener("htmx:afterSettle", () => {
    const now = isBusy();
    if (busy && !now) location.reload();
    busy = now;
  });
})();
