// Search over records of points, cases, questions and moments; each hit lands on its second.
const state = document.getElementById("state");
const hits = document.getElementById("hits");
const field = document.getElementById("q");
let engine, shards, round = 0;

async function ready() {
  engine ??= await import("../pagefind/pagefind.js");
  shards ??= await (await fetch("static/words.json")).json();
}

function widen(query) {
  // Lay words, abbreviations and misspellings lead to the words the notes use.
  const key = query.toLowerCase().replace(/[^\p{L}\p{N}]+/gu, " ").trim();
  if (shards[key]) return shards[key];
  const parts = key.split(" ");
  return parts.map((part) => (shards[part] && !shards[part].includes(" ") ? shards[part] : part)).join(" ");
}

async function find() {
  const mine = ++round;
  const query = field.value.trim();
  hits.replaceChildren();
  if (!query) { state.textContent = "Type a remedy, an abbreviation or a symptom."; return; }
  try { await ready(); } catch { state.append(" "); return; }
  const filters = {};
  for (const name of ["kind", "remedy", "session"]) {
    const value = document.getElementById(name).value;
    if (value) filters[name] = value;
  }
  const wide = widen(query);
  let found = await engine.search(query, { filters });
  if (wide !== query.toLowerCase()) {
    const more = await engine.search(wide, { filters });
    const seen = new Set(found.results.map((one) => one.id));
    found = { results: [...more.results.filter((one) => !seen.has(one.id)), ...found.results] };
  }
  const data = await Promise.all(found.results.slice(0, 20).map((one) => one.data()));
  if (mine !== round) return;
  state.textContent = data.length ? `${found.results.length} found` : "Nothing found. Try another word for it, or a single word.";
  for (const one of data) {
    const item = document.createElement("li");
    const link = document.createElement("a");
    link.href = one.meta.to;
    link.textContent = `${one.meta.session}, ${one.meta.time}`;
    const text = document.createElement("p");
    text.textContent = one.meta.said;
    const kind = document.createElement("small");
    kind.textContent = one.meta.kind;
    item.append(link, text, kind);
    hits.append(item);
  }
  const address = new URL(location.href);
  address.searchParams.set("q", query);
  history.replaceState(null, "", address);
}

document.getElementById("form").addEventListener("submit", (event) => { event.preventDefault(); find(); });
for (const name of ["kind", "remedy", "session"]) document.getElementById(name).addEventListener("change", find);
const asked = new URLSearchParams(location.search).get("q");
if (asked) { field.value = asked; find(); } else if (location.protocol !== "file:") state.textContent = "Type a remedy, an abbreviation or a symptom.";
