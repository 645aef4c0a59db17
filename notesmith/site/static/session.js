// Plays from a time, follows the transcript, shows what was heard, hides the remedy for revision.
const audio = document.getElementById("audio");
const clock = (s) => `${Math.floor(s / 60)}:${String(Math.floor(s % 60)).padStart(2, "0")}`;
const lines = [...document.querySelectorAll(".transcript p[data-at]")];

function go(ms, play) {
  if (!audio) return;
  const seek = () => { audio.currentTime = ms / 1000; if (play) audio.play().catch(() => {}); };
  if (audio.readyState > 0) seek(); else audio.addEventListener("loadedmetadata", seek, { once: true });
}

function fromAddress(play) {
  const found = /[#&?]t=(\d+)/.exec(location.hash);
  if (!found) return;
  const ms = Number(found[1]) * 1000;
  go(ms, play);
  const line = lines.findLast((one) => Number(one.dataset.at) <= ms + 500);
  if (line) { mark(line); line.scrollIntoView({ block: "center" }); }
}

function mark(line) {
  for (const one of document.querySelectorAll(".playing")) one.classList.remove("playing");
  line.classList.add("playing");
}

document.addEventListener("click", (event) => {
  const time = event.target.closest("a[data-at]");
  if (time && audio && time.getAttribute("href").startsWith("#")) {
    event.preventDefault();
    history.replaceState(null, "", time.getAttribute("href"));
    go(Number(time.dataset.at), true);
    return;
  }
  const word = event.target.closest(".restored");
  if (word) word.toggleAttribute("data-open");
});

if (audio) {
  const now = document.getElementById("now");
  const share = document.getElementById("share");
  share.hidden = false;
  share.addEventListener("click", async () => {
    const address = `${location.href.split("#")[0]}#t=${Math.floor(audio.currentTime)}`;
    history.replaceState(null, "", address);
    try { await navigator.clipboard.writeText(address); share.textContent = "Copied"; } catch { share.textContent = "The link is in the address bar"; }
  });
  audio.addEventListener("timeupdate", () => {
    now.textContent = clock(audio.currentTime);
    const ms = audio.currentTime * 1000;
    const line = lines.findLast((one) => Number(one.dataset.at) <= ms);
    if (line && !line.classList.contains("playing")) mark(line);
  });
}

const revise = document.getElementById("revise");
if (revise) {
  revise.hidden = false;
  const names = [...new Set([...document.querySelectorAll(".lead a, .tags a[href*='remedy/']")].map((a) => a.textContent))];
  const words = names.flatMap((name) => [name, name.split(" ")[0]]).filter((name) => name.length > 3);
  revise.addEventListener("click", () => {
    const on = document.body.classList.toggle("revising");
    revise.setAttribute("aria-pressed", String(on));
    for (const p of document.querySelectorAll(".point p:first-child")) {
      if (!on) { if (p.dataset.full) p.textContent = p.dataset.full; continue; }
      p.dataset.full = p.textContent;
      let text = p.textContent;
      for (const word of words) text = text.replaceAll(new RegExp(word.replace(/[.*+?^${}()|[\]\\]/g, "\\$&"), "gi"), "▒▒▒▒");
      p.textContent = text;
    }
  });
}
window.addEventListener("hashchange", () => fromAddress(true));
fromAddress(false);
