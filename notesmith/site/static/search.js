"use strict";
(function () {
  document.querySelectorAll(".needs-script").forEach((e) => { e.hidden = true; });
  const load = (name) => new Promise((done, failed) => {
    const element = document.createElement("script");
    element.src = "search/" + name + ".js";
    element.onload = () => { element.remove(); done(); };
    element.onerror = () => { element.remove(); failed(new Error(name)); };
    document.head.append(element);
  });
  const engine = window.NotesmithEngine(load);
  const form = document.getElementById("ask"), box = document.getElementById("q"), list = document.getElementById("hits");
  const told = document.getElementById("told"), filters = document.getElementById("filters");
  const KIND = { point: "Teaching point", case: "Case", question: "Question", transcript: "Transcript" };
  const P = window.NotesmithEngine.parts;
  let running = 0;

  function clock(ms) {
    const s = Math.floor(ms / 1000), h = Math.floor(s / 3600), m = Math.floor(s / 60) % 60, two = (n) => String(n).padStart(2, "0");
    return h ? h + ":" + two(m) + ":" + two(s % 60) : m + ":" + two(s % 60);
  }
  function day(date) {
    const parts = /^(\d{4})-(\d\d)-(\d\d)$/.exec(date);
    return parts ? new Date(Date.UTC(parts[1], parts[2] - 1, parts[3])).toLocaleDateString("en-GB", { day: "numeric", month: "long", year: "numeric", timeZone: "UTC" }) : date;
  }
  /* The words that answer: those typed and what surely stands for them, and other wordings that stand there whole; what only may stand for them where none of these is there. */
  function marked(text, answer) {
    const out = document.createElement("span");
    const held = new Set(P.words(text).map(P.stem));
    const whole = answer.wordings.filter((words) => words.every((choices) => choices.some((one) => held.has(one))));
    let wanted = new Set([...answer.stems, ...whole.flat(2)]);
    if (![...wanted].some((one) => held.has(one))) wanted = new Set(answer.faint);
    for (const piece of text.split(/([\p{L}\p{N}']+)/u)) {
      const word = P.words(piece)[0];
      if (word && wanted.has(P.stem(word))) {
        const mark = document.createElement("mark");
        mark.textContent = piece;
        out.append(mark);
      } else out.append(piece);
    }
    return out;
  }
  function element(name, className, ...inside) {
    const made = document.createElement(name);
    if (className) made.className = className;
    made.append(...inside);
    return made;
  }
  function fill(name, options) {
    const select = filters.elements[name], chosen = select.value;
    const first = select.options[0];
    select.replaceChildren(first);
    for (const [value, label] of options) {
      const option = document.createElement("option");
      option.value = value;
      option.textContent = label;
      select.append(option);
    }
    if ([...select.options].some((o) => o.value === chosen)) select.value = chosen;
  }
  async function run(fresh) {
    const query = box.value.trim();
    const mine = running += 1;
    list.replaceChildren();
    if (!query) { told.textContent = ""; filters.hidden = true; return; }
    told.textContent = "Searching…";
    if (fresh) for (const select of filters.querySelectorAll("select")) select.value = "";
    let answer;
    try {
      answer = await engine.search(query, { kind: filters.elements.kind.value, remedy: filters.elements.remedy.value,
        chapter: filters.elements.chapter.value, slot: filters.elements.session.value, limit: 12 });
    } catch (error) {
      told.textContent = "The search index could not be read. The lists of remedies and symptoms lead to the same places.";
      return;
    }
    if (mine !== running) return;
    const named = answer.names.filter((n) => n.page).slice(0, 4);
    const mended = answer.corrected.filter(([a, b]) => a && b).map(([a, b]) => "“" + a + "” taken for “" + b + "”");
    told.replaceChildren(answer.hits.length ? (answer.total > answer.hits.length ? "The best " + answer.hits.length + " of " + answer.total + " moments" : answer.hits.length === 1 ? "1 moment" : answer.hits.length + " moments") : "Nothing found: try another word for it, or a single word");
    told.append(element("span", "asked", " for “" + query + "”"));
    if (mended.length) told.append("; " + mended.join(", "));
    told.append(".");
    if (named.length) {
      told.append(" Pages: ");
      named.forEach((n, i) => {
        const link = element("a", "", n.name.charAt(0).toUpperCase() + n.name.slice(1));
        link.href = n.page;
        told.append(i ? ", " : "", link);
      });
      told.append(".");
    }
    for (const hit of answer.hits) {
      const link = element("a", "", hit.title + ", " + clock(hit.start_ms));
      link.href = "sessions/" + encodeURIComponent(hit.lecture) + ".html#" + encodeURIComponent(hit.anchor);
      list.append(element("li", "", element("p", "quiet", KIND[hit.kind] + (hit.date ? " · " + day(hit.date) : "")),
        element("p", "", marked(hit.text, answer)), element("p", "", link)));
    }
    if (fresh) {
      filters.hidden = !answer.hits.length;
      const tokens = [...new Set(answer.hits.flatMap((h) => [h.remedy, ...h.chapters]).filter(Boolean))];
      const names = await engine.conceptNames(tokens);
      if (mine !== running) return;
      const options = (values) => [...new Set(values)].filter((v) => names.get(v)).map((v) => [v, names.get(v)]).sort((a, b) => a[1].localeCompare(b[1]));
      fill("remedy", options(answer.hits.map((h) => h.remedy)));
      fill("chapter", options(answer.hits.flatMap((h) => h.chapters)));
      fill("session", [...new Map(answer.hits.map((h) => [String(h.slot), h.title])).entries()]);
    }
  }
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    try { history.replaceState(null, "", "?q=" + encodeURIComponent(box.value)); } catch (error) { /* a file has no address to change */ }
    run(true);
  });
  filters.addEventListener("change", () => run(false));
  const asked = new URLSearchParams(location.search).get("q");
  if (asked) { box.value = asked; run(true); } else box.focus();
})();
