/* Ask a built site's own search from Node: node ask_site.js FOLDER < queries.json > answers.json */
"use strict";
const fs = require("fs"), path = require("path"), vm = require("vm");
const root = path.resolve(process.argv[2]);
globalThis.notesmithFiles = {};
require(path.join(root, "static/engine.js"));
let bytes = 0, files = 0;
const load = async (name) => {
  const text = fs.readFileSync(path.join(root, "search", name + ".js"), "utf8");
  bytes += Buffer.byteLength(text);
  files += 1;
  vm.runInThisContext(text);
};
(async () => {
  const answers = [];
  for (const query of JSON.parse(fs.readFileSync(0, "utf8"))) {
    globalThis.notesmithFiles = {};
    bytes = 0; files = 0;
    const started = process.hrtime.bigint();
    const fresh = globalThis.NotesmithEngine(load);
    const answer = await fresh.search(query, { limit: 10 });
    answers.push({ hits: answer.hits, bytes, files, ms: Number(process.hrtime.bigint() - started) / 1e6 });
  }
  process.stdout.write(JSON.stringify(answers));
})();
