"use strict";
document.querySelectorAll(".needs-script").forEach((e) => { e.hidden = true; });
