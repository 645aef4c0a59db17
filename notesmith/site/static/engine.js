/* The search itself: reads the small index files and ranks. The same steps as notesmith/vocabulary/expand.py and
   notesmith/search.py; tests compare the two. Works from a page and, for the tests, from Node. */
"use strict";
(function (scope) {
  scope.notesmithFiles = scope.notesmithFiles || {};
  const DIGITS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
  const VALUE = {};
  for (let i = 0; i < 64; i += 1) VALUE[DIGITS[i]] = i;
  const KINDS = ["point", "case", "question", "transcript"];
  const ORDINALS = 8192, CHUNK = 24, CANDIDATES = 40;
  const STOP = new Set(("a about all also am an and any are as at be been but by can do does for from get gets had has have he her him his how i if in into is it its like me more my of on or our out she so some that the their them then there these they this to very was we were what when where which who why will with would you your").split(" "));

  function words(text) {
    const plain = text.replace(/’/g, "'").normalize("NFKD").toLowerCase().replace(/\p{M}/gu, "");
    return (plain.match(/[\p{L}\p{N}]+(?:'[\p{L}\p{N}]+)?/gu) || []).map((w) => w.replace(/'/g, "").slice(0, 40));
  }
  function stem(given) {
    let w = given;
    const plural = w.endsWith("s") && !/(ss|us|is)$/.test(w);
    if (w.length > 4) {
      if (w.length > 6 && w.endsWith("ness") && !w.endsWith("iness")) w = w.slice(0, -4);
      else if (w.endsWith("iness")) w = w.slice(0, -5) + "y";
      else if (w.endsWith("ies")) w = w.slice(0, -3) + "y";
      else if (/(sses|shes|ches|xes)$/.test(w)) w = w.slice(0, -2);
      else if (plural) w = w.slice(0, -1);
    } else if (w.length === 4 && plural) w = w.slice(0, -1);
    for (const ending of ["ing", "ed"]) {
      const head = w.slice(0, -ending.length);
      if (w.endsWith(ending) && head.length >= 3 && /[aeiouy]/.test(head)) {
        w = head;
        const last = w[w.length - 1];
        if (w.length > 3 && last === w[w.length - 2] && !"lsz".includes(last)) w = w.slice(0, -1);
        break;
      }
    }
    if (w.length > 4 && w.endsWith("e")) w = w.slice(0, -1);
    if (w.length > 2 && w.endsWith("y")) w = w.slice(0, -1) + "i";
    return w;
  }
  function coarse(given) {
    let w = given;
    for (const [a, b] of [["ph", "f"], ["ae", "e"], ["oe", "e"], ["ck", "k"], ["qu", "k"], ["x", "ks"]]) w = w.split(a).join(b);
    w = w.replace(/c(?=[eiy])/g, "s").replace(/c/g, "k").replace(/z/g, "s").replace(/y/g, "i").replace(/w/g, "v");
    w = w.slice(0, 1) + w.slice(1).replace(/h/g, "");
    return w.replace(/(.)\1+/g, "$1");
  }
  function distance(a, b, limit) {
    if (Math.abs(a.length - b.length) > limit) return limit + 1;
    let two = [], one = [], row = [];
    for (let j = 0; j <= b.length; j += 1) one[j] = j;
    for (let i = 1; i <= a.length; i += 1) {
      row = [i];
      let least = i;
      for (let j = 1; j <= b.length; j += 1) {
        const cost = a[i - 1] === b[j - 1] ? 0 : 1;
        let best = Math.min(row[j - 1] + 1, one[j] + 1, one[j - 1] + cost);
        if (i > 1 && j > 1 && a[i - 1] === b[j - 2] && a[i - 2] === b[j - 1]) best = Math.min(best, two[j - 2] + 1);
        row[j] = best;
        if (best < least) least = best;
      }
      if (least > limit) return limit + 1;
      two = one; one = row;
    }
    return one[b.length];
  }
  function hash(text) {
    let h = 0x811c9dc5;
    for (let i = 0; i < text.length; i += 1) h = Math.imul(h ^ text.charCodeAt(i), 0x01000193) >>> 0;
    return h;
  }
  function number(text, at) {
    let value = 0, factor = 1, i = at, digit;
    do { digit = VALUE[text[i]]; i += 1; value += (digit & 31) * factor; factor *= 32; } while (digit > 31);
    return [value, i];
  }
  function postings(text) {
    const docs = [], parts = [];
    let at = 0, doc = 0, delta;
    while (at < text.length) {
      [delta, at] = number(text, at);
      doc += delta;
      docs.push(doc);
      parts.push(VALUE[text[at]]);
      at += 1;
    }
    return { docs, parts };
  }
  function labels(text) {
    const found = [];
    let at = 0;
    while (at < text.length) {
      const name = text.slice(at, at + 5), token = text.slice(at + 5, at + 13), weight = VALUE[text[at + 13]] / 10;
      let total;
      [total, at] = number(text, at + 14);
      found.push({ name, token, weight, total: total / 10 });
    }
    return found;
  }

  function Engine(load) {
    const files = scope.notesmithFiles;
    const need = async (names) => {
      const missing = [...new Set(names)].filter((name) => !(name in files));
      await Promise.all(missing.map((name) => load(name).catch(() => { files[name] = null; })));
      return names.map((name) => files[name]);
    };
    let meta = null;
    const shardOf = (term) => "t/" + (hash(term) % meta.shards).toString(16);
    async function entries(terms) {
      const shards = await need(terms.map(shardOf));
      const found = new Map();
      terms.forEach((term, i) => { const e = shards[i] && Object.hasOwn(shards[i], term) ? shards[i][term] : null; if (e) found.set(term, e); });
      return found;
    }
    function concepts(stems, held) {
      const sums = new Map();
      let asked = 0;
      for (const one of new Set(stems)) {
        const entry = held.get(one);
        if (!entry || typeof entry[3] !== "string") continue;
        const idf = entry[2] / 10;
        asked += idf;
        for (const label of labels(entry[3])) {
          const known = sums.get(label.name + label.token) || { label, sum: 0 };
          known.sum += idf;
          sums.set(label.name + label.token, known);
        }
      }
      const best = new Map();
      for (const { label, sum } of sums.values()) {
        const coverage = Math.min(1, sum / label.total);
        if (coverage < 0.65) continue;
        const score = label.weight * coverage * coverage * (sum / asked);
        if (score > (best.get(label.token) || 0.2)) best.set(label.token, score);
      }
      return best;
    }
    let lexicon = null;
    async function nearWords() {
      if (lexicon) return lexicon;
      const [raw] = await need(["words"]);
      const list = [];
      let before = "";
      for (const coded of (raw ? raw[0] : "").split(" ")) {
        if (!coded) continue;
        before = before.slice(0, parseInt(coded[0], 36)) + coded.slice(1);
        list.push(before);
      }
      const names = (raw ? raw[1] : "").split(" ");
      const joined = [];
      for (let i = 0; i + 1 < names.length; i += 2) joined.push([names[i], names[i + 1]]);
      lexicon = { list, coarse: list.map(coarse), joined };
      return lexicon;
    }
    async function near(word) {
      const limit = word.length < 4 ? 0 : word.length < 6 ? 1 : word.length < 10 ? 2 : 3;
      if (!limit) return [];
      const { list, coarse: folded } = await nearWords();
      const target = coarse(word);
      const found = [];
      folded.forEach((other, i) => {
        const d = distance(target, other, limit);
        if (d <= limit) found.push([d, distance(word, list[i], limit + 2), list[i]]);
      });
      found.sort((a, b) => a[0] - b[0] || a[1] - b[1] || (a[2] < b[2] ? -1 : 1));
      return found.filter((f) => f[1] <= limit + 2).slice(0, 3).map(([d, , w]) => [w, 0.9 / (1 + 0.5 * d)]);
    }
    async function nearName(parts) {
      const target = coarse(parts.join(""));
      if (target.length < 6) return null;
      const { joined } = await nearWords();
      let best = null;
      for (const [name, token] of joined) {
        const longest = Math.max(target.length, name.length);
        const limit = Math.floor(longest * 0.26 + 1e-9);
        const d = distance(target, name, limit);
        if (d <= limit && (!best || 1 - d / longest > best[1])) best = [token, 1 - d / longest];
      }
      return best;
    }

    async function expand(query) {
      let typed = words(query).slice(0, 24);
      const telling = typed.filter((w) => !STOP.has(w));
      if (telling.length) typed = telling;
      const stems = new Map(typed.map((w) => [stem(w), 1]));
      const joins = typed.slice(1).map((w, i) => stem(typed[i] + w));
      const held = await entries([...stems.keys(), ...joins]);
      for (const one of joins) if (held.has(one) && !stems.has(one)) stems.set(one, 1);
      const unknown = [];
      typed.forEach((w, i) => { if (w.length > 3 && !held.has(stem(w))) unknown.push(i); });
      const found = concepts([...stems.keys()], held);
      const corrected = [];
      const joinedAt = new Set();
      const raise = (token, score) => { if (score > (found.get(token) || 0)) found.set(token, score); };
      if (unknown.length) {
        for (const size of [4, 3, 2]) {
          for (let start = 0; start + size <= typed.length; start += 1) {
            const window = Array.from({ length: size }, (_, k) => start + k);
            if (window.some((i) => joinedAt.has(i)) || !window.some((i) => unknown.includes(i))) continue;
            const hit = await nearName(window.map((i) => typed[i]));
            if (hit) { raise(hit[0], hit[1]); corrected.push([window.map((i) => typed[i]).join(" "), hit[0]]); window.forEach((i) => joinedAt.add(i)); }
          }
        }
        const kept = typed.filter((_, i) => !unknown.includes(i)).map(stem);
        const variants = [];
        for (const i of unknown) if (!joinedAt.has(i)) variants.push([i, await near(stem(typed[i]))]);
        const all = variants.flatMap(([, list]) => list.map(([w]) => w));
        for (const [term, entry] of await entries(all)) held.set(term, entry);
        const firsts = variants.filter(([, list]) => list.length).map(([, list]) => list[0][0]);
        for (const [i, list] of variants) {
          list.forEach(([one, weight], rank) => {
            stems.set(one, Math.max(stems.get(one) || 0, rank ? weight * 0.6 : weight));
            const others = firsts.filter((w) => w !== list[0][0]);
            for (const [token, score] of concepts([...kept, ...others, one], held)) raise(token, weight * score);
          });
          if (list.length) corrected.push([typed[i], list[0][0]]);
        }
      }
      const best = [...found].sort((a, b) => b[1] - a[1] || (a[0] < b[0] ? -1 : 1)).slice(0, 12);
      for (const [term, entry] of await entries(best.map(([token]) => token))) held.set(term, entry);
      const more = new Map();
      for (const [token, score] of best.slice(0, 3)) {
        const entry = held.get(token);
        if (score < 0.5 || !entry || !entry[4]) continue;
        for (const one of entry[4].split(" ")) more.set(one, Math.max(more.get(one) || 0, 0.4 * score));
      }
      for (const [term, entry] of await entries([...more.keys()])) held.set(term, entry);
      for (const [one, weight] of more) stems.set(one, Math.max(stems.get(one) || 0, weight));
      return { stems, concepts: best, corrected, held };
    }

    async function search(query, filters) {
      const wanted = filters || {};
      [meta] = await need(["meta"]);
      if (!meta) throw new Error("the search index cannot be read");
      const expansion = await expand(query);
      const terms = [...expansion.stems].concat(expansion.concepts.map(([t, s]) => [t, 1.6 * s]));
      let allowed = null;
      for (const token of [wanted.remedy, wanted.chapter]) {
        if (!token) continue;
        const entry = (await entries([token])).get(token);
        const docs = new Set(entry ? postings(entry[1]).docs : []);
        allowed = allowed ? new Set([...docs].filter((d) => allowed.has(d))) : docs;
      }
      const scores = new Map();
      for (const [term, weight] of terms) {
        const entry = expansion.held.get(term);
        if (!entry || !entry[0]) continue;
        const idf = Math.log(1 + (meta.records - entry[0] + 0.5) / (entry[0] + 0.5));
        const { docs, parts } = postings(entry[1]);
        for (let i = 0; i < docs.length; i += 1) {
          const doc = docs[i];
          if (wanted.kind !== undefined && wanted.kind !== "" && (parts[i] & 3) !== Number(wanted.kind)) continue;
          if (wanted.slot !== undefined && wanted.slot !== "" && Math.floor(doc / ORDINALS) !== Number(wanted.slot)) continue;
          if (allowed && !allowed.has(doc)) continue;
          scores.set(doc, (scores.get(doc) || 0) + weight * idf * (parts[i] >> 2) / 7);
        }
      }
      const ranked = [...scores].sort((a, b) => b[1] - a[1] || a[0] - b[0]).slice(0, CANDIDATES);
      const limit = wanted.limit || 10;
      const hits = [];
      const seen = new Set();
      for (let at = 0; at < ranked.length && hits.length < limit; at += limit) {
        for (const hit of await fetchRecords(ranked.slice(at, at + limit))) {
          const place = hit.lecture + "@" + Math.round(hit.start_ms / 1000);
          if (seen.has(place) || hits.length >= limit) continue;
          seen.add(place);
          hits.push(hit);
        }
      }
      const names = expansion.concepts.map(([token]) => expansion.held.get(token)).filter((e) => e && e[0] && typeof e[2] === "string")
        .map((e) => ({ name: e[2], page: e[3] }));
      return { hits, total: scores.size, names, corrected: expansion.corrected.map(([a, b]) => { const e = expansion.held.get(b); return [a, e && b[0] === "." ? e[2] : b]; }), stems: [...expansion.stems].filter(([, weight]) => weight > 0.3).map(([one]) => one) };
    }
    async function fetchRecords(list) {
      const slots = list.map(([doc]) => Math.floor(doc / ORDINALS));
      const heads = await need(slots.map((slot) => "l/" + Math.floor(slot / 64)));
      const places = list.map(([doc, score], i) => {
        const head = heads[i] ? heads[i][slots[i] % 64] : null;
        return { head, slot: slots[i], ordinal: doc % ORDINALS, score };
      }).filter((p) => p.head);
      const chunks = await need(places.map((p) => "r/" + p.head[0] + "/" + Math.floor(p.ordinal / CHUNK)));
      return places.map((p, i) => {
        const row = chunks[i] ? chunks[i][p.ordinal % CHUNK] : null;
        return row && { lecture: p.head[0], title: p.head[1], date: p.head[2], slot: p.slot, kind: KINDS[row[0]], text: row[1],
          start_ms: row[2], anchor: row[3], remedy: row[4], chapters: row[5], score: p.score };
      }).filter(Boolean);
    }
    async function conceptNames(tokens) {
      const held = await entries(tokens);
      return new Map(tokens.filter((t) => held.has(t)).map((t) => [t, held.get(t)[2]]));
    }
    return { search, expand, conceptNames };
  }
  scope.NotesmithEngine = Engine;
  scope.NotesmithEngine.parts = { words, stem, coarse, distance, hash };
})(typeof window === "undefined" ? globalThis : window);
