/* The search itself: reads the small index files and ranks. The same steps as notesmith/vocabulary/expand.py and
   notesmith/search.py; tests compare the two. Works from a page and, for the tests, from Node. */
"use strict";
(function (scope) {
  scope.notesmithFiles = scope.notesmithFiles || {};
  const DIGITS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
  const VALUE = {};
  for (let i = 0; i < 64; i += 1) VALUE[DIGITS[i]] = i;
  const KINDS = ["point", "case", "question", "transcript"];
  const ORDINALS = 8192, CHUNK = 24, TITLES = 16, CANDIDATES = 40, IMPACT = 6.5, RELATIVE_SHARDS = 256, NEWEST = 256, SURE = 0.7;
  const STOP = new Set(("a about all also am an and any are as at be been but by can do does for from get gets had has have he her him his how i if in into is it its like me more my of on or our out she so some that the their them then there these they this to very was we were what when where which who why will with would you your being too up did could should hed hes hows im itll ive shes thats theres theyd theyll theyre theyve weve whats wheres whos youd youll youre youve n nd vs versus because becuase becos bcoz bcz coz cuz cos wich wat wht abt frm wid ur pls plz please").split(" "));

  const SLASHED = { "b/c": "from", "b/l": "both", "c/o": "with", "d/t": "from", "f/u": "follow", "h/o": "history", "n/v": "nausea vomiting", "s/p": "after", "w/": "with", "w/o": "without" };
  function words(text) {
    const plain = text.replace(/’/g, "'").normalize("NFKD").toLowerCase().replace(/\p{M}/gu, "").replace(/</g, " worse ").replace(/>/g, " better ")
      .replace(/(?<=\d)\s*([ap])\.?\s?m\b\.?/g, (_, half) => (half === "a" ? " morning" : " afternoon"))
      .replace(/(?<![a-z0-9])(?:[a-z]\/[a-z](?![a-z0-9])|w\/)/g, (short) => " " + (SLASHED[short] || short) + " ");
    return (plain.match(/[\p{L}\p{N}]+(?:'[\p{L}\p{N}]+)?/gu) || []).map((w) => w.replace(/'/g, "").slice(0, 40));
  }
  const IRREGULAR = Object.fromEntries(("aches:ache ate:eat eaten:eat began:begin begun:begin best:better bitten:bite bled:bleed bought:buy breathless:breath broke:break broken:break brought:bring caught:catch children:child chosen:choose died:die drank:drink drawn:draw drew:draw driven:drive drove:drive drunk:drink dying:die evening:eve evenings:eve fallen:fall fed:feed feet:foot fell:fall felt:feel flew:fly forgot:forget forgotten:forget fought:fight frozen:freeze gave:give given:give goes:go going:go gone:go grew:grow grown:grow heard:hear held:hold hid:hide hidden:hide kept:keep knew:know known:know lain:lie lay:lie laying:lie leapt:leap lied:lie lost:lose lying:lie made:make men:man met:meet mice:mouse oxen:ox paid:pay ran:run rang:ring risen:rise said:say sank:sink sat:sit seen:see sent:send shaken:shake shone:shine shook:shake shrank:shrink shrunk:shrink slept:sleep sold:sell sought:seek spat:spit spent:spend spoke:speak spoken:speak sprang:spring stole:steal stolen:steal stood:stand struck:strike stuck:stick stung:sting sung:sing sunken:sink swam:swim swept:sweep swollen:swell swore:swear sworn:swear swum:swim taken:take taught:teach teeth:tooth thought:think threw:throw thrown:throw tied:tie told:tell took:take tying:tie understood:understand went:go wept:weep woke:wake woken:wake women:woman wore:wear worn:wear worst:worse wrote:write written:write one:1 two:2 three:3 four:4 five:5 six:6 seven:7 eight:8 nine:9 ten:10 eleven:11 twelve:12 fifteen:15 twenty:20 thirty:30 forty:40 fifty:50 sixty:60 seventy:70 eighty:80 ninety:90 arent:not cannot:not cant:not couldnt:not didnt:not doesnt:not dont:not hadnt:not hasnt:not havent:not isnt:not mustnt:not neednt:not shouldnt:not wasnt:not werent:not wont:not wouldnt:not").split(" ").map((pair) => pair.split(":")));
  function stem(given) {
    let w = Object.hasOwn(IRREGULAR, given) ? IRREGULAR[given] : given;
    const plural = w.endsWith("s") && !/(ss|us|is)$/.test(w);
    if (w.length > 4) {
      if (w.length > 6 && w.endsWith("ness") && !w.endsWith("iness")) w = w.slice(0, -4);
      else if (w.endsWith("iness")) w = w.slice(0, -5) + "y";
      else if (w.endsWith("ies")) w = w.slice(0, -3) + "y";
      else if (/(sses|shes|ches|xes)$/.test(w)) w = w.slice(0, -2);
      else if (plural) w = w.slice(0, -1);
    } else if (w.length === 4 && plural) w = w.slice(0, -1);
    for (const ending of ["ing", "ed"]) {
      if (w.endsWith("eed")) break;
      const head = w.slice(0, -ending.length);
      if (w.endsWith(ending) && head.length >= 3 && /[aeiouy]/.test(head)) {
        w = head;
        const last = w[w.length - 1];
        if (w.length > 3 && last === w[w.length - 2] && !"lsz".includes(last)) w = w.slice(0, -1);
        else if (/^(?:[^aeiou][aeiouy][^aeiouwxy]|ach)$/.test(w)) w += "e";
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
  const SPELLINGS = [["tch", "k"], ["dge", "k"], ["ght", "t"], ["gh", ""], ["ph", "f"], ["sch", "sk"], ["ch", "k"], ["ck", "k"], ["sh", "s"],
    ["th", "t"], ["x", "ks"], ["qu", "kv"]];
  const VOICELESS = { g: "k", j: "k", b: "p", d: "t", v: "f", w: "f", z: "s", c: "k", q: "k" };
  function soundCode(list) {
    const joined = list.map((given) => {
      let w = given.replace(/^(?:ps|pn|kn|wr|gn)/, (m) => m[1]).replace(/^x/, "s").replace(/mb$/, "m");
      for (const [a, b] of SPELLINGS) w = w.split(a).join(b);
      w = w.replace(/sc(?=[eiy])/g, "s").replace(/c(?=[eiy])/g, "s");
      return w.replace(/[gjbdvwzcq]/g, (c) => VOICELESS[c]);
    }).join("").replace(/h/g, "").replace(/[aeiouy]+/g, "a").replace(/(.)\1+/g, "$1");
    return joined.length > 2 && joined.endsWith("a") ? joined.slice(0, -1) : joined;
  }
  function alike(a, b, least) {
    const longest = Math.max(a.length, b.length);
    const limit = Math.floor(longest * (1 - least) + 1e-9);
    const d = distance(a, b, limit);
    return d > limit ? 0 : 1 - d / longest;
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
      if (text[at] === " ") { doc = 0; at += 1; }  // another list
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
      const name = text.slice(at, at + 5), token = text.slice(at + 5, at + 13), kind = VALUE[text[at + 13]];
      let total;
      [total, at] = number(text, at + 14);
      found.push({ name, token, weight: (kind % 20) / 10, remedy: kind >= 20, total: total / 10 });
    }
    return found;
  }

  /* A stem's weight among the wordings of the table of meanings, and its places there. */
  function said(text) {
    const found = [];
    let [own, at] = number(text, 0), place = 0, step, worth, total;
    while (at < text.length) {
      [step, at] = number(text, at);
      [worth, at] = number(text, at);
      [total, at] = number(text, at);
      place += step;
      found.push([place, worth, total]);
    }
    return [own, found];
  }

  function Engine(load) {
    const files = scope.notesmithFiles;
    const need = async (names) => {
      const missing = [...new Set(names)].filter((name) => !(name in files));
      await Promise.all(missing.map((name) => load(name).catch(() => { files[name] = null; })));
      return names.map((name) => files[name]);
    };
    let meta = null, W = null;  // what the course is, and the weights of the search, which the course store ranks by too
    /* What is known of a term, with its postings in all lectures but the newest ("t/") and in those ("n/"). */
    async function entries(terms) {
      const files = await need(terms.flatMap((term) => [["t/", meta.shards], ["n/", NEWEST]].map(([folder, count]) => folder + (hash(term) % count).toString(16))));
      const found = new Map();
      terms.forEach((term, i) => {
        const [old, fresh] = [files[2 * i], files[2 * i + 1]].map((file) => (file && Object.hasOwn(file, term) ? file[term] : null));
        if (old && fresh) found.set(term, [old[0] + fresh[0], old[1] && fresh[1] ? old[1] + " " + fresh[1] : old[1] + fresh[1], ...old.slice(2)]);
        else if (old || fresh) found.set(term, old || fresh);
      });
      return found;
    }
    function concepts(groups, held) {
      const sums = new Map();
      let asked = 0;
      groups.forEach((group, at) => {
        let most = 0;
        for (const [one, weight] of group) {
          const entry = held.get(one);
          if (!entry || typeof entry[3] !== "string") continue;
          const idf = entry[2] / 10;
          most = Math.max(most, idf * weight);
          for (const label of labels(entry[3])) {
            const key = label.name + label.token;
            let known = sums.get(key);
            if (!known) { known = { label, mine: new Map() }; sums.set(key, known); }
            const before = known.mine.get(one);
            if (!before || weight > before[0]) known.mine.set(one, [weight, at, idf]);
          }
        }
        asked += most;
      });
      const best = new Map();
      for (const { label, mine } of sums.values()) {
        let sum = 0;
        for (const [weight, , idf] of mine.values()) sum += weight * idf;
        const coverage = Math.min(1, sum / label.total);
        if (coverage < W.LEAST_COVERAGE - 0.005) continue;
        const score = label.weight * coverage * coverage * Math.min(1, sum / asked) ** (label.remedy ? W.REMEDY_SHARE : W.QUERY_SHARE);
        const known = best.get(label.token);
        if (score > (known ? known[0] : W.LEAST_SCORE)) best.set(label.token, [score, [...new Set([...mine.values()].map((m) => m[1]))]]);
      }
      return new Map([...best].sort((a, b) => b[1][0] - a[1][0] || (a[0] < b[0] ? -1 : 1)).slice(0, W.MOST_CONCEPTS));
    }
    /* The meanings of which the typed words hold a wording, or most of one, best first. A place numbers line, wording and word. */
    function meantBy(groups, held) {
      const wordings = new Map();
      let asked = 0;
      groups.forEach((group, at) => {
        let most = 0;
        for (const [one, weight] of group) {
          const entry = held.get(one);
          if (!entry || typeof entry[4] !== "string") continue;
          const [own, places] = said(entry[4]);
          most = Math.max(most, own * weight);
          for (const [place, worth, total] of places) {
            const key = Math.floor(place / W.MOST_OF_A_WORDING), word = place % W.MOST_OF_A_WORDING;
            let known = wordings.get(key);
            if (!known) { known = { total, mine: new Map() }; wordings.set(key, known); }
            const before = known.mine.get(word);
            if (!before || weight * worth > before[0]) known.mine.set(word, [weight * worth, at]);
          }
        }
        asked += most;
      });
      const best = new Map();
      for (const [key, { total, mine }] of wordings) {
        let holds = 0;
        for (const [value] of mine.values()) holds += value;
        if (holds < W.MEANING_TYPED * total) continue;
        const score = holds / total * Math.min(1, holds / asked) ** W.MEANING_SHARE, line = Math.floor(key / W.MOST_OF_A_LINE), known = best.get(line);
        if (score > (known ? known[0] : W.MEANING_SCORE)) best.set(line, [score, [...new Set([...mine.values()].map((m) => m[1]))].sort((a, b) => a - b)]);
      }
      return [...best].sort((a, b) => b[1][0] - a[1][0] || a[0] - b[0]).slice(0, W.MOST_MEANINGS).map(([line, [score, support]]) => ["." + line, score, support]);
    }
    let lexicon = null;
    async function nearWords() {
      if (lexicon) return lexicon;
      const [raw] = await need(["words"]);
      const list = [];
      let before = "";
      for (const coded of (raw || "").split(" ")) {
        if (!coded) continue;
        before = before.slice(0, parseInt(coded[0], 36)) + coded.slice(1);
        list.push(before);
      }
      lexicon = { list, coarse: list.map(coarse) };
      return lexicon;
    }
    let names = null;
    async function nameLike(list) {
      const joined = coarse(list.join("")), code = soundCode(list);
      if (joined.length < 5 || code.length < 4) return null;
      if (!names) {
        const [raw] = await need(["names"]);
        const parts = (raw || "").split(" ");
        names = new Map();
        for (let i = 0; i + 2 < parts.length; i += 3) {
          const first = parts[i + 1][0];
          if (!names.has(first)) names.set(first, []);
          names.get(first).push([parts[i], parts[i + 1], parts[i + 2]]);
        }
      }
      let best = null;
      for (const [name, other, token] of names.get(code[0]) || []) {
        const bySound = alike(code, other, W.LEAST_BY_SOUND);
        if (!bySound) continue;
        const likeness = (bySound + alike(joined, name, 0)) / 2;
        if (likeness >= W.SOUNDS_LIKE_UNKNOWN && (!best || likeness > best[1])) best = [token, likeness];
      }
      return best;
    }
    async function near(word) {
      const limit = word.length < 4 ? 0 : word.length < 6 ? 1 : word.length < 10 ? 2 : 3;
      const { list, coarse: folded } = await nearWords();
      const target = coarse(word);
      const found = [];
      folded.forEach((other, i) => {
        const d = distance(target, other, limit);
        if (d > limit) return;
        const letters = distance(word, list[i], limit + 2);
        const likeness = 1 - d / Math.max(target.length, other.length);
        const alike = Math.max(likeness, 1 - letters / Math.max(word.length, list[i].length));
        if (letters > limit + 2 || alike < W.LEAST_ALIKE) return;
        found.push({ one: stem(list[i]), cost: Math.min(d, letters) + 0.3 * letters + (target[0] === other[0] ? 0 : W.OTHER_INITIAL), likeness });
      });
      found.sort((a, b) => a.cost - b.cost || (a.one < b.one ? -1 : a.one > b.one ? 1 : 0));
      const best = new Map();
      for (const item of found) if (best.size < W.NEAREST && !best.has(item.one)) best.set(item.one, item);
      const counts = await entries([...best.keys()]);
      const rank = (item) => { const e = counts.get(item.one); return item.cost - W.COMMONER * Math.log(1 + (e ? e[0] : 0)); };
      return [...best.values()].sort((a, b) => rank(a) - rank(b) || (a.one < b.one ? -1 : 1)).slice(0, W.MOST_NEAR)
        .map(({ one, cost, likeness }) => [one, 0.95 / (1 + 0.2 * cost), likeness]);
    }
    /* Two words in use that a word nobody uses is made of. */
    async function parts(word) {
      const { list } = await nearWords();
      const known = new Set(list);
      for (let at = word.length - 3; at > 2; at -= 1) {
        const both = [word.slice(0, at), word.slice(at)];
        if (both.some((one) => STOP.has(one)) || !both.every((one) => known.has(one) || known.has(stem(one)))) continue;
        const used = await entries(both.map(stem));
        if (both.every((one) => (used.get(stem(one)) || [0])[0])) return both;
      }
      return null;
    }
    /* Learned terms by their first word, the longest first: the other words of each, and its plain wordings. */
    const learned = new Map();
    const wording = (text) => text.split(" ").map((choices) => choices.split("/").filter(Boolean));
    async function related(list) {
      const found = await need(list.map((one) => "e/" + (hash(one) % RELATIVE_SHARDS).toString(16)));
      return list.map((one, i) => {
        if (!found[i] || !Object.hasOwn(found[i], one)) return null;
        const [row, terms] = found[i][one].split("\t");
        if (terms) learned.set(one, terms.split(";").map((term) => term.split(">")).map(([rest, plain]) => [rest.split(" ").filter(Boolean), plain.split("|").map(wording)]));
        return row.split(" ").filter(Boolean).map((x) => [x.slice(0, x.lastIndexOf(":")), Number(x.slice(x.lastIndexOf(":") + 1)) / 100]);
      });
    }
    function learnedIn(said, typed) {
      const found = [], stems = said.map(stem), place = places(said, typed);
      for (let at = 0; at < stems.length; at += 1) {
        const term = (learned.get(stems[at]) || []).find(([rest]) => rest.every((one, i) => stems[at + 1 + i] === one));
        if (!term) continue;
        const size = term[0].length + 1, groups = place.slice(at, at + size).filter((one) => one >= 0);
        for (const words of term[1]) found.push({ groups, words, weight: W.LEARNED_WEIGHT });
        at += size - 1;
      }
      return found;
    }
    /* The plain words for the parts a learned word is made of. */
    async function madeOf(word) {
      const [table] = await need(["parts"]);
      const rest = (at, parts) => {
        if (parts && Object.hasOwn(table.last, word.slice(at))) return [table.last[word.slice(at)]];
        for (let end = word.length - 2; end > at + 1; end -= 1) {
          if (!Object.hasOwn(table.first, word.slice(at, end))) continue;
          for (const link of [0, 1]) {
            const more = !link || "oaiey".includes(word[end]) ? rest(end + link, parts + 1) : null;
            if (more) return [table.first[word.slice(at, end)], ...more];
          }
        }
        return null;
      };
      const found = table && word.length > 5 && rest(0, 0);
      return found ? found.map((choices) => choices.split("/")) : null;
    }
    /* The first wordings, until too many words would have to be looked up. */
    function bounded(wordings) {
      let stems = new Set();
      return wordings.filter(({ words }) => {
        const more = new Set([...stems, ...words.flat()]);
        if (more.size > W.WORDING_STEMS) return false;
        stems = more;
        return true;
      });
    }
    const labelled = (entry) => Boolean(entry) && typeof entry[3] === "string";
    const together = (w) => "=" + w;
    /* "am-s" and "chin-a" are told from the small words in them by the hyphen. */
    async function hyphenedIn(query) {
      const whole = (one) => one.replaceAll("-", "");
      const found = (query.match(/[a-z]+(?:-[a-z]+)+/g) || []).filter((one) => one.split("-").some((part) => STOP.has(part)));
      const known = found.length ? await entries(found.map(whole).map(together)) : null;
      return new Map(found.filter((one) => labelled(known.get(together(whole(one))))).map((one) => [one, whole(one)]));
    }
    async function expand(query) {
      const hyphened = await hyphenedIn(query.toLowerCase()), joinedParts = new Set(hyphened.values());
      let said = words([...hyphened].reduce((text, [one, joined]) => text.replaceAll(one, joined), query.toLowerCase())).slice(0, 24);
      const joined = (list) => list.slice(1).map((w, i) => stem(list[i] + w));
      const telling = (list) => { const kept = list.filter((w) => !STOP.has(w)); return kept.length ? kept : list; };
      const given = telling(said).map(stem);
      const [held, relatives] = await Promise.all([
        entries([...new Set([...given, ...joined(telling(said))])]), related(given).then((lists) => new Map(given.map((one, i) => [one, lists[i]])))]);
      // A word that stands in the table of meanings alone is known from no text and no label.
      const leads = (one) => { const e = held.get(one); return Boolean(e) && Boolean(e[0] || labelled(e)); };
      const known = (w) => w.length < 3 || STOP.has(w) || leads(stem(w)) || relatives.get(stem(w)) !== null;
      const split = [];
      for (const w of said) split.push(...((!known(w) && await parts(w)) || [w]));
      if (split.length !== said.length) {
        said = split;
        const more = telling(said).map(stem).filter((one) => !relatives.has(one));
        for (const [term, entry] of await entries([...more, ...joined(telling(said))])) held.set(term, entry);
        (await related(more)).forEach((list, i) => relatives.set(more[i], list));
      }
      const typed = telling(said), stems = typed.map(stem), joins = joined(typed);
      const groups = stems.map((one) => new Map([[one, 1]]));
      joins.forEach((one, i) => { if (leads(one)) for (const g of [groups[i], groups[i + 1]]) if (!g.has(one)) g.set(one, 1); });
      const add = (at, list) => { for (const [one, weight] of list) if (!groups[at].has(one)) groups[at].set(one, weight); };
      const few = Math.max(2, Math.floor(W.RELATIVES_IN_ALL / (typed.length || 1)));
      // Most for the words that few texts hold.
      const standing = stems.flatMap((one, at) => {
        const needed = 1 / (1 + W.COMMON_NEEDS_LESS * Math.log1p((held.get(one) || [0])[0] || 0));
        return (relatives.get(one) || []).map(([other, weight], rank) => [weight * needed * W.LATER_RELATIVE ** rank, at, other, weight]);
      });
      standing.sort((a, b) => b[0] - a[0] || a[1] - b[1]);
      for (const [, at, other, weight] of standing.slice(0, W.RELATIVES_IN_ALL)) add(at, [[other, weight]]);
      for (const [at, one] of phrases(said, typed)) add(at, [[one, W.LAY_WEIGHT]]);
      const unknown = new Set();
      const made = new Map();
      for (const [i, w] of typed.entries()) {
        if ((held.get(stems[i]) || [0])[0] || learned.has(stems[i])) continue;
        const words = await madeOf(w);
        if (words) made.set(i, words);
      }
      typed.forEach((w, i) => { if (!known(w) && !made.has(i)) unknown.add(i); });
      // Abbreviations run together; a plural "s" may be the last part of one ("mags").
      const short = typed.map((w, i) => (joinedParts.has(w) || (w.length <= W.SHORT && (unknown.has(i) || w.endsWith("s"))) ? together(w) : ""));
      const abbreviations = await entries([...new Set(short)].filter(Boolean));
      short.forEach((one, i) => { if (labelled(abbreviations.get(one))) { held.set(one, abbreviations.get(one)); groups[i].set(one, 1); unknown.delete(i); } });
      const corrected = [], found = new Map(), heard = new Set(), spelt = new Map();
      for (const at of unknown) spelt.set(at, await near(typed[at]));
      for (const [window, token, likeness] of await namesBySound(said, typed, unknown)) {
        // An ordinary word that is nearer than the name is what was meant.
        if (window.some((i) => spelt.has(i) && spelt.get(i).length && spelt.get(i)[0][2] > likeness)) continue;
        found.set(token, [likeness, window]);
        corrected.push([window.map((i) => typed[i]).join(" "), token]);
        window.forEach((i) => heard.add(i));
      }
      for (const at of unknown) {
        const list = spelt.get(at);
        if (heard.has(at) || !list.length) continue;
        const [best, sure] = list[0];
        const [kin] = await related([best]);
        add(at, [[best, sure], ...(kin || []).slice(0, few).map(([one, weight]) => [one, weight * sure]), ...list.slice(1).map(([one, weight]) => [one, weight * 0.6])]);
        corrected.push([typed[at], best]);
      }
      const missing = groups.flatMap((g) => [...g.keys()]).filter((one) => !held.has(one));
      for (const [term, entry] of await entries([...new Set(missing)])) held.set(term, entry);
      for (const [token, match] of concepts(groups, held)) if (match[0] > (found.get(token) || [0])[0]) found.set(token, match);
      const best = [...found].sort((a, b) => b[1][0] - a[1][0] || (a[0] < b[0] ? -1 : 1)).slice(0, W.MOST_CONCEPTS);
      for (const [term, entry] of await entries(best.map(([token]) => token))) held.set(term, entry);
      const more = new Map();
      for (const [token, [score]] of best.slice(0, W.SYNONYM_CONCEPTS)) {
        const entry = held.get(token);
        if (score < W.SYNONYMS_FROM_SCORE || !entry || !entry[4]) continue;
        for (const one of entry[4].split(" ")) more.set(one, Math.max(more.get(one) || 0, W.SYNONYM_WEIGHT * score));
      }
      for (const group of groups) for (const one of group.keys()) more.delete(one);
      const wordings = learnedIn(said, typed);
      for (const [token, [score, support]] of best.slice(0, W.WORDING_CONCEPTS)) {
        const entry = held.get(token);
        if (score < W.SYNONYMS_FROM_SCORE || !entry || !entry[5]) continue;
        for (const text of entry[5].split("|")) wordings.push({ groups: support, words: wording(text), weight: W.WORDING_WEIGHT * score });
      }
      for (const [i, words] of made) wordings.push({ groups: [i], words, weight: W.PARTS_WEIGHT });
      const otherwise = bounded(wordings), meant = meantBy(groups, held);
      for (const [term, entry] of await entries([...new Set([...more.keys(), ...meant.map(([token]) => token), ...otherwise.flatMap(({ words }) => words.flat())])])) held.set(term, entry);
      return { groups, concepts: best.map(([token, [score, support]]) => [token, score, support]), synonyms: [...more], wordings: otherwise, meant, corrected, held };
    }
    /* The place of each word among the kept ones; -1 for those left out. */
    function places(said, kept) {
      let next = 0;
      return said.map((word) => (kept[next] === word ? next++ : -1));
    }
    /* For each phrase of everyday words, the place among the kept words and a word that may stand for it. */
    function phrases(said, kept) {
      const found = [], stems = said.map(stem), place = places(said, kept);
      for (let start = 0; start < said.length; start += 1) {
        for (const size of [2, 3, 4]) {
          const phrase = stems.slice(start, start + size).join(" ");
          if (start + size > said.length || !Object.hasOwn(meta.phrases, phrase)) continue;
          for (const one of meta.phrases[phrase].split(" ")) {
            for (let i = start; i < start + size; i += 1) if (place[i] >= 0) found.push([place[i], one]);
          }
        }
      }
      return found;
    }
    /* Small words count, since a name is heard as some; a run of words is told by its other words' places. */
    async function namesBySound(said, typed, unknown) {
      const found = [], place = places(said, typed);
      for (let size = 1; size <= Math.min(W.MOST_NAME_WORDS, said.length); size += 1) {
        for (let start = 0; start + size <= said.length; start += 1) {
          const window = place.slice(start, start + size).filter((i) => i >= 0), words = said.slice(start, start + size);
          const doubtful = window.some((i) => unknown.has(i));
          if (!window.length || (size === 1 && !doubtful)) continue;
          const hit = await nameLike(words);
          if (!hit) continue;
          const denied = words.some((one) => Object.hasOwn(IRREGULAR, one) && IRREGULAR[one] === "not");
          const least = Math.max(denied ? W.SOUNDS_LIKE_DENIED : 0, W.SOUNDS_LIKE_KNOWN + W.SOUND_MISSING * Math.max(0, W.SOUND_WHOLE - soundCode(words).length));
          if (doubtful || hit[1] >= least) {
            found.push({ start, size, window, token: hit[0], likeness: doubtful ? hit[1] : Math.min(hit[1], W.MOST_BY_SOUND) });
          }
        }
      }
      found.sort((a, b) => b.likeness - a.likeness || a.size - b.size || a.start - b.start);
      const taken = new Set(), kept = [];
      for (const { window, token, likeness } of found) {
        if (window.some((i) => taken.has(i))) continue;
        window.forEach((i) => taken.add(i));
        kept.push([window, token, likeness]);
      }
      return kept;
    }

    async function search(query, filters) {
      const wanted = filters || {};
      [meta] = await need(["meta"]);
      if (!meta) throw new Error("the search index cannot be read");
      W = meta.weights;
      const expansion = await expand(query);
      let allowed = null;
      for (const token of [wanted.remedy, wanted.chapter]) {
        if (!token) continue;
        const entry = (await entries([token])).get(token);
        const docs = new Set(entry ? postings(entry[1]).docs : []);
        allowed = allowed ? new Set([...docs].filter((d) => allowed.has(d))) : docs;
      }
      const scores = score(expansion, (doc, part) => !((wanted.kind !== undefined && wanted.kind !== "" && (part & 3) !== Number(wanted.kind))
        || (wanted.slot !== undefined && wanted.slot !== "" && Math.floor(doc / ORDINALS) !== Number(wanted.slot)) || (allowed && !allowed.has(doc))));
      const ranked = [...scores].sort((a, b) => b[1] - a[1] || a[0] - b[0]).slice(0, CANDIDATES);
      const limit = wanted.limit || 10;
      const hits = [];
      const seen = new Set();
      for (let at = 0; at < ranked.length && hits.length < limit; at += limit) {
        const fetched = await fetchRecords(ranked.slice(at, at + limit));
        await Promise.all(fetched.map((hit) => hit.kind === "case" && placeInCase(hit, scores)));
        for (const hit of fetched) {
          const place = hit.lecture + "@" + Math.round(hit.start_ms / 1000) + (hit.anchor === hit.record && hit.kind === "case" ? "case" : "");
          if (seen.has(place) || hits.length >= limit) continue;
          seen.add(place);
          hits.push(hit);
        }
      }
      const names = expansion.concepts.map(([token]) => expansion.held.get(token)).filter((e) => e && e[0] && typeof e[2] === "string")
        .map((e) => ({ name: e[2], page: e[3] }));
      const stands = expansion.groups.flatMap((g) => [...g]).concat(expansion.synonyms);
      return { hits, total: scores.size, names, corrected: expansion.corrected.map(([a, b]) => { const e = expansion.held.get(b); return [a, e && b[0] === "." ? e[2] : b]; }),
        stems: stands.filter(([, weight]) => weight >= SURE).map(([one]) => one).concat(names.filter(({ page }) => page.startsWith("remedies/")).flatMap(({ name }) => words(name).map(stem))),
        faint: stands.filter(([, weight]) => weight > 0.3).map(([one]) => one), wordings: expansion.wordings.map((one) => one.words) };
    }
    /* A typed word counts once, by the best of what may stand for it, in the record or, at less, beside it; a record that answers more of the query is worth more than the sum says. */
    function score(expansion, keep) {
      const { held } = expansion;
      const idf = (term) => { const e = held.get(term); return e && e[0] ? Math.log(1 + (meta.records - e[0] + 0.5) / (e[0] + 0.5)) : 0; };
      const found = new Map(), kinds = new Map();
      const at = (doc) => {
        let one = found.get(doc);
        if (!one) { one = { sum: 0, concepts: [], parts: new Float64Array(size), answered: new Float64Array(size) }; found.set(doc, one); }
        return one;
      };
      const size = expansion.groups.length;
      const each = (term, use, of = at) => {
        const { docs, parts } = postings(held.get(term)[1]);
        for (let i = 0; i < docs.length; i += 1) {
          if (!keep(docs[i], parts[i])) continue;
          kinds.set(docs[i], parts[i] & 3);
          use(of(docs[i], parts[i] >> 2), (parts[i] >> 2) / IMPACT / W.KIND_WEIGHT[KINDS[parts[i] & 3]]);
        }
      };
      const asks = expansion.groups.map((group, g) => {
        const first = idf(group.keys().next().value);
        const terms = [...group].filter(([one]) => idf(one)).map(([one, weight]) => [one, weight * (first ? Math.min(first, idf(one)) : idf(one))]);
        const ask = terms.length ? Math.max(...terms.map(([, weight]) => weight)) : W.UNKNOWN_WORD;
        for (const [one, weight] of terms) each(one, (doc, part) => {
          doc.parts[g] = Math.max(doc.parts[g], weight * part);
          if (ask) doc.answered[g] = Math.max(doc.answered[g], weight / ask);
        });
        return ask;
      });
      for (const { groups, words, weight } of expansion.wordings) {
        const said = words.map((choices) => choices.filter(idf));
        const worth = said.map((choices) => Math.log(1 + meta.records / (1 + choices.reduce((n, one) => n + held.get(one)[0], 0))));
        const whole = worth.reduce((a, b) => a + b, 0);
        if (said.reduce((sum, choices, w) => sum + (choices.length ? worth[w] : 0), 0) < W.LEAST_SAID * whole) continue;
        const shares = new Map();
        said.forEach((choices, w) => {
          const best = new Map();
          for (const one of choices) each(one, (doc, part) => { if (part > (best.get(doc) || 0)) best.set(doc, part); }, (doc) => doc);
          for (const [doc, part] of best) {
            const [share, sum] = shares.get(doc) || [0, 0];
            shares.set(doc, [share + worth[w] / whole, sum + part * worth[w] / whole]);
          }
        });
        for (const [doc, [share, sum]] of shares) {
          if (share < W.LEAST_SAID) continue;
          const value = weight * share * share, one = at(doc);
          for (const g of groups) {
            one.parts[g] = Math.max(one.parts[g], value * asks[g] * sum / share);
            one.answered[g] = Math.max(one.answered[g], value);
          }
        }
      }
      // What is said by other wordings of the same meaning; of a meaning its part is how much of a wording stands there, in steps.
      const added = new Map();
      for (const [token, score, support] of expansion.meant) {
        if (!idf(token)) continue;
        each(token, ([doc, steps]) => {
          const one = at(doc), value = W.MEANING_WEIGHT * score * (steps / W.MEANING_STEPS) ** W.MEANING_POWER;
          if (!added.has(doc)) added.set(doc, new Set());
          for (const g of support) {
            const worth = value * asks[g] * W.MEANING_WORTH;
            one.parts[g] = Math.max(one.parts[g], worth);
            one.answered[g] = Math.max(one.answered[g], value);
            if (!added.get(doc).has(g)) one.sum += W.MEANING_PLUS * worth;
            added.get(doc).add(g);
          }
        }, (doc, steps) => [doc, steps]);
      }
      for (const [one, weight] of expansion.synonyms) if (idf(one)) each(one, (doc, part) => { doc.sum += weight * idf(one) * part; });
      expansion.concepts.forEach(([token, sure], c) => {
        if (!idf(token)) return;
        const weight = W.CONCEPT_WEIGHT * sure * idf(token);
        each(token, (doc, part) => { doc.concepts.push([c, weight * part, part]); });
      });
      const named = remediesNamed(expansion);
      const asked = asks.reduce((a, b) => a + b, 0) || 1;
      const scores = new Map();
      for (const [doc, one] of found) {
        const parts = Float64Array.from(one.parts), answered = Float64Array.from(one.answered), near = new Map(one.concepts.map((known) => [known[0], known]));
        // What the records beside it hold counts at a part of its worth; records are numbered in the order of time.
        for (let beside = doc - W.NEAR_ROWS; beside <= doc + W.NEAR_ROWS; beside += 1) {
          const other = beside === doc || Math.floor(beside / ORDINALS) !== Math.floor(doc / ORDINALS) ? null : found.get(beside);
          if (!other) continue;
          for (let g = 0; g < size; g += 1) {
            parts[g] = Math.max(parts[g], W.NEAR_PART * other.parts[g]);
            answered[g] = Math.max(answered[g], W.NEAR_PART * other.answered[g]);
          }
          for (const [c, worth, part] of other.concepts) {
            if (W.NEAR_PART * worth > (near.get(c) || [c, 0])[1]) near.set(c, [c, W.NEAR_PART * worth, W.NEAR_PART * part]);
          }
        }
        let total = one.sum, covered = 0;
        const taken = new Set();
        // Concepts found by the same typed words are one answer; those found by others add to it.
        for (const [c, worth, part] of [...near.values()].sort((a, b) => b[1] - a[1] || a[0] - b[0])) {
          const [, sure, support] = expansion.concepts[c];
          total += worth * (support.some((g) => taken.has(g)) ? W.OTHER_CONCEPTS : 1);
          for (const g of support) { taken.add(g); answered[g] = Math.max(answered[g], sure * Math.min(1, part / W.IMPLIED_PART)); }
        }
        for (let g = 0; g < size; g += 1) { total += parts[g]; covered += answered[g] * asks[g]; }
        const missing = named.map((remedy) => (one.concepts.some(([c]) => remedy.includes(c)) ? 0 : remedy.some((c) => near.has(c)) ? 1 - W.NEAR_PART : 1));
        const others = missing.reduce((a, b) => a + b, 0) / (named.length || 1);
        const kind = KINDS[kinds.get(doc)];
        const part = W.KIND_WEIGHT[kind] * (kind === "question" ? W.QUESTION_PART : 1) * W.OTHER_REMEDY_PART ** others
          * (1 - W.LATER_PART * Math.min(1, (doc % ORDINALS) / W.LATE_ROWS));
        scores.set(doc, total * (1 - W.COVERAGE_PART + W.COVERAGE_PART * covered / asked) ** W.COVERAGE_POWER * part);
      }
      return inCompany(scores);
    }
    /* The scores with what the best place elsewhere in a record's session adds. */
    function inCompany(scores) {
      const best = new Map();
      let most = 0;
      for (const [doc, value] of scores) {
        const slot = Math.floor(doc / ORDINALS);
        if (!best.has(slot)) best.set(slot, []);
        best.get(slot).push([value, doc]);
        if (value > most) most = value;
      }
      for (const held of best.values()) held.sort((a, b) => b[0] - a[0]);
      return new Map([...scores].map(([doc, value]) => {
        const other = best.get(Math.floor(doc / ORDINALS)).find(([, at]) => Math.abs(at - doc) > W.NEAR_ROWS);
        return [doc, value * (1 + W.SESSION_PART * (other ? other[0] : 0) / (most || 1))];
      }));
    }
    /* The remedies the query names, by the numbers of the concepts that each may be. */
    function remediesNamed({ concepts, held }) {
      const found = [];
      concepts.forEach(([token, score, support], c) => {
        const entry = held.get(token);
        if (score < W.NAMED_FROM || !entry || !entry[0] || !String(entry[3]).startsWith("remedies/")) return;
        const same = found.find((one) => support.some((g) => one.support.includes(g)));
        if (!same) found.push({ support, score, numbers: [c] });
        else if (score >= W.NAMED_AS_WELL * same.score) same.numbers.push(c);
      });
      return found.map(({ numbers }) => numbers);
    }
    /* A hit on a case leads to the moment of its story that answers best, where one answers enough. */
    async function placeInCase(hit, scores) {
      const inside = [];
      for (let doc = hit.doc + 1; doc <= hit.doc + hit.inside; doc += 1) {
        if (scores.get(doc) >= W.INSIDE_CASE * hit.score) inside.push([doc, scores.get(doc)]);
      }
      inside.sort((a, b) => b[1] - a[1] || a[0] - b[0]);
      const best = (await fetchRecords(inside.slice(0, 2))).find((one) => one.kind !== "case");
      if (best) Object.assign(hit, { start_ms: best.start_ms, anchor: best.anchor });
    }
    async function fetchRecords(list) {
      const slots = list.map(([doc]) => Math.floor(doc / ORDINALS));
      const heads = await need(slots.map((slot) => "l/" + Math.floor(slot / TITLES)));
      const places = list.map(([doc, score], i) => {
        const head = heads[i] ? heads[i][slots[i] % TITLES] : null;
        return { head, doc, slot: slots[i], ordinal: doc % ORDINALS, score };
      }).filter((p) => p.head);
      const chunks = await need(places.map((p) => "r/" + p.head[0] + "/" + Math.floor(p.ordinal / CHUNK)));
      return places.map((p, i) => {
        const row = chunks[i] ? chunks[i][p.ordinal % CHUNK] : null;
        return row && { lecture: p.head[0], title: p.head[1], date: p.head[2], slot: p.slot, kind: KINDS[row[0]], text: row[1],
          start_ms: row[2], anchor: row[3], record: row[3], doc: p.doc, inside: row[6] || 0, remedy: row[4], chapters: row[5], score: p.score };
      }).filter(Boolean);
    }
    async function conceptNames(tokens) {
      const held = await entries(tokens);
      return new Map(tokens.filter((t) => held.has(t)).map((t) => [t, held.get(t)[2]]));
    }
    return { search, expand, conceptNames };
  }
  scope.NotesmithEngine = Engine;
  scope.NotesmithEngine.parts = { words, stem, coarse, soundCode, distance, hash };
})(typeof window === "undefined" ? globalThis : window);
