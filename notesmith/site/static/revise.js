"use strict";
(function () {
  document.querySelectorAll(".needs-js").forEach((e) => { e.hidden = false; });
  const cards = [...document.querySelectorAll(".card")], one = document.getElementById("one"), next = document.getElementById("next");
  const told = document.getElementById("told");
  let order = [], at = -1;
  if (!cards.length) { one.hidden = true; return; }
  function show() {
    cards.forEach((card) => { card.hidden = at >= 0 && card !== order[at]; const answer = card.querySelector("details"); answer.open = false; });
    told.textContent = at >= 0 ? "Remedy " + (at + 1) + " of " + order.length + "." : "";
    next.hidden = at < 0;
    one.textContent = at < 0 ? "One at a time" : "Show all";
  }
  one.addEventListener("click", () => {
    if (at >= 0) at = -1;
    else { order = cards.map((card) => [Math.random(), card]).sort((a, b) => a[0] - b[0]).map(([, card]) => card); at = 0; }
    show();
  });
  next.addEventListener("click", () => { at = (at + 1) % order.length; show(); });
})();
